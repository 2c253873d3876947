package report

import (
	"fmt"
	"html/template"
	"math"

	"fairlobe/stages/pooling"
)

// forest is the picture of a pooled claim: a square for each operator, as large as its weight, with its interval; below, the pooled diamond and
// what the next operator may find.
type forest struct {
	claim     *pooling.ClaimEntry
	low, high float64 // ends of the scale
}

const (
	forestMargin   = 20.0
	forestRow      = 38.0
	forestTop      = 6.0
	forestLabelY   = 14.0 // of a row's words, from its top
	forestBarY     = 26.0
	forestAxis     = 30.0
	mostForestName = 30 // characters of a name that surely fit
)

// newForest finds the scale: studies and pool as far as they go, but no farther than twice the studies' reach, beyond which there are arrows.
func newForest(c *pooling.ClaimEntry) forest {
	reach := 1.5 * c.Smallest
	for _, p := range c.Studies {
		reach = max(reach, 1.05*math.Abs(p.Interval[0]), 1.05*math.Abs(p.Interval[1]))
	}
	most := 2 * reach
	for _, i := range []*[2]float64{c.Guarded, c.Interval, c.Prediction} {
		if i != nil {
			reach = max(reach, min(most, 1.05*max(math.Abs(i[0]), math.Abs(i[1]))))
		}
	}
	reach = roundUp(reach, 1, 2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 30, 40, 60, 80, 100)
	f := forest{c, -reach, reach}
	if c.Kind == "directivity" {
		f.low = 0
	}
	return f
}

func (f forest) at(v float64) float64 {
	return forestMargin + float64((max(f.low, min(f.high, v))-f.low)/(f.high-f.low)*(pictureWidth-2*forestMargin))
}

func (f forest) draw(id string) template.HTML {
	c := f.claim
	rows := len(c.Studies)
	pooled := c.Interval != nil
	if pooled {
		rows++
	}
	if c.Prediction != nil {
		rows++
	}
	bottom := forestTop + float64(float64(rows)*forestRow)
	p := newPicture(id, "picture forest", bottom+forestAxis, claimHeading(c)+": "+sizeOf(c)+", by operator and pooled", f.inWords())
	f.ground(p, bottom)
	y := forestTop
	for i, part := range c.Studies {
		name := oneLine(part.Label)
		if len(part.Parts) > 0 {
			name = counted(len(part.Parts), "bundle") + " of one operator"
		}
		f.label(p, y, fmt.Sprint(i+1), name, fmt.Sprintf("%.0f %%", part.Weight))
		f.bar(p, "bar", y+forestBarY, part.Interval)
		side := 5 + float64(10*math.Sqrt(max(0, min(100, part.Weight))/100))
		p.rect("estimate", f.at(part.Estimate)-side/2, y+forestBarY-side/2, side, side)
		y += forestRow
	}
	if pooled {
		p.line("divide", forestMargin, y+1, pictureWidth-forestMargin, y+1)
		f.label(p, y, "", "pooled, "+counted(c.Operators, "operator"), "")
		if c.Guarded != nil && *c.Guarded != *c.Interval {
			f.bar(p, "bar thin", y+forestBarY, *c.Guarded)
		}
		f.diamond(p, y+forestBarY)
		y += forestRow
	}
	if c.Prediction != nil {
		f.label(p, y, "", "the next operator", "")
		f.brackets(p, y+forestBarY, *c.Prediction)
	}
	return p.done()
}

// ground draws what lies behind: differences that do not matter, zero, the scale.
func (f forest) ground(p *picture, bottom float64) {
	c := f.claim
	zone := min(c.Smallest, f.high)
	from := f.at(max(f.low, -zone))
	p.rect("zone", from, 2, f.at(zone)-from, bottom)
	if f.low < 0 {
		p.line("zone-edge", from, 2, from, bottom+2)
	}
	p.line("zone-edge", f.at(zone), 2, f.at(zone), bottom+2)
	p.line("axis", f.at(f.low), bottom+2, f.at(f.high), bottom+2)
	p.line("zero", f.at(0), 2, f.at(0), bottom+6)
	unit := " " + c.Unit
	y := bottom + 20
	if f.low < 0 {
		p.text(f.at(f.low)-8, y, "label", "start", signedShort(f.low))
		p.text(f.at(0), y, "label", "middle", "0")
		p.text(f.at(f.high)+8, y, "label", "end", signedShort(f.high)+unit)
		f.limits(p, y)
		return
	}
	p.text(f.at(0), y, "label", "middle", "0")
	p.text(f.at(f.high)+8, y, "label", "end", signedShort(f.high)[1:]+unit)
}

