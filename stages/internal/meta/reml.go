package meta

import "math"

// objective is a restricted likelihood as a function of tau^2 alone.
type objective interface {
	// score is its derivative at tau2, times 2.
	score(tau2 float64) float64
	// logLik is its logarithm, up to a constant.
	logLik(tau2 float64) float64
}

// gridSteps is how many places of the derivative are looked at, evenly in the logarithm.
const gridSteps = 80

// maximise gives the tau^2 >= 0 with the greatest restricted likelihood. spread is the sum of squared distances of the
// estimates from their plain mean, df the number of components of all estimates less those of the mean, and least and
// greatest bound the sampling variances (of any component in any direction).
//
// With W the inverse variances and P the projector off the mean, the derivative is r'W^2 r - tr P, where
// r'W^2 r <= spread/(tau2+least)^2 and tr P >= df/(tau2+greatest), so with s = spread/df it is negative beyond s + sqrt(s greatest).
func maximise(f objective, spread, df, least, greatest float64) float64 {
	s := spread / df
	bound := s + math.Sqrt(float64(s*greatest))
	if bound <= 0 {
		return 0
	}
	best, bestLik := 0.0, f.logLik(0)
	from := math.Min(least, bound) * 1e-4
	ratio := math.Pow(bound/from, 1/float64(gridSteps))
	below, rising := 0.0, f.score(0) > 0
	for i, at := 0, from; i <= gridSteps; i, at = i+1, float64(at*ratio) {
		up := f.score(at) > 0 && i < gridSteps
		if rising && !up {
			top := crossing(f.score, below, math.Max(at, below))
			if lik := f.logLik(top); lik > bestLik {
				best, bestLik = top, lik
			}
		}
		below, rising = at, up
	}
	return best
}

// crossing halves [low, high], where f is positive at low and not at high, until the ends are neighbours.
func crossing(f func(float64) float64, low, high float64) float64 {
	for {
		middle := low + float64((high-low)/2)
		if middle <= low || middle >= high {
			return middle
		}
		if f(middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
}
