package contrast

import (
	"math"
	"math/rand/v2"
	"slices"

	"fairlobe/stages/internal/signflip"
)

// sourcesStream is added to the stream of the sign vectors; the permutations of gate 2 have one between.
const sourcesStream = 2 * permutationStream

// sources is the regression of the regions' means on the columns of a shape where two things scatter them: time, in each block
// anew and in neighbours alike, and what each region has to itself.
//
// Gate 1 knows the first alone, the permutations of gate 2 only the second: they spread all scatter evenly, though a band that
// opens in a direction and turns scatters neighbours together, as a lobe does. Where both are at work (an opening that turns,
// receivers that differ by 1 dB) gate 1 opens for the receivers and the permutations for the opening, in 11 % of the trials. So
// a third test asks for both: Q = t' V^-1 t with t the score of the means, V the variance of t from time (the blocks' own
// scatter) and from the regions (what the fit leaves of squares beyond that); against 999 draws in which the blocks' scatter
// has random signs and the residuals of the fit random places, with V found anew in each (studentised: Janssen and Pauls, How
// do bootstrap and permutation tests work?, Annals of Statistics 31, 2003). It is approximate - 5 to 8 % are left of the 11 - and
// only ever added to the other two.
type sources struct {
	means  []regionMean
	inTime [][]float64 // by block, then region: how far the block is from the region's mean, times its share

	apart    [][]float64 // by region: columns less their q-weighted mean
	normal   [][]float64 // sum of q apart apart', and its inverse
	inverse  [][]float64
	own      [][]float64 // sum of q^2 apart apart': the variance of t from regions of variance 1
	time     [][]float64 // the variance of t from time
	timeLeft float64     // squares that time alone leaves to the fit
	freedom  float64     // squares that regions of variance 1 leave to the fit
}

// newSources gives false where the regression has no solution or leaves nothing.
func newSources(means []regionMean, inTime [][]float64) (*sources, bool) {
	k := len(means[0].x)
	s := &sources{means: means, inTime: inTime, normal: square(k), own: square(k), time: square(k)}
	centre, total := make([]float64, k), 0.0
	for _, m := range means {
		total += m.q
		for i, x := range m.x {
			centre[i] += float64(m.q * x)
		}
	}
	for _, m := range means {
		apart := make([]float64, k)
		for i, x := range m.x {
			apart[i] = x - centre[i]/total
		}
		s.apart = append(s.apart, apart)
		addOuter(s.normal, m.q, apart, apart)
		addOuter(s.own, float64(m.q*m.q), apart, apart)
	}
	n := float64(len(means))
	s.freedom = total * (n - 1 - float64(k)) / n
	var ok bool
	if s.inverse, ok = inverse(s.normal); !ok || s.freedom <= 0 {
		return nil, false
	}
	for _, e := range s.inTime {
		t, left := s.score(e)
		addOuter(s.time, 1, t, t)
		s.timeLeft += left
	}
	// As in gate 1: with few blocks their scatter alone may have no inverse.
	factor := trace(s.time) / trace(s.normal) * 6 / float64(len(s.inTime))
	for i := range s.time {
		for j := range s.time {
			s.time[i][j] += float64(factor * s.normal[i][j])
		}
	}
	return s, true
}

// inTime takes from each block the region's mean, and widens the rest by the freedom that this costs.
func (c *comparison) inTime(means []regionMean) [][]float64 {
	place := make(map[int]int, len(means))
	for j, m := range means {
		place[m.region] = j
	}
	e, a := make([][]float64, c.trial.params.Blocks), make([][]float64, c.trial.params.Blocks)
	for b := range e {
		e[b], a[b] = make([]float64, len(means)), make([]float64, len(means))
	}
	for i, cell := range c.trial.cells {
		if c.a[i] > 0 {
			j := place[c.trial.stations[cell.station].Region]
			e[cell.block][j] += c.d[i] - float64(c.a[i]*c.dbar[cell.block])
			a[cell.block][j] += c.a[i]
		}
	}
	for j, m := range means {
		total := 0.0
		for b := range e {
			total += e[b][j]
		}
		for b := range e {
			share := a[b][j] / m.den // what of the block's scatter the mean takes along
			e[b][j] = (e[b][j] - float64(a[b][j]*(total/m.den))) / math.Sqrt(max(0.25, 1-share)) / (m.den + 2)
		}
	}
	return e
}

// score gives t = sum q apart e, and the squares that the regression of e leaves.
func (s *sources) score(e []float64) (t []float64, left float64) {
	var total, mean float64
	for j, m := range s.means {
		total += m.q
		mean += float64(m.q * e[j])
	}
	mean /= total
	t = make([]float64, len(s.normal))
	for j, m := range s.means {
		d := e[j] - mean
		left += float64(m.q * float64(d*d))
		for i, x := range s.apart[j] {
			t[i] += float64(m.q * float64(x*d))
		}
	}
	return t, max(0, left-dot(t, times(s.inverse, t)))
}

// form gives Q and the variance that the regions have to themselves; Q is 0 where V has no inverse.
func (s *sources) form(e []float64) (q, own float64) {
	t, left := s.score(e)
	own = max(0, (left-s.timeLeft)/s.freedom)
	v := square(len(t))
	for i := range v {
		for j := range v {
			v[i][j] = s.time[i][j] + float64(own*s.own[i][j])
		}
	}
	inv, ok := inverse(v)
	if !ok {
		return 0, own
	}
	return dot(t, times(inv, t)), own
}

// p is the share of draws whose Q is at least that of the means.
func (s *sources) p(seed uint64) float64 {
	e := make([]float64, len(s.means))
	for j, m := range s.means {
		e[j] = m.e
	}
	observed, own := s.form(e)
	threshold := observed - 1e-9*math.Abs(observed)
	residuals := s.residuals(e, own)
	source := rand.NewPCG(seed, signflip.Stream+sourcesStream)
	order := identity(len(residuals))
	count := 1
	for range permutations {
		shuffle(order, source)
		for j := range e {
			e[j] = residuals[order[j]]
		}
		for _, scatter := range s.inTime {
			sign := 1 - 2*float64(source.Uint64()>>63)
			for j, x := range scatter {
				e[j] += sign * x
			}
		}
		if q, _ := s.form(e); q >= threshold {
			count++
		}
	}
	return float64(count) / (permutations + 1)
}

// residuals of the fit, scaled to the variance that the regions have to themselves.
func (s *sources) residuals(e []float64, own float64) []float64 {
	t, left := s.score(e)
	beta := times(s.inverse, t)
	out := slices.Clone(e)
	if left == 0 {
		clear(out)
		return out
	}
	var total, mean float64
	for j, m := range s.means {
		total += m.q
		mean += float64(m.q * e[j])
	}
	scale := math.Sqrt(own * total / left)
	for j := range out {
		out[j] = scale * (e[j] - mean/total - dot(beta, s.apart[j]))
	}
	return out
}