// limits writes the smallest difference below the scale, where there is room for it.
func (f forest) limits(p *picture, y float64) {
	const roomInside = 44
	roomOutside := 60 + 10*float64(len(f.claim.Unit)) // for the end of the scale with its unit
	l := f.claim.Smallest
	if x := f.at(l); l < f.high && x-f.at(0) > roomInside && f.at(f.high)-x > roomOutside {
		p.text(x, y, "label", "middle", signedShort(l))
		p.text(f.at(-l), y, "label", "middle", signedShort(-l))
	}
}

// label writes the words of a row: number and name at the left, the weight at the right.
func (f forest) label(p *picture, y float64, number, name, weight string) {
	words := short(name, mostForestName)
	if number != "" {
		words = number + ". " + words
	}
	p.text(4, y+forestLabelY, "label halo", "start", words)
	if weight != "" {
		p.text(pictureWidth-4, y+forestLabelY, "label halo", "end", weight)
	}
}

// bar draws an interval with whiskers; an end off the scale is an arrow.
func (f forest) bar(p *picture, class string, y float64, i [2]float64) {
	from, to := f.at(i[0]), f.at(i[1])
	p.line(class, from, y, to, y)
	const half = 5
	if i[0] < f.low {
		p.arrow(from, y, -1)
	} else {
		p.line("whisker", from, y-half, from, y+half)
	}
	if i[1] > f.high {
		p.arrow(to, y, 1)
	} else {
		p.line("whisker", to, y-half, to, y+half)
	}
}

// diamond spans the pooled interval, as far as the scale goes, with its height at the estimate.
func (f forest) diamond(p *picture, y float64) {
	c := f.claim
	const half = 7
	from, to, x := f.at(c.Interval[0]), f.at(c.Interval[1]), f.at(*c.Estimate)
	r := &route{}
	r.to('M', from, y)
	r.to('L', x, y-half)
	r.to('L', to, y)
	r.to('L', x, y+half)
	r.end()
	p.path("pooled", r)
	if c.Interval[0] < f.low {
		p.arrow(from, y, -1)
	}
	if c.Interval[1] > f.high {
		p.arrow(to, y, 1)
	}
}

// brackets draw the prediction interval: dashed, with square ends that turn inward.
func (f forest) brackets(p *picture, y float64, i [2]float64) {
	from, to := f.at(i[0]), f.at(i[1])
	p.line("bar dashed", from, y, to, y)
	const half, turn = 6, 5
	bracket := func(x, way float64) {
		r := &route{}
		r.to('M', x+way*turn, y-half)
		r.to('L', x, y-half)
		r.to('L', x, y+half)
		r.to('L', x+way*turn, y+half)
		p.path("bracket", r)
	}
	if i[0] < f.low {
		p.arrow(from, y, -1)
	} else {
		bracket(from, 1)
	}
	if i[1] > f.high {
		p.arrow(to, y, 1)
	} else {
		bracket(to, -1)
	}
}

func (f forest) inWords() string {
	c := f.claim
	said := fmt.Sprintf("%s.", counted(len(c.Studies), "operator"))
	if c.Interval != nil {
		said += fmt.Sprintf(" Pooled: %s, interval %s.", sized(c, *c.Estimate), ranged(c, c.Interval))
	}
	if c.Prediction != nil {
		said += " The next operator: " + ranged(c, c.Prediction) + "."
	}
	return said + fmt.Sprintf(" Differences within %g %s of zero do not matter. The figures stand in the table below.", c.Smallest, c.Unit)
}
