package contrast

import (
	"math"
	"math/rand/v2"

	"fairlobe/stages/internal/signflip"
)

// Distance and azimuth may be tangled: if all southern stations are far away, a difference that depends on the distance
// (take-off angles differ) looks like a lobe. So where the logarithm of the distance goes with the fitted lobe, both gates
// are asked again of what is left of it:
//
// Gate 1 with the distance as a column that is fitted first, and the columns of the azimuth less what the distance tells of
// them (the effective score of Hemerik, Goeman & Finos 2020, as for the common difference; D. R. Cox and D. V. Hinkley,
// Theoretical Statistics, 1974, section 9.3). Gate 2 with the regional means less their regression on the distance, and
// the permuted columns likewise.
const mostTangled = 0.5 // correlation of log distance and lobe from which that is done

// Tangle is the dependence on azimuth beyond that on distance. The zero value: they are not tangled.
type Tangle struct {
	// Correlation of log distance with the fitted lobe over the stations heard, weighted as they are; 0 if either is the same everywhere.
	Correlation float64
	Tangled     bool
	// Gate1 and Gate2 are the p values beyond the distance, where they are tangled; Gate2 is 1 with too few regions.
	Gate1, Gate2 float64
}

// tangle looks at the score, which stands at the fit of beta.
func (s *score) tangle(shape Shape, beta []float64) Tangle {
	out := Tangle{Correlation: s.correlation(beta)}
	if math.Abs(out.Correlation) <= mostTangled {
		return out
	}
	out.Tangled, out.Gate2 = true, 1
	k := len(beta)
	z := s.trial.scoreOn(func(st Station) []float64 { return []float64{st.LogDistance} })
	d, slope := z.fit(fitRounds)
	all := s.trial.scoreOn(func(st Station) []float64 { return append(shape.columns(st.AzimuthRad), st.LogDistance) })
	offset := make([]float64, k+1)
	offset[k] = slope[0]
	all.look(d, offset)
	out.Gate1 = all.beyondLast().gate1()
	if means := all.regionMeans(shape); len(means) >= fewestGate2Regions {
		out.Gate2 = all.trial.gate2Beyond(means, all.regionDistances(means))
	}
	return out
}

// correlation is that of log distance with the lobe, over the cells, weighted by a.
func (s *score) correlation(beta []float64) float64 {
	var w, mz, mf float64
	each := func(do func(a, z, f float64)) {
		for i, cell := range s.trial.cells {
			do(s.a[i], s.trial.stations[cell.station].LogDistance, dot(beta, s.x[cell.station]))
		}
	}
	each(func(a, z, f float64) { w, mz, mf = w+a, mz+float64(a*z), mf+float64(a*f) })
	mz, mf = mz/w, mf/w
	var zz, ff, zf float64
	each(func(a, z, f float64) {
		zz += float64(a * float64((z-mz)*(z-mz)))
		ff += float64(a * float64((f-mf)*(f-mf)))
		zf += float64(a * float64((z-mz)*(f-mf)))
	})
	if zz < 1e-12*w || ff < 1e-12*w { // all equally far, or no lobe
		return 0
	}
	return zf / math.Sqrt(float64(zz*ff))
}

// beyondLast is the score of all columns but the last, less what the last tells of them.
func (s *score) beyondLast() *score {
	k := len(s.sumU) - 1
	by := make([]float64, k)
	for i := range by {
		by[i] = s.v0[i][k] / s.v0[k][k]
	}
	out := &score{comparison: s.comparison, sumU: make([]float64, k), v0: square(k), ve: square(k)}
	for _, u := range s.u {
		left := make([]float64, k)
		for i := range left {
			left[i] = u[i] - float64(by[i]*u[k])
			out.sumU[i] += left[i]
		}
		out.u = append(out.u, left)
		addOuter(out.ve, 1, left, left)
	}
	for i := range k {
		for j := range k {
			out.v0[i][j] = s.v0[i][j] - float64(by[i]*s.v0[k][j])
		}
	}
	return out
}

// regionDistances gives the mean log distance of each region, weighted by a.
func (s *score) regionDistances(means []regionMean) []float64 {
	sums := map[int]float64{}
	for i, cell := range s.trial.cells {
		st := s.trial.stations[cell.station]
		sums[st.Region] += float64(s.a[i] * st.LogDistance)
	}
	out := make([]float64, len(means))
	for j, m := range means {
		out[j] = sums[m.region] / m.den
	}
	return out
}

// gate2Beyond is gate2 with the regression on distance taken off the means and off the permuted columns.
func (t *Trial) gate2Beyond(means []regionMean, z []float64) float64 {
	q := make([]float64, len(means))
	e := make([]float64, len(means))
	columns := make([][]float64, len(means[0].x))
	for j, m := range means {
		q[j], e[j] = m.q, m.e
		for i, x := range m.x {
			columns[i] = append(columns[i], x)
		}
	}
	centre(q, z)
	beyond(q, z, e)
	order := identity(len(means))
	observed := lineUpBeyond(q, z, e, columns, order)
	threshold := observed - 1e-9*math.Abs(observed)
	source := rand.NewPCG(t.params.Seed, signflip.Stream+permutationStream)
	count := 1
	for range permutations {
		shuffle(order, source)
		if lineUpBeyond(q, z, e, columns, order) >= threshold {
			count++
		}
	}
	return float64(count) / (permutations + 1)
}

// lineUpBeyond is the regression sum of squares of e on the permuted columns, both less their regression on 1 and z.
func lineUpBeyond(q, z, e []float64, columns [][]float64, order []int) float64 {
	k := len(columns)
	left := make([][]float64, k)
	for i, column := range columns {
		left[i] = make([]float64, len(order))
		for j, from := range order {
			left[i][j] = column[from]
		}
		beyond(q, z, left[i])
	}
	normal, side := square(k), make([]float64, k)
	for i := range k {
		side[i] = weighted(q, left[i], e)
		for j := range k {
			normal[i][j] = weighted(q, left[i], left[j])
		}
	}
	return explained(normal, side)
}

// beyond takes the weighted regression on 1 and z, which is centred, off v.
func beyond(q, z, v []float64) {
	centre(q, v)
	zz := weighted(q, z, z)
	if zz == 0 {
		return
	}
	slope := weighted(q, z, v) / zz
	for j := range v {
		v[j] -= float64(slope * z[j])
	}
}

func centre(q, v []float64) {
	var total, mean float64
	for j := range v {
		total += q[j]
		mean += float64(q[j] * v[j])
	}
	mean /= total
	for j := range v {
		v[j] -= mean
	}
}

func weighted(q, a, b []float64) float64 {
	s := 0.0
	for j := range q {
		s += float64(q[j] * float64(a[j]*b[j]))
	}
	return s
}
