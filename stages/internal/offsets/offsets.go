// Package offsets gives the median of offsets with an exact interval, without a model of their spread.
//
// # Model
//
// There are n offsets x1..xn, in dB, each of one unit, and the units are independent of one another. The unit is the
// caller's choice: what may have something in common belongs into one unit. Each offset is as likely above the median
// sought as below it; nothing else is taken for granted, so a few wild offsets do no harm.
//
// Of a true median M, the number of offsets below it has the binomial distribution of n throws of a fair coin. So the
// sorted offsets x(k) and x(n+1-k) hold M between them with a chance of at least 1 - alpha if
//
//	2 P(Bin(n, 1/2) <= k-1) <= alpha
//
// and the greatest such k gives the interval. The sign test of M = 0 is the same statement turned round: with the offsets
// that are exactly 0 counted against it, 0 lies outside of the interval if and only if p <= alpha.
//
// # Watching
//
// Watch gives numbers that hold however often one looks, for offsets in the order in which their units came up, each
// known when it came up. If the median of each is 0, given those before, betting on its sign is a fair game or a losing
// one, so a player's capital rarely grows (Ville's inequality).
//
// # What it does not do
//
// It knows no stations, powers, blocks or verdicts, and it does not find out whether the units are independent.
//
// Sources: Conover, Practical Nonparametric Statistics, 3rd edition, 1999, sections 3.2 (interval of a quantile) and 3.4
// (sign test); Ramdas, Grünwald, Vovk and Shafer, Game-theoretic statistics and safe anytime-valid inference, Statistical
// Science 38, 2023.
package offsets

import (
	"math"
	"slices"
)

// Summary is what some offsets say of their median.
type Summary struct {
	N      int
	Median float64 // dB; of an even number the mean of the two in the middle; NaN of none
	// Low and High are the ends of the interval, dB; -Inf and +Inf if the offsets are too few for one.
	Low, High float64
	P         float64 // two-sided p of the median being 0
}

// Summarise gives the median with its interval at level alpha. The offsets are finite.
func Summarise(x []float64, alpha float64) Summary {
	sorted := slices.Sorted(slices.Values(x))
	s := Summary{N: len(x), Median: Median(x), Low: math.Inf(-1), High: math.Inf(1), P: SignP(x)}
	if k := Rank(len(x), alpha); k > 0 {
		s.Low, s.High = sorted[k-1], sorted[len(sorted)-k]
	}
	return s
}

// Median is the median; of an even number the mean of the two in the middle; NaN of none.
func Median(x []float64) float64 {
	sorted := slices.Sorted(slices.Values(x))
	n := len(sorted)
	switch {
	case n == 0:
		return math.NaN()
	case n%2 == 1:
		return sorted[n/2]
	}
	return (sorted[n/2-1] + sorted[n/2]) / 2
}

// Rank is the k of the interval from the k-th smallest to the k-th greatest of n values (see the package); 0 if n is too
// small for one.
func Rank(n int, alpha float64) int {
	k := 0
	for 2*tail(n, k) <= alpha {
		k++
	}
	return k
}

// SignP is the two-sided p of the sign test that the median is 0.
func SignP(x []float64) float64 {
	above, below := 0, 0
	for _, v := range x {
		switch {
		case v > 0:
			above++
		case v < 0:
			below++
		}
	}
	return min(1, 2*tail(len(x), len(x)-max(above, below)))
}

// tail is the chance of at most k heads in n throws of a fair coin. The sum runs up from the smallest term, so it keeps
// its digits; above 1074 throws terms that a float can't hold are 0.
func tail(n, k int) float64 {
	term := math.Ldexp(1, -n)
	total := 0.0
	for i := 0; i <= min(k, n); i++ {
		total += term
		term = term * float64(n-i) / float64(i+1)
	}
	return min(1, total)
}

// bets are the shares of its capital that a player stakes, each on either sign.
var bets = [...]float64{0.1, 0.3, 0.5, 0.7, 0.9}

// Watched is what holds however often one looks.
type Watched struct {
	P         float64 // of the median being 0
	Low, High float64 // confidence sequence, dB; infinite where there is no bound
	Empty     bool    // every median is ruled out: the offsets moved with time
}

// Watch gives the evidence of offsets in the order in which they came up; alpha is the level of the confidence sequence.
// An offset that lies exactly on the median asked for loses every bet.
func Watch(x []float64, alpha float64) Watched {
	w := Watched{P: watchedP(x, 0), Low: math.Inf(-1), High: math.Inf(1)}
	sorted := slices.Compact(slices.Sorted(slices.Values(x)))
	kept := func(median float64) bool { return watchedP(x, median) > alpha }
	if len(sorted) == 0 {
		return w
	}
	// Between two offsets the evidence is the same, and at an offset it is weaker than beside it: so the set of medians
	// that are kept ends at offsets.
	var ends []float64
	for _, v := range sorted {
		if kept(v) {
			ends = append(ends, v)
		}
	}
	if len(ends) == 0 {
		w.Empty = true
		return w
	}
	if !kept(math.Inf(-1)) {
		w.Low = ends[0]
	}
	if !kept(math.Inf(1)) {
		w.High = ends[len(ends)-1]
	}
	return w
}

// watchedP is 1 over the greatest capital on the way, at most 1.
func watchedP(x []float64, median float64) float64 {
	p := 1.0
	var up, down [len(bets)]float64
	for i := range bets {
		up[i], down[i] = 1, 1
	}
	for _, v := range x {
		total := 0.0
		for i, stake := range bets {
			up[i] *= factor(stake, v > median)
			down[i] *= factor(stake, v < median)
			total += up[i] + down[i]
		}
		p = min(p, 2*float64(len(bets))/total)
	}
	return p
}

// factor is what a stake makes of the capital.
func factor(stake float64, won bool) float64 {
	if won {
		return 1 + stake
	}
	return 1 - stake
}
