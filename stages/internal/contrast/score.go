package contrast

import (
	"fmt"
	"math"
)

// Shape is the declared form of the dependence on azimuth: the columns that are looked at.
type Shape int

const (
	// OneSided is one lobe: cos az, sin az.
	OneSided Shape = iota
	// TwoSided is two opposite lobes: cos 2az, sin 2az.
	TwoSided
	// Any is both together, four columns.
	Any
)

// String gives the name of the shape as it is written in an experiment.
func (s Shape) String() string {
	switch s {
	case OneSided:
		return "one-sided"
	case TwoSided:
		return "two-sided"
	case Any:
		return "any"
	}
	return fmt.Sprintf("shape %d", int(s))
}

// harmonics are the multiples of the azimuth that the shape has, a pair of columns for each.
func (s Shape) harmonics() []int {
	switch s {
	case TwoSided:
		return []int{2}
	case Any:
		return []int{1, 2}
	}
	return []int{1}
}

// columns is X of the method for one azimuth.
func (s Shape) columns(azimuthRad float64) []float64 {
	var x []float64
	for _, h := range s.harmonics() {
		x = append(x, math.Cos(float64(h)*azimuthRad), math.Sin(float64(h)*azimuthRad))
	}
	return x
}

// score is a comparison with the centred regression of its differences on the columns of a shape.
type score struct {
	*comparison
	x [][]float64 // by station: columns

	u      [][]float64 // by block: U(b)
	sumU   []float64
	v0, ve [][]float64 // sum of M(b), sum of U(b)U(b)'
	mean   []float64   // mean of x over all cells, weighted by a
}

func (t *Trial) newScore(shape Shape) *score {
	return t.scoreOn(func(st Station) []float64 { return shape.columns(st.AzimuthRad) })
}

// scoreOn is the score of any columns, at most five.
func (t *Trial) scoreOn(columns func(Station) []float64) *score {
	s := &score{comparison: t.newComparison(), x: make([][]float64, len(t.stations))}
	for r, station := range t.stations {
		s.x[r] = columns(station)
	}
	k := len(columns(Station{}))
	s.u = make([][]float64, t.params.Blocks)
	for b := range s.u {
		s.u[b] = make([]float64, k)
	}
	s.sumU, s.mean = make([]float64, k), make([]float64, k)
	s.v0, s.ve = square(k), square(k)
	return s
}

// look evaluates at the offsets d + beta.x(r), and the score there.
func (s *score) look(d float64, beta []float64) {
	s.shaped(d, beta)
	s.clear()
	cells := s.trial.cells
	for first := 0; first < len(cells); {
		last := first
		for last < len(cells) && cells[last].block == cells[first].block {
			last++
		}
		s.addBlock(cells[first].block, first, last)
		first = last
	}
	weight := sum(s.m)
	for k := range s.mean {
		s.mean[k] /= weight
	}
	for _, u := range s.u {
		addOuter(s.ve, 1, u, u)
		for k, x := range u {
			s.sumU[k] += x
		}
	}
}

// shaped evaluates the differences at the offsets d + beta.x(r).
func (s *score) shaped(d float64, beta []float64) {
	for r, x := range s.x {
		s.offset[r] = d + dot(beta, x)
	}
	s.evaluate()
}

func (s *score) clear() {
	clear(s.sumU)
	clear(s.mean)
	for k := range s.v0 {
		clear(s.v0[k])
		clear(s.ve[k])
	}
	for b := range s.u {
		clear(s.u[b])
	}
}

// addBlock adds the cells first..last of one block: centred inside the block, so that a difference
// common to all stations drops out.
func (s *score) addBlock(block, first, last int) {
	m := s.m[block]
	if m == 0 {
		return
	}
	var space [5]float64
	centre := space[:len(s.sumU)]
	for i := first; i < last; i++ {
		for k, x := range s.x[s.trial.cells[i].station] {
			ax := float64(s.a[i] * x)
			centre[k] += ax
			s.mean[k] += ax
		}
	}
	for k := range centre {
		centre[k] /= m
	}
	var apart [5]float64
	for i := first; i < last; i++ {
		if s.a[i] == 0 {
			continue
		}
		for k, x := range s.x[s.trial.cells[i].station] {
			apart[k] = x - centre[k]
			s.u[block][k] += float64(apart[k] * s.d[i] / (m + sharedParts))
		}
		addOuter(s.v0, s.a[i]/(m+sharedParts), apart[:len(centre)], apart[:len(centre)])
	}
}

// variance is V = Ve + V0 * (tr Ve / tr V0) * 6/B; the second part keeps it invertible with few blocks.
func (s *score) variance() [][]float64 {
	factor := trace(s.ve) / trace(s.v0) * 6 / float64(s.trial.params.Blocks)
	v := square(len(s.v0))
	for i := range v {
		for j := range v {
			v[i][j] = s.ve[i][j] + float64(s.v0[i][j]*factor)
		}
	}
	return v
}

// gate1 is the sign-flip p of Q = u' V^-1 u at the present offsets; 1 where V has no inverse (no
// block differs from any other).
func (s *score) gate1() float64 {
	weight, ok := inverse(s.variance())
	if !ok {
		return 1
	}
	return s.trial.plan.Quadratic(s.u, weight)
}

// allowed tells whether gate 1 is above Alpha at the present offsets.
func (s *score) allowed() bool {
	weight, ok := inverse(s.variance())
	return !ok || s.trial.plan.QuadraticAbove(s.u, weight, Alpha)
}
