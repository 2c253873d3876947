package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
)

// Layout of the picture of the sweeps, in units: SWR above, return loss below.
const (
	sweepLeft   = 44.0
	sweepRight  = pictureWidth - 12
	sweepHeight = 352.0
)

// sweepCurve is one sweep of one arm at one plane.
type sweepCurve struct {
	Arm, Sweep string
	Measured   bool
	Style      int // of the line, from 0
	readings   []reading
}

// sweepView is what one picture shows: the sweeps of a band at a plane, all against one impedance.
type sweepView struct {
	band   Band
	plane  string
	z0     float64 // ohm
	limit  float64 // SWR that a claim allows; 0 without a claim
	from   float64 // of the claim, MHz
	to     float64
	curves []sweepCurve
}

// lineStyles is how many lines can be told apart by their dashes.
const lineStyles = 6

// sweepViews gives the pictures of all bands, planes and reference impedances that have readings on them.
func (t *tables) sweepViews(bands []Band, entries []entry) []sweepView {
	var out []sweepView
	for _, b := range bands {
		for _, plane := range []string{"feedpoint", "radio"} {
			for _, z0 := range t.references() {
				v := sweepView{band: b, plane: plane, z0: z0, from: b.FromMHz, to: b.ToMHz}
				v.collect(t.readings)
				if len(v.curves) == 0 {
					continue
				}
				v.take(entries)
				out = append(out, v)
			}
		}
	}
	return out
}

// references gives the impedances that readings refer to, the least first. SWR against one can't be held against SWR
// against another, so each has its picture.
func (t *tables) references() []float64 {
	var out []float64
	for _, r := range t.readings {
		if !slices.Contains(out, r.z0) {
			out = append(out, r.z0)
		}
	}
	slices.Sort(out)
	return out
}

func (v *sweepView) collect(all []reading) {
	margin := (v.band.ToMHz - v.band.FromMHz) * 0.15
	for _, r := range all {
		if r.plane == v.plane && r.z0 == v.z0 && r.mhz >= v.band.FromMHz-margin && r.mhz <= v.band.ToMHz+margin {
			v.add(r)
		}
	}
}

// usualOhm is the impedance that goes without saying in a heading.
const usualOhm = 50

func (v sweepView) heading() string {
	said := fmt.Sprintf("%s, at the %s", clean(v.band.Name), clean(v.plane))
	if v.z0 != usualOhm {
		said += fmt.Sprintf(", against %g ohm", v.z0)
	}
	return said
}

func (v *sweepView) add(r reading) {
	i := slices.IndexFunc(v.curves, func(c sweepCurve) bool { return c.Arm == r.arm && c.Sweep == r.sweep })
	if i < 0 {
		i = len(v.curves)
		v.curves = append(v.curves, sweepCurve{Arm: r.arm, Sweep: r.sweep, Measured: r.measured, Style: i % lineStyles})
	}
	v.curves[i].readings = append(v.curves[i].readings, r)
}

// take looks for the strictest limit that a claim sets on the band, at the plane that it was judged at.
func (v *sweepView) take(entries []entry) {
	for _, e := range entries {
		here := len(e.Sweeps) == 0 || slices.ContainsFunc(e.Sweeps, func(s sweepEntry) bool { return s.Plane == v.plane })
		if e.Kind == "match" && e.Band == v.band.Name && here && e.SWRAtMost > 0 && (v.limit == 0 || e.SWRAtMost < v.limit) {
			v.limit = e.SWRAtMost
			if e.ToMHz > e.FromMHz {
				v.from, v.to = e.FromMHz, e.ToMHz
			}
		}
	}
}

// panel is one of the two charts of a picture.
type panel struct {
	*picture
	left, right float64 // MHz
	top, bottom float64 // units
	low, high   float64 // of the values
	down        bool    // greater values stand lower
}

func (p panel) x(mhz float64) float64 {
	return sweepLeft + (mhz-p.left)/(p.right-p.left)*(sweepRight-sweepLeft)
}

func (p panel) y(v float64) float64 {
	share := (max(p.low, min(p.high, v)) - p.low) / (p.high - p.low)
	if p.down {
		return p.top + share*(p.bottom-p.top)
	}
	return p.bottom - share*(p.bottom-p.top)
}

