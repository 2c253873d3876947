package contrast

import "math"

const (
	gridPoints = 41
	gridMiddle = gridPoints / 2
	// coarseStep is the distance of the points that are looked at first. It divides gridMiddle, so that the fit and the
	// edges are among them.
	coarseStep = 2

	// Above clearlyKept and up to clearlyOut p is so far from Alpha that it does not cross it within a step: the points
	// that lie between are taken to be kept, or ruled out, without a look.
	clearlyKept = 0.15
	clearlyOut  = 0.015
)

// point is a pair (cos, sin) of one harmonic, in dB.
type point struct{ c, s float64 }

// keptPoints are the pairs of one harmonic that the 95 % region keeps. The interval of the amplitude, the arc of the
// direction and the envelope over the azimuths are all taken from these.
type keptPoints struct {
	points  []point
	origin  bool // no lobe is not ruled out: the pair (0, 0) is one of the points
	open    bool // the region has no bound
	nothing bool // the whole grid is ruled out, the fit too: nothing is known, so the region is open
}

// search looks through the grid: 41 by 41 points over +-4 standard errors about the fit, wider by 2 and again by 2 if the
// region reaches its edge (see gridSearch). originKept says that no lobe is not ruled out.
func (r *region) search(originKept bool) keptPoints {
	half := float64(gridErrors)
	g := &gridSearch{pAt: func(i, j int) float64 {
		at := r.at(half, i, j)
		return r.p(at.c, at.s)
	}}
	g.run(true)
	for doubling := 1; g.edge && doubling <= gridDoublings; doubling++ {
		half *= 2
		g = g.widened()
		g.run(doubling < gridDoublings)
	}
	k := keptPoints{origin: originKept, open: g.edge}
	for i := range gridPoints {
		for j := range gridPoints {
			if g.kept[i][j] {
				k.points = append(k.points, r.at(half, i, j))
			}
		}
	}
	k.nothing = len(k.points) == 0
	k.open = k.open || k.nothing
	if originKept {
		k.points = append(k.points, point{})
	}
	return k
}

// gridSearch finds the points of a grid about the fit that a test keeps, with a look at few of the others.
//
// It looks at every second point first, from the fit outwards, and goes on from each one that is not clearly ruled out. Of
// the points in between it looks at those whose neighbours among the first do not all say the same. So it may miss an
// island with clearly ruled out points all round, and the edge of the grid where only an island reaches it; and it may
// fill a hole with clearly kept ones all round. Either needs p to step by a factor of 3 between neighbours, at most 0.2
// standard errors apart, or an island beyond a wide moat. Of 4424 regions of simulated trials with 6, 8 and 12 blocks, few or
// differing stations and heavy censoring among them, 3 were not those of the whole grid: two had a hole filled, one
// missed an island; of 1063 with 16 and 24 blocks (with clearlyOut at 0.02) none.
//
// Where a test has few sign vectors no point is clearly ruled out (6 blocks: the least p is 1/32), and the search goes
// over the whole grid.
type gridSearch struct {
	pAt func(i, j int) float64 // the p of a point; above clearlyKept any number above will do

	p      [gridPoints][gridPoints]float64 // 0 where it has not been looked at
	kept   [gridPoints][gridPoints]bool
	edge   bool // a kept point is on the edge
	listed [gridPoints][gridPoints]bool
	list   [][2]int // points to look at, the next one last
}

// run sets kept and edge; it may stop at the edge, which is settled first for that.
func (g *gridSearch) run(stopAtEdge bool) {
	g.coarse(stopAtEdge)
	for k := range gridPoints {
		for _, edge := range []int{0, gridPoints - 1} {
			g.between(k, edge)
			g.between(edge, k)
		}
	}
	if g.edge && stopAtEdge {
		return
	}
	for i := range gridPoints {
		for j := range gridPoints {
			g.between(i, j)
		}
	}
}

// coarse looks at the coarse points: all of them if the fit is ruled out.
func (g *gridSearch) coarse(stopAtEdge bool) {
	g.add(gridMiddle, gridMiddle, 0)
	for len(g.list) > 0 && !(g.edge && stopAtEdge) {
		last := len(g.list) - 1
		i, j := g.list[last][0], g.list[last][1]
		g.list = g.list[:last]
		p := g.look(i, j)
		switch {
		case i == gridMiddle && j == gridMiddle && p <= Alpha:
			g.add(i, j, gridMiddle)
		case p > clearlyOut:
			g.add(i, j, coarseStep)
		}
	}
}

// add lists the coarse points up to that far away along either axis, without those that are listed already.
func (g *gridSearch) add(i, j, reach int) {
	for a := max(0, i-reach); a <= min(gridPoints-1, i+reach); a += coarseStep {
		for b := max(0, j-reach); b <= min(gridPoints-1, j+reach); b += coarseStep {
			if !g.listed[a][b] {
				g.listed[a][b] = true
				g.list = append(g.list, [2]int{a, b})
			}
		}
	}
}

