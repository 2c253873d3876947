package offsets

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Critical values of the sign test, two-sided at 5 %: the greatest number r of the rarer sign that is significant; the
// interval begins at the next offset, k = r + 1. Dixon and Mood, The statistical sign test, JASA 41, 1946, table 1.
func TestRanksOfTheSignTest(t *testing.T) {
	for n, r := range map[int]int{
		6: 0, 7: 0, 8: 0, 9: 1, 10: 1, 11: 1, 12: 2, 13: 2, 14: 2, 15: 3, 16: 3, 17: 4, 18: 4, 19: 4, 20: 5, 21: 5, 22: 5, 23: 6, 24: 6, 25: 7,
		30: 9, 40: 13, 50: 17, 60: 21, 70: 26, 80: 30, 90: 35, 100: 39,
	} {
		require.Equal(t, r+1, Rank(n, 0.05), "n = %d", n)
	}
	for n := range 6 {
		require.Zero(t, Rank(n, 0.05), "with %d offsets there is no interval: 2^(1-5) is above 0.05", n)
	}
}

// Cumulative binomial probabilities for p = 0.5, to the four decimals of the table: Conover, Practical Nonparametric
// Statistics, 3rd edition, 1999, table A3.
func TestTailOfTheBinomial(t *testing.T) {
	for _, c := range []struct {
		n, k int
		p    float64
	}{
		{5, 0, 0.0312}, {5, 1, 0.1875}, {5, 2, 0.5}, {8, 1, 0.0352}, {10, 0, 0.0010}, {10, 1, 0.0107}, {10, 2, 0.0547}, {10, 4, 0.3770},
		{15, 3, 0.0176}, {15, 4, 0.0592}, {20, 5, 0.0207}, {20, 6, 0.0577}, {20, 9, 0.4119},
	} {
		require.InDelta(t, c.p, tail(c.n, c.k), 0.5e-4+1e-12, "P(Bin(%d, 1/2) <= %d)", c.n, c.k)
	}
	require.Equal(t, 1.0, tail(7, 7))
	require.Zero(t, tail(7, -1))
}

// Darwin's fifteen differences of crossed and self-fertilised maize, in eighths of an inch: Fisher, The Design of
// Experiments, 1935, table 3. Thirteen are above 0, so p = 2 (1 + 15 + 105)/2^15; the interval of 15 values lies between
// the 4th and the 12th.
var darwin = []float64{49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48}

func TestDarwinsMaize(t *testing.T) {
	require.Equal(t, Summary{N: 15, Median: 24, Low: 8, High: 49, P: 242.0 / 32768}, Summarise(darwin, 0.05))
}

func TestFewAndTiedOffsets(t *testing.T) {
	none := Summarise(nil, 0.05)
	require.True(t, math.IsNaN(none.Median))
	require.Equal(t, 1.0, none.P)
	require.True(t, math.IsInf(none.Low, -1) && math.IsInf(none.High, 1))

	require.Equal(t, 2.5, Median([]float64{4, 1, 2, 3}), "of an even number the mean of the two in the middle")
	require.Equal(t, 2.0/64, SignP([]float64{1, 1, 1, 1, 1, 1}))
	require.Equal(t, 2*7.0/64, SignP([]float64{1, 1, 1, 1, 1, 0}), "0 counts against")
	require.Equal(t, 1.0, SignP([]float64{0, 0, 0}))
}

// The interval excludes 0 if and only if the sign test does; turning the signs turns the interval.
func TestIntervalIsTheTestTurnedRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Map(rapid.IntRange(-4, 6), func(i int) float64 { return float64(i) / 2 }), 0, 40).Draw(t, "offsets")
		s := Summarise(x, 0.05)
		require.Equal(t, s.P <= 0.05, s.Low > 0 || s.High < 0, "%v %v", x, s)
		if len(x) > 0 {
			require.LessOrEqual(t, s.Low, s.Median)
			require.GreaterOrEqual(t, s.High, s.Median)
		}
		negative := make([]float64, len(x))
		for i, v := range x {
			negative[i] = 0 - v
		}
		n := Summarise(negative, 0.05)
		require.Equal(t, [3]float64{s.P, s.Low, s.High}, [3]float64{n.P, -n.High, -n.Low})
		w, v := Watch(x, 0.05), Watch(negative, 0.05)
		require.Equal(t, [2]float64{w.Low, w.High}, [2]float64{-v.High, -v.Low})
		require.InDelta(t, w.P, v.P, 1e-12) // the same bets summed in another order
	})
}

// Of all 2^12 ways in which signs may fall, at most 5 % may ever reach p <= 0.05 (Ville's inequality), and at most 1 %
// p <= 0.01; some do.
func TestWatchedSignsAreAFairGame(t *testing.T) {
	const n = 12
	reached := map[float64]int{0.05: 0, 0.01: 0}
	for pattern := range 1 << n {
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(2*(pattern>>i&1) - 1)
		}
		p := Watch(x, 0.05).P
		for level := range reached {
			if p <= level {
				reached[level]++
			}
		}
	}
	for level, count := range reached {
		require.LessOrEqual(t, float64(count)/(1<<n), level)
		require.Positive(t, count)
	}
}

// With the stakes s of the package two equal signs give a capital of 1 + mean of s^2, 1.33: the mean of (1+s)^2 and (1-s)^2.
func TestWatchedByHand(t *testing.T) {
	require.Equal(t, 1.0, Watch(nil, 0.05).P)
	require.InDelta(t, 1.0, Watch([]float64{3}, 0.05).P, 1e-15)
	require.InDelta(t, 1/1.33, Watch([]float64{3, 2}, 0.05).P, 1e-12)
	require.InDelta(t, 1.0, Watch([]float64{3, -2}, 0.05).P, 1e-12)
	require.InDelta(t, 1.0, Watch([]float64{0, 0, 0}, 0.05).P, 1e-12, "an offset on the median loses every bet")
	var rising []float64
	for i := range 60 {
		rising = append(rising, float64(i))
	}
	require.True(t, Watch(rising, 0.05).Empty, "the offsets moved with time")
}

// The confidence sequence holds every median that a fine grid finds not ruled out, and ends where they end.
func TestConfidenceSequenceAgainstAGrid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Map(rapid.IntRange(-10, 20), func(i int) float64 { return float64(i) }), 1, 25).Draw(t, "offsets")
		w := Watch(x, 0.05)
		low, high := math.Inf(1), math.Inf(-1)
		for step := -60; step <= 100; step++ {
			if d := float64(step) / 4; watchedP(x, d) > 0.05 {
				low, high = min(low, d), max(high, d)
			}
		}
		if w.Empty {
			require.Greater(t, low, high)
			return
		}
		require.InDelta(t, low, max(w.Low, -15), 0.25)
		require.InDelta(t, high, min(w.High, 25), 0.25)
		require.LessOrEqual(t, w.Low, low)
		require.GreaterOrEqual(t, w.High, high)
		require.True(t, math.IsInf(w.Low, -1) || slices.Contains(x, w.Low))
	})
}

func BenchmarkSummarise(b *testing.B) {
	x := make([]float64, 40)
	for i := range x {
		x[i] = float64(i*7%40) - 15
	}
	b.ReportAllocs()
	for b.Loop() {
		Summarise(x, 0.05)
		Watch(x, 0.05)
	}
}
