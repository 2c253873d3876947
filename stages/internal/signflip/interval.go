package signflip

import "math"

// Interval inverts a test: it gives the ends of the set of values d with p(d) > alpha around
// centre, where p(centre) > alpha. On each side it starts with the value width away; if that still
// has p > alpha the end is infinite ("no bound on that side"), otherwise the distance is halved
// halvings times. An end is the outermost value tried whose p is at most alpha, so the interval errs
// outwards, by at most width/2^halvings.
//
// The set is taken to be one piece; where p(d) has steps that go up and down near an end, the end is
// one of the crossings.
//
// Source: the inversion of a randomisation test, Tritchler, On inverting permutation tests, JASA 79,
// 1984, 200-207.
func Interval(p func(d float64) float64, centre, width, alpha float64, halvings int) (low, high float64) {
	side := func(step float64) float64 {
		if p(centre+step) > alpha {
			return math.Inf(int(math.Copysign(1, step)))
		}
		inside, outside := 0.0, step
		for range halvings {
			mid := (inside + outside) / 2
			if p(centre+mid) > alpha {
				inside = mid
			} else {
				outside = mid
			}
		}
		return centre + outside
	}
	return side(-width), side(width)
}
