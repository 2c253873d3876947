package contrast

import (
	"math"
	"slices"
)

const (
	fitRounds     = 5
	fitStepDB     = 5
	gridErrors    = 4 // half width of the grid in standard errors
	gridDoublings = 2 // times it may be widened if the region reaches its edge
	leastErrorDB  = 0.05
)

// Lobe is one harmonic of the fitted dependence on azimuth, over the stations heard:
// amplitude * cos(harmonic * (az - toward)) is added to the all-round difference.
type Lobe struct {
	Harmonic    int // 1: one lobe; 2: two opposite ones
	AmplitudeDB float64
	// LowDB and HighDB hold the amplitude with 95 % (a projection, so rather more). LowDB is 0 if
	// no lobe at all is not ruled out. HighDB is +Inf if the data set no upper bound.
	LowDB, HighDB float64
	TowardDeg     float64 // clockwise from north, 0 <= toward < 360/harmonic
	// DirectionKnown is false if no lobe at all is not ruled out: the direction is then undetermined.
	DirectionKnown bool
	// FromDeg to ToDeg, clockwise, is the smallest arc that holds the direction with 95 %; both
	// in 0 <= deg < 360/harmonic.
	FromDeg, ToDeg float64
}

// fit finds d and beta by Newton steps on the score, d being the root with the shape held. It
// leaves the score evaluated at the fit.
func (s *score) fit(rounds int) (d float64, beta []float64) {
	beta = make([]float64, len(s.sumU))
	d = s.rootWith(beta)
	for range rounds {
		s.look(d, beta)
		information, ok := inverse(s.v0)
		if !ok {
			break
		}
		step := times(information, s.sumU)
		length := math.Sqrt(dot(step, step))
		scale := 1.0
		if length > fitStepDB {
			scale = fitStepDB / length
		}
		for k := range beta {
			beta[k] += float64(scale * step[k])
		}
		d = s.rootWith(beta)
	}
	s.look(d, beta)
	return d, beta
}

// rootWith is the root of the level with the shape held.
func (s *score) rootWith(beta []float64) float64 {
	return root(func(d float64) float64 {
		s.shaped(d, beta)
		return sum(s.g)
	})
}

// region is the search for the pairs (cos, sin) of one harmonic that gate 1 does not rule out.
type region struct {
	s            *score
	d            float64 // the fit
	beta         []float64
	mean         []float64
	pair         int         // first column of the harmonic
	errors       [2]float64  // standard errors of the pair
	information  [][]float64 // sum of M at the fit
	otherInverse [][]float64 // inverse of its block of the other pair; nil if there is none
	kept         keptPoints  // set by lobe

	shape, shift []float64 // space: a beta, and how far it is from the fit
}

// newRegion takes a score that stands at the fit; false if it has no inverse.
func newRegion(s *score, d float64, beta []float64, pair int) (*region, bool) {
	inv, ok := inverse(s.v0)
	if !ok {
		return nil, false
	}
	covariance := product(product(inv, s.ve), inv)
	r := &region{
		s: s, d: d, beta: clone(beta), mean: clone(s.mean), pair: pair, information: square(len(beta)),
		shape: make([]float64, len(beta)), shift: make([]float64, len(beta)),
	}
	for i := range s.v0 {
		copy(r.information[i], s.v0[i])
	}
	r.otherInverse = r.invertOther()
	for i := range r.errors {
		r.errors[i] = math.Max(leastErrorDB, math.Sqrt(covariance[pair+i][pair+i]))
	}
	return r, true
}

// allowed tells that gate 1 does not rule a pair out.
func (r *region) allowed(c, s float64) bool {
	r.look(c, s)
	return r.s.allowed()
}

// p is gate 1's p of a pair; above clearlyKept it is only known to be above.
func (r *region) p(c, s float64) float64 {
	r.look(c, s)
	weight, ok := inverse(r.s.variance())
	if !ok {
		return 1
	}
	return r.s.trial.plan.QuadraticUpTo(r.s.u, weight, clearlyKept)
}

// look evaluates the score at a pair. What is not looked for is profiled linearly: the other harmonic, if there is one,
// by the information matrix, and d by the mean of the columns.
func (r *region) look(c, s float64) {
	beta := r.shape
	copy(beta, r.beta)
	beta[r.pair], beta[r.pair+1] = c, s
	if len(beta) == 4 {
		r.profileOther(beta)
	}
	for k := range r.shift {
		r.shift[k] = beta[k] - r.beta[k]
	}
	r.s.look(r.d-dot(r.mean, r.shift), beta)
}

// other is the first column of the other harmonic, if there is one.
func (r *region) other() int { return 2 - r.pair }

// invertOther inverts the block of the other harmonic, for profileOther.
func (r *region) invertOther() [][]float64 {
	if len(r.beta) != 4 {
		return nil
	}
	block := square(2)
	for i := range 2 {
		copy(block[i], r.information[r.other()+i][r.other():r.other()+2])
	}
	inv, _ := inverse(block)
	return inv
}

// profileOther sets the other pair to its best value given this one: other = fit - Moo^-1 Mop (pair - fit). It stays
// at the fit where the inverse is missing.
func (r *region) profileOther(beta []float64) {
	var side [2]float64
	for i := range side {
		for j := range 2 {
			side[i] += float64(r.information[r.other()+i][r.pair+j] * (beta[r.pair+j] - r.beta[r.pair+j]))
		}
	}
	for i, row := range r.otherInverse {
		beta[r.other()+i] = r.beta[r.other()+i] - dot(row, side[:])
	}
}

// at is point i, j of the grid; the middle one is the fit.
func (r *region) at(half float64, i, j int) point {
	return point{
		c: r.beta[r.pair] + float64(half*r.errors[0]*float64(i-gridMiddle)/gridMiddle),
		s: r.beta[r.pair+1] + float64(half*r.errors[1]*float64(j-gridMiddle)/gridMiddle),
	}
}

// lobe searches the region and describes its harmonic; originKept says that no lobe is not ruled out.
func (r *region) lobe(harmonic int, originKept bool) Lobe {
	r.kept = r.search(originKept)
	kept := r.kept
	c, s := r.beta[r.pair], r.beta[r.pair+1]
	l := Lobe{
		Harmonic: harmonic, AmplitudeDB: math.Hypot(c, s), HighDB: math.Inf(1),
		TowardDeg: degrees(math.Atan2(s, c)) / float64(harmonic), DirectionKnown: !kept.origin && !kept.nothing,
	}
	if !kept.open {
		l.HighDB = kept.greatest()
	}
	if !l.DirectionKnown {
		return l
	}
	l.LowDB = kept.least()
	from, to := smallestArc(kept.anglesDeg())
	l.FromDeg, l.ToDeg = from/float64(harmonic), to/float64(harmonic)
	return l
}

// smallestArc gives the ends of the smallest arc, clockwise, that holds all angles (degrees); it
// sorts them.
func smallestArc(angles []float64) (from, to float64) {
	slices.Sort(angles)
	n := len(angles)
	from, to = angles[0], angles[n-1]
	widest := angles[0] + 360 - angles[n-1]
	for i := 1; i < n; i++ {
		if gap := angles[i] - angles[i-1]; gap > widest {
			widest, from, to = gap, angles[i], angles[i-1]
		}
	}
	return from, to
}
