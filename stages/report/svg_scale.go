package report

import (
	"fmt"
	"html/template"
	"math"
)

// strip is the interval of one answer on the scale that all answers share.
type strip struct {
	lowDB, highDB *float64 // null: no bound on that side
	estimateDB    float64
	smallestDB    float64
	// what says what is drawn.
	what string
	// soFar: the trial is not over, so it is not yet what the verdict rests on.
	soFar bool
}

// stripOf gives what is drawn for an entry; false where there is nothing that was tested.
func stripOf(e *entry) (strip, bool) {
	s := strip{smallestDB: e.SmallestDB}
	switch {
	case !e.betweenArms():
		return s, false
	case e.Kind == "directivity" && e.P != nil && e.Lobe != nil && e.Lobe.AmplitudeDB != nil && e.Lobe.AmplitudeIn != nil:
		s.estimateDB, s.what = *e.Lobe.AmplitudeDB, "size of the lobe"
		s.lowDB, s.highDB = e.Lobe.AmplitudeIn[0], e.Lobe.AmplitudeIn[1]
	case e.Kind == "directivity" || e.EstimateDB == nil:
		return s, false
	case e.P != nil && e.IntervalDB != nil:
		s.estimateDB, s.what = *e.EstimateDB, difference(e.Arms)
		s.lowDB, s.highDB = e.IntervalDB[0], e.IntervalDB[1]
	case e.P == nil && e.IntervalDB == nil && e.RunningDB != nil:
		s.estimateDB, s.what, s.soFar = *e.EstimateDB, difference(e.Arms)+", so far", true
		s.lowDB, s.highDB = e.RunningDB[0], e.RunningDB[1]
	default:
		return s, false
	}
	return s, finite(s.estimateDB)
}

func difference(arms []string) string {
	if len(arms) != 2 {
		return "difference"
	}
	return clean(arms[0]) + " minus " + clean(arms[1])
}

// scaleReach gives the end of the common scale, in dB.
func scaleReach(entries []entry) float64 {
	reach := 0.0
	for i := range entries {
		s, ok := stripOf(&entries[i])
		if !ok {
			continue
		}
		reach = max(reach, 1.5*s.smallestDB, 1.1*math.Abs(s.estimateDB))
		for _, end := range []*float64{s.lowDB, s.highDB} {
			if end != nil {
				reach = max(reach, 1.1*math.Abs(*end))
			}
		}
	}
	return roundUp(reach, 1, 2, 3, 4, 5, 6, 8, 10, 12, 16, 20)
}

const (
	stripHeight = 62.0
	stripMargin = 22.0
	stripBarY   = 20.0
	stripAxisY  = 40.0
)

// draw makes the picture: the zone of differences that do not matter, zero, the interval and the estimate. An end without
// bound, or off the scale, is an arrow.
func (s strip) draw(id, name string, reach float64) template.HTML {
	p := newPicture(id, "picture strip", stripHeight, name+": "+s.what, s.inWords())
	at := func(db float64) float64 {
		return stripMargin + (max(-reach, min(reach, db))+reach)/(2*reach)*(pictureWidth-2*stripMargin)
	}
	zone := min(s.smallestDB, reach)
	p.rect("zone", at(-zone), 4, at(zone)-at(-zone), stripAxisY-4)
	p.line("zone-edge", at(-zone), 4, at(-zone), stripAxisY)
	p.line("zone-edge", at(zone), 4, at(zone), stripAxisY)
	p.line("axis", at(-reach), stripAxisY, at(reach), stripAxisY)
	p.line("zero", at(0), 2, at(0), stripAxisY+4)
	s.bar(p, at, reach)
	s.labels(p, at, reach)
	return p.done()
}

func (s strip) bar(p *picture, at func(float64) float64, reach float64) {
	from, to := at(-reach), at(reach)
	if s.lowDB != nil && *s.lowDB >= -reach {
		from = at(min(*s.lowDB, reach))
		p.line("whisker", from, stripBarY-7, from, stripBarY+7)
	} else {
		p.arrow(from, stripBarY, -1)
	}
	if s.highDB != nil && *s.highDB <= reach {
		to = at(max(*s.highDB, -reach))
		p.line("whisker", to, stripBarY-7, to, stripBarY+7)
	} else {
		p.arrow(to, stripBarY, 1)
	}
	class := "bar"
	if s.soFar {
		class = "bar dashed"
	}
	p.line(class, from, stripBarY, to, stripBarY)
	x := at(s.estimateDB)
	diamond := &route{}
	diamond.to('M', x, stripBarY-7)
	diamond.to('L', x+6, stripBarY)
	diamond.to('L', x, stripBarY+7)
	diamond.to('L', x-6, stripBarY)
	diamond.end()
	p.path("estimate", diamond)
}

// arrow is the head at an open end; way is -1 to the left, 1 to the right.
func (p *picture) arrow(x, y, way float64) {
	head := &route{}
	head.to('M', x+way*10, y)
	head.to('L', x-way*1, y-6)
	head.to('L', x-way*1, y+6)
	head.end()
	p.path("arrow", head)
}

// labels writes the ends of the scale, zero, and the smallest difference where there is room for it.
func (s strip) labels(p *picture, at func(float64) float64, reach float64) {
	const y = stripAxisY + 17
	p.text(at(-reach), y, "label", "middle", signedShort(-reach))
	p.text(at(0), y, "label", "middle", "0")
	p.text(at(reach), y, "label", "end", signedShort(reach)+" dB")
	const roomLeft, roomRight = 44, 74
	if x := at(s.smallestDB); s.smallestDB < reach && x-at(0) > roomLeft && at(reach)-x > roomRight {
		p.text(x, y, "label", "middle", signedShort(s.smallestDB))
	}
	if x := at(-s.smallestDB); s.smallestDB < reach && at(0)-x > roomLeft && x-at(-reach) > roomRight-20 {
		p.text(x, y, "label", "middle", signedShort(-s.smallestDB))
	}
}

func (s strip) inWords() string {
	return fmt.Sprintf("Estimate %s; interval %s; differences within %g dB of zero do not matter.",
		signed(s.estimateDB), between(&[2]*float64{s.lowDB, s.highDB}), s.smallestDB)
}

// shape is the sign of a verdict, 20 by 20 units: no two differ by colour only.
func shape(verdict string) string {
	switch verdict {
	case "different":
		return `<path class="full" d="M10 1 19 10 10 19 1 10Z"/>`
	case "practically the same":
		return `<path class="thick" d="M2 7H18M2 13H18"/>`
	case "undecided":
		return `<circle class="hollow" cx="10" cy="10" r="7.5"/><circle class="full" cx="10" cy="10" r="2"/>`
	case "holds":
		return `<path class="thick" d="M2 11 8 17 18 4"/>`
	case "fails":
		return `<path class="thick" d="M3 3 17 17M17 3 3 17"/>`
	}
	return `<rect class="hollow" x="2.5" y="2.5" width="15" height="15"/><path class="thin" d="M3 17 17 3"/>`
}

// glyph draws the shape of a verdict; its word stands beside it.
func glyph(verdict string) template.HTML {
	return template.HTML(`<svg class="glyph" viewBox="0 0 20 20" aria-hidden="true">` + shape(verdict) + `</svg>`)
}