func (v sweepView) draw(id, name string) template.HTML {
	p := newPicture(id, "picture", sweepHeight, name, fmt.Sprintf("Standing-wave ratio above and return loss below, against %g ohm, over frequency, of %s.", v.z0, counted(len(v.curves), "sweep")))
	margin := (v.band.ToMHz - v.band.FromMHz) * 0.15
	swr := panel{picture: p, left: v.band.FromMHz - margin, right: v.band.ToMHz + margin, top: 26, bottom: 166, low: 1, high: v.greatest(1.5, func(r reading) *float64 { return r.swr })}
	loss := swr
	loss.top, loss.bottom, loss.low, loss.down = 206, 326, 0, true
	loss.high = roundUp(v.greatest(10, func(r reading) *float64 { return r.returnLoss }), 10, 15, 20, 30, 40)
	swr.high = roundUp(max(swr.high, v.limit*1.2), 1.5, 2, 2.5, 3, 4, 6, 10)
	p.text(4, 14, "label", "start", "SWR")
	p.text(4, 192, "label", "start", "return loss, dB (more is better)")
	swr.frame(v, ticks(1, swr.high))
	loss.frame(v, ticks(0, loss.high))
	if v.limit > 0 {
		swr.line("limit", swr.x(v.from), swr.y(v.limit), swr.x(v.to), swr.y(v.limit))
	}
	for _, c := range v.curves {
		swr.curve(c, func(r reading) *float64 { return r.swr })
		loss.curve(c, func(r reading) *float64 { return r.returnLoss })
	}
	loss.frequencies(v.band)
	return p.done()
}

func (v sweepView) greatest(least float64, of func(reading) *float64) float64 {
	for _, c := range v.curves {
		for _, r := range c.readings {
			if value := of(r); value != nil {
				least = max(least, *value)
			}
		}
	}
	return least
}

// ticks gives four or five round values of an axis.
func ticks(low, high float64) []float64 {
	step := roundUp((high-low)/4, 0.25, 0.5, 1, 2, 2.5, 5, 10)
	var out []float64
	for v := low; v <= high+step/1000; v += step {
		out = append(out, v)
	}
	return out
}

func (p panel) frame(v sweepView, values []float64) {
	p.rect("panel", sweepLeft, p.top, sweepRight-sweepLeft, p.bottom-p.top)
	for _, value := range values {
		p.line("grid-y", sweepLeft, p.y(value), sweepRight, p.y(value))
		p.text(sweepLeft-5, p.y(value)+5, "label", "end", strconv.FormatFloat(value, 'f', -1, 64))
	}
	for _, edge := range []float64{v.band.FromMHz, v.band.ToMHz} {
		p.line("edge", p.x(edge), p.top, p.x(edge), p.bottom)
	}
}

// frequencies names the edges of the band.
func (p panel) frequencies(b Band) {
	p.text(p.x(b.FromMHz), p.bottom+18, "label", "middle", strconv.FormatFloat(b.FromMHz, 'f', -1, 64))
	p.text(p.x(b.ToMHz), p.bottom+18, "label", "middle", strconv.FormatFloat(b.ToMHz, 'f', -1, 64)+" MHz")
}

// curve draws a line with a mark at every reading; the line breaks where there is none.
func (p panel) curve(c sweepCurve, of func(reading) *float64) {
	style := fmt.Sprintf("curve style%d", c.Style)
	line, marks := &route{}, &route{}
	down := false
	for _, r := range c.readings {
		value := of(r)
		if value == nil || !finite(r.mhz) {
			down = false
			continue
		}
		x, y := p.x(r.mhz), p.y(*value)
		line.to(lineOrMove(map[bool]int{true: 1}[down]), x, y)
		down = true
		stamp(marks, c.Style, x, y)
	}
	p.path(style, line)
	p.path("mark "+style, marks)
}

// stamp adds the mark of a style: circle, square, triangle and so on.
func stamp(r *route, style int, x, y float64) {
	const s = 2.6
	switch style % 3 {
	case 0:
		r.to('M', x-s, y)
		fmt.Fprintf(r, "a%s %s 0 1 0 %s 0a%s %s 0 1 0 %s 0Z", num(s), num(s), num(2*s), num(s), num(s), num(-2*s))
	case 1:
		r.to('M', x-s, y-s)
		fmt.Fprintf(r, "h%sv%sh%sZ", num(2*s), num(2*s), num(-2*s))
	default:
		r.to('M', x, y-s)
		r.to('L', x+s, y+s)
		r.to('L', x-s, y+s)
		r.end()
	}
}

// sample is a short piece of a curve for the legend.
func sample(style int) template.HTML {
	p := &picture{}
	p.open("svg", "class", "sample", "viewBox", "0 0 44 12", "aria-hidden", "true")
	class := fmt.Sprintf("curve style%d", style)
	p.line(class, 0, 6, 44, 6)
	mark := &route{}
	stamp(mark, style, 22, math.Round(6))
	p.path("mark "+class, mark)
	return p.done()
}
