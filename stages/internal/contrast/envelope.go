package contrast

import "math"

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
// region reaches its edge. originKept says that no lobe is not ruled out.
func (r *region) search(originKept bool) keptPoints {
	half := float64(gridErrors)
	for range gridDoublings {
		if !r.reaches(half) {
			break
		}
		half *= 2
	}
	k := keptPoints{origin: originKept}
	for i := range gridPoints {
		for j := range gridPoints {
			p := r.at(half, i, j)
			if !r.allowed(p.c, p.s) {
				continue
			}
			k.points = append(k.points, p)
			k.open = k.open || onEdge(i) || onEdge(j)
		}
	}
	k.nothing = len(k.points) == 0
	k.open = k.open || k.nothing
	if originKept {
		k.points = append(k.points, point{})
	}
	return k
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
	return out
}