// look gives the p of a point that may be known, and keeps the point or not.
func (g *gridSearch) look(i, j int) float64 {
	if g.p[i][j] == 0 {
		g.p[i][j] = g.pAt(i, j)
	}
	if g.p[i][j] > Alpha {
		g.keep(i, j)
	}
	return g.p[i][j]
}

func (g *gridSearch) keep(i, j int) {
	g.kept[i][j] = true
	g.edge = g.edge || i == 0 || i == gridPoints-1 || j == 0 || j == gridPoints-1
}

// between settles a point that has not been listed from the coarse ones about it: two, or four.
func (g *gridSearch) between(i, j int) {
	if g.listed[i][j] {
		return
	}
	g.listed[i][j] = true
	least, greatest := 1.0, 0.0
	for a := i - i%coarseStep; a <= i+i%coarseStep; a += coarseStep {
		for b := j - j%coarseStep; b <= j+j%coarseStep; b += coarseStep {
			least, greatest = min(least, g.p[a][b]), max(greatest, g.p[a][b])
		}
	}
	switch {
	case greatest <= clearlyOut:
	case least > clearlyKept:
		g.keep(i, j)
	default:
		g.look(i, j)
	}
}

// widened is the search of a grid of twice the width, which knows what this one knows: each coarse point is one of its
// points.
func (g *gridSearch) widened() *gridSearch {
	out := &gridSearch{pAt: g.pAt}
	for i := 0; i < gridPoints; i += coarseStep {
		for j := 0; j < gridPoints; j += coarseStep {
			out.p[gridMiddle+(i-gridMiddle)/2][gridMiddle+(j-gridMiddle)/2] = g.p[i][j]
		}
	}
	return out
}

// least and greatest are the extremes of the amplitude.
func (k keptPoints) least() float64 {
	least := math.Inf(1)
	for _, p := range k.points {
		least = min(least, math.Hypot(p.c, p.s))
	}
	return least
}

func (k keptPoints) greatest() float64 {
	greatest := 0.0
	for _, p := range k.points {
		greatest = max(greatest, math.Hypot(p.c, p.s))
	}
	return greatest
}

func (k keptPoints) anglesDeg() []float64 {
	angles := make([]float64, len(k.points))
	for i, p := range k.points {
		angles[i] = degrees(math.Atan2(p.s, p.c))
	}
	return angles
}

// spread gives the least and greatest of x.(p - fit) over the points.
func (k keptPoints) spread(x, fit []float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range k.points {
		v := float64(x[0]*(p.c-fit[0])) + float64(x[1]*(p.s-fit[1]))
		low, high = min(low, v), max(high, v)
	}
	return low, high
}

// fitted is the fit of a shape with what its region keeps.
type fitted struct {
	beta, mean []float64    // the fit, and the mean of the columns over all cells, weighted by a
	parts      []keptPoints // one for each harmonic, in the order of the columns; none without a fit
	vectors    []Fit        // see Fits
}

// Toward gives the difference that the fitted lobe has toward an azimuth (radians, clockwise from north), and the
// least and greatest difference there of all lobes that the 95 % region keeps, over the stations heard:
//
//	fit(az) = d + beta.x(az);   of a kept beta:  fit(az) + (x(az) - xbar).(beta - fit)
//
// since d is profiled linearly, as in the region. It is the envelope of a region of the whole curve, so it holds at all
// azimuths together, and is wider than an interval for one azimuth. For Any the two harmonics have a region each, with
// the other one profiled; the ends of both are added. That keeps every pair of kept points, whether or not the two are
// possible together, so the envelope is rather too wide.
//
// The ends are infinite where a region has no bound; without a fit the first result is NaN.
func (d Directivity) Toward(azimuthRad float64) (fitDB float64, region Interval) {
	if len(d.fit.parts) == 0 {
		return math.NaN(), unbounded()
	}
	x := d.Shape.columns(azimuthRad)
	fitDB = d.AllRoundDB + dot(d.fit.beta, x)
	region = Interval{LowDB: fitDB, HighDB: fitDB}
	for i, kept := range d.fit.parts {
		if kept.open {
			return fitDB, unbounded()
		}
		pair := d.fit.beta[2*i : 2*i+2]
		apart := []float64{x[2*i] - d.fit.mean[2*i], x[2*i+1] - d.fit.mean[2*i+1]}
		low, high := kept.spread(apart, pair)
		region.LowDB += low
		region.HighDB += high
	}
	return fitDB, region
}

// negated is the fit of the difference with the arms exchanged.
func (f fitted) negated() fitted {
	out := fitted{beta: negated(f.beta), mean: f.mean}
	for _, kept := range f.parts {
		points := make([]point, len(kept.points))
		for i, p := range kept.points {
			points[i] = point{0 - p.c, 0 - p.s}
		}
		kept.points = points
		out.parts = append(out.parts, kept)
	}
	for _, v := range f.vectors {
		v.CosDB, v.SinDB = 0-v.CosDB, 0-v.SinDB
		out.vectors = append(out.vectors, v)
	}
	return out
}
