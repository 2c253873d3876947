package report

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
)

const (
	roundHeight = 340.0
	polarRim    = 136.0
	sectorWidth = 45
)

// polar is the picture of A minus B over the bearing: the centre is -reach dB, the bold ring 0, the rim +reach.
type polar struct {
	*picture
	reach    float64
	occupied []int   // stations in each sector
	crowd    float64 // how much marks shrink
}

// drawPolar draws stations, and the fitted lobe with its region where lobe has rows. Sectors without a station get
// neither.
func drawPolar(id, name string, c *comparison, lobe []lobePoint, sectors []sector) template.HTML {
	g := polar{reach: polarReach(c, lobe), occupied: c.sectorCounts(), crowd: c.crowd()}
	g.picture = newPicture(id, "picture round", roundHeight, name,
		fmt.Sprintf("Difference by bearing at %d stations; centre %s dB, bold ring 0, rim %s dB. The figures stand beneath.",
			len(c.stations), signedShort(-g.reach), signedShort(g.reach)))
	g.rings()
	g.voids()
	g.region(lobe)
	g.circle("zero", centre, centre, g.radius(0))
	g.fit(lobe)
	g.means(sectors)
	g.stations(c.stations)
	g.ringLabels(c.stations)
	g.compass(centre, centre, polarRim)
	return g.done()
}

const centre = pictureWidth / 2

// polarReach takes in the lobe with its region and nearly all stations; a few far ones do not squeeze the rest.
func polarReach(c *comparison, lobe []lobePoint) float64 {
	var sizes []float64
	for _, d := range c.stations {
		sizes = append(sizes, math.Abs(d.db))
	}
	slices.Sort(sizes)
	reach := 1.5 * c.smallestDB
	if n := len(sizes); n > 0 {
		reach = max(reach, 1.15*sizes[(n-1)*9/10])
	}
	for _, l := range lobe {
		reach = max(reach, math.Abs(l.fit))
		for _, end := range []*float64{l.low, l.high} {
			if end != nil {
				reach = max(reach, min(20, math.Abs(*end)))
			}
		}
	}
	return roundUp(reach, 2, 4, 6, 8, 10, 12, 16, 20, 30, 40)
}

func (g polar) radius(db float64) float64 {
	return (max(-g.reach, min(g.reach, db)) + g.reach) / (2 * g.reach) * polarRim
}

func (g polar) at(bearing, db float64) (x, y float64) {
	return around(centre, centre, g.radius(db), bearing)
}

func (g polar) rings() {
	g.circle("rim", centre, centre, polarRim)
	g.circle("ring", centre, centre, g.radius(-g.reach/2))
	g.circle("ring", centre, centre, g.radius(g.reach/2))
	for b := 0.0; b < 360; b += sectorWidth {
		x, y := around(centre, centre, polarRim, b)
		g.line("ray", centre, centre, x, y)
	}
}

// voids hatches the sectors in which no station is.
func (g polar) voids() {
	const gap = 9
	for i, n := range g.occupied {
		if n > 0 {
			continue
		}
		hatch := &route{}
		for r := float64(gap); r < polarRim; r += gap {
			x, y := around(centre, centre, r, float64(i*sectorWidth)+2)
			hatch.to('M', x, y)
			x, y = around(centre, centre, r, float64((i+1)*sectorWidth)-2)
			fmt.Fprintf(hatch, "A%s %s 0 0 1 %s %s", num(r), num(r), num(x), num(y))
		}
		g.path("void", hatch)
	}
}

// runs gives the stretches of the lobe that lie in sectors with stations, each as indices of its points, ends included.
func (g polar) runs(lobe []lobePoint) [][]int {
	var out [][]int
	n := len(lobe)
	for i := range n {
		next := (i + 1) % n
		middle := lobe[i].azimuth + math.Mod(lobe[next].azimuth-lobe[i].azimuth+360, 360)/2
		if g.occupied[int(middle/sectorWidth)%len(g.occupied)] == 0 {
			continue
		}
		if last := len(out) - 1; last >= 0 && out[last][len(out[last])-1] == i {
			out[last] = append(out[last], next)
		} else {
			out = append(out, []int{i, next})
		}
	}
	return out
}

func (g polar) region(lobe []lobePoint) {
	area, edges := &route{}, &route{}
	for _, run := range g.runs(lobe) {
		for k, i := range run {
			high, command := g.reach, lineOrMove(k)
			if lobe[i].high != nil {
				high = *lobe[i].high
			}
			x, y := g.at(lobe[i].azimuth, high)
			area.to(command, x, y)
			edges.to(command, x, y)
		}
		slices.Reverse(run)
		for k, i := range run {
			low := -g.reach
			if lobe[i].low != nil {
				low = *lobe[i].low
			}
			x, y := g.at(lobe[i].azimuth, low)
			area.to('L', x, y)
			edges.to(lineOrMove(k), x, y)
		}
		area.end()
	}
	g.path("region", area)
	g.path("region-edge", edges)
}

func lineOrMove(k int) byte {
	if k == 0 {
		return 'M'
	}
	return 'L'
}

func (g polar) fit(lobe []lobePoint) {
	curve := &route{}
	for _, run := range g.runs(lobe) {
		for k, i := range run {
			x, y := g.at(lobe[i].azimuth, lobe[i].fit)
			curve.to(lineOrMove(k), x, y)
		}
	}
	g.path("fit", curve)
}

// means draws the difference of each sector as an arc.
func (g polar) means(sectors []sector) {
	arcs := &route{}
	for _, s := range sectors {
		if s.EstimateDB == nil || s.Stations == 0 {
			continue
		}
		r := g.radius(*s.EstimateDB)
		x, y := around(centre, centre, r, s.FromDeg+6)
		arcs.to('M', x, y)
		x, y = around(centre, centre, r, s.ToDeg-6)
		fmt.Fprintf(arcs, "A%s %s 0 0 1 %s %s", num(r), num(r), num(x), num(y))
	}
	g.path("mean", arcs)
}

// stations draws the heavy ones first, so that small marks stay visible.
func (g polar) stations(all []placed) {
	for _, d := range heaviestFirst(all) {
		x, y := g.at(d.bearing, d.db)
		size := (2 + 3.5*math.Sqrt(d.share)) * g.crowd
		if math.Abs(d.db) > g.reach { // beyond the picture: a square on the rim or about the centre
			const aside = 8 // units from the centre, so that the bearing shows
			x, y = around(centre, centre, max(aside, g.radius(d.db)), d.bearing)
			g.rect(signClass(d.db), x-size, y-size, 2*size, 2*size)
			continue
		}
		g.circle(signClass(d.db), x, y, size)
	}
}

func heaviestFirst(all []placed) []placed {
	sorted := slices.Clone(all)
	slices.SortStableFunc(sorted, func(a, b placed) int { return cmp.Compare(b.share, a.share) })
	return sorted
}

// signClass is how the sign shows: filled or hollow.
func signClass(db float64) string {
	switch {
	case db > 0:
		return "plus"
	case db < 0:
		return "minus"
	}
	return "none"
}

func (g polar) ringLabels(all []placed) {
	var bearings []float64
	for _, d := range all {
		bearings = append(bearings, d.bearing)
	}
	b := quietBearing(bearings)
	for _, db := range []float64{-g.reach / 2, 0, g.reach / 2} {
		x, y := g.at(b, db)
		g.text(x, y+5, "label halo", "middle", signedShort(db))
	}
	g.rimLabel(polarRim, b, signedShort(g.reach)+" dB")
}
