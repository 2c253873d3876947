package report

import (
	"fmt"
	"html/template"
	"math"

	"fairlobe/stages/pooling"
)

// rose shows lobes as vectors: a square for each operator, as far out as its lobe is large, in its direction; the diamond is the pooled one. Two
// opposite lobes have two marks each.
type rose struct {
	*picture
	reach float64
}

func drawRose(id string, c *pooling.ClaimEntry) template.HTML {
	d := c.Directivity
	if d == nil || len(d.Lobes) == 0 {
		return ""
	}
	pooled := d.Lobes[0]
	r := rose{reach: max(1.5*c.Smallest, 1.1*pooled.AmplitudeDB)}
	for _, p := range c.Studies {
		for _, l := range p.Lobes {
			if l.Harmonic == pooled.Harmonic {
				r.reach = max(r.reach, 1.1*l.AmplitudeDB)
			}
		}
	}
	r.reach = roundUp(r.reach, 1, 2, 3, 4, 6, 8, 10, 12, 16, 20, 30, 40)
	r.picture = newPicture(id, "picture round", roundHeight, claimHeading(c)+": lobes as vectors",
		fmt.Sprintf("Centre: no lobe; rim: a lobe of %g dB; dashed ring: the smallest that matters, %g dB. Up is %s. The figures stand in the table.", r.reach, c.Smallest, frameUp(d.Frame)))
	r.circle("rim", centre, centre, polarRim)
	r.circle("zone-edge hollow", centre, centre, r.radius(c.Smallest))
	for b := 0.0; b < 360; b += 90 {
		x, y := around(centre, centre, polarRim, b)
		r.line("ray", centre, centre, x, y)
	}
	// The pooled mark lies below: it is larger, and often stands where an operator's does.
	r.marks(pooled, func(x, y float64) {
		const half = 11
		m := &route{}
		m.to('M', x, y-half)
		m.to('L', x+half, y)
		m.to('L', x, y+half)
		m.to('L', x-half, y)
		m.end()
		r.path("pooled", m)
	})
	for _, p := range c.Studies {
		for _, l := range p.Lobes {
			if l.Harmonic == pooled.Harmonic {
				side := 5 + float64(8*math.Sqrt(max(0, min(100, p.Weight))/100))
				r.marks(l, func(x, y float64) { r.rect("estimate", x-side/2, y-side/2, side, side) })
			}
		}
	}
	if d.Frame == pooling.Wire {
		x, y := around(centre, centre, polarRim+22, 0)
		r.text(x, y+5, "label strong", "middle", "the wire's way")
	} else {
		r.compass(centre, centre, polarRim)
	}
	r.rimLabel(polarRim, 112.5, fmt.Sprintf("%g dB", r.reach))
	return r.done()
}

func (r rose) radius(db float64) float64 {
	return float64(max(0, min(r.reach, db)) / r.reach * polarRim)
}

// marks draws a lobe's marks at its direction; of two opposite lobes at both.
func (r rose) marks(l pooling.LobeEntry, draw func(x, y float64)) {
	bearing := math.Atan2(l.SinDB, l.CosDB) * 180 / math.Pi / float64(l.Harmonic)
	for i := range l.Harmonic {
		draw(around(centre, centre, r.radius(l.AmplitudeDB), bearing+float64(i)*180))
	}
}

func frameUp(frame string) string {
	if frame == pooling.Wire {
		return "the way in which each wire runs"
	}
	return "north"
}
