package judge

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// Four erections of five blocks. By hand: the variance of 1, 2, 3, 4 is 5/3; the noise of a mean is 1/5. Printed tables give
// F(0.975; 3, 16) = 4.08, F(0.975; 16, 3) = 14.23, chi-squared(3) = 9.348 and 0.2158, t(0.975; 3) = 3.182 (Fisher and Yates,
// Statistical Tables; two decimals of F move the ends by less than 0.002).
func TestSpreadByHand(t *testing.T) {
	var all []erected
	for _, db := range []float64{1, 2, 3, 4} {
		all = append(all, erected{estimateDB: db, blocks: 5, sigmaDB: 1})
	}
	s := spreadOf(all)
	require.InDelta(t, math.Sqrt(5./3-1./5), s.sd, 1e-12)
	require.InDelta(t, math.Sqrt((5./3-4.08/5)*3/9.348), s.low, 2e-3)
	require.InDelta(t, math.Sqrt((5./3-1/14.23/5)*3/0.2158), s.high, 2e-3)
	mean, half := meanAndHalf(estimatesOf(all))
	require.InDelta(t, 2.5, mean, 1e-12)
	require.InDelta(t, 3.182*math.Sqrt(5./12), half, 2e-3)
}

// Erections of 2 and 6 blocks: the harmonic mean is 3, and the pooled variance (1*4 + 5*1)/6 = 1.5.
func TestSpreadOfUnequalErections(t *testing.T) {
	s := spreadOf([]erected{{estimateDB: 0, blocks: 2, sigmaDB: 2}, {estimateDB: 2, blocks: 6, sigmaDB: 1}})
	require.InDelta(t, math.Sqrt(2-1.5/3), s.sd, 1e-12)
}

func TestErectionsThatDifferByLessThanTheirNoise(t *testing.T) {
	s := spreadOf([]erected{{estimateDB: 1, blocks: 4, sigmaDB: 2}, {estimateDB: 1.1, blocks: 4, sigmaDB: 2}, {estimateDB: 0.9, blocks: 4, sigmaDB: 2}})
	require.Zero(t, s.sd)
	require.Zero(t, s.low)
}

// Coverage over 4000 invented trials each, of 95 %, within 3.9 standard errors of 0.345 points: what chance exceeds once in
// 1000 times among 12 comparisons. The interval of the spread is conservative, so it has no upper bound here; that of the mean is
// exact with equal numbers of blocks, and near with unequal ones.
func TestSpreadCoversTheTruth(t *testing.T) {
	const trials, least, most = 4000, 0.9366, 0.9634
	for _, c := range []struct {
		name       string
		blocks     []int
		sd, sigma  float64
		meanIsNear float64 // what unequal numbers may add to the bounds of the mean
	}{
		{"equal", []int{6, 6, 6, 6}, 0.8, 1.2, 0},
		{"unequal", []int{3, 8, 4, 10, 5}, 0.8, 1.2, 0.005},
		{"three", []int{8, 8, 8}, 1, 0.7, 0},
		{"nearly no spread", []int{6, 6, 6, 6, 6}, 0.05, 1.5, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(11, 13))
			spreads, means := 0, 0
			for range trials {
				all := erectionsOf(random, c.blocks, c.sd, c.sigma)
				s := spreadOf(all)
				mean, half := meanAndHalf(estimatesOf(all))
				if s.low <= c.sd && c.sd <= s.high {
					spreads++
				}
				if math.Abs(mean-2) <= half {
					means++
				}
			}
			require.GreaterOrEqual(t, float64(spreads)/trials, least)
			require.GreaterOrEqual(t, float64(means)/trials, least-c.meanIsNear)
			require.LessOrEqual(t, float64(means)/trials, most+c.meanIsNear)
		})
	}
}

// erectionsOf draws erections of a mean of 2 dB block by block.
func erectionsOf(random *rand.Rand, blocks []int, sd, sigma float64) []erected {
	var all []erected
	for _, n := range blocks {
		at, sum, squares := 2+sd*random.NormFloat64(), 0.0, 0.0
		for range n {
			v := at + sigma*random.NormFloat64()
			sum += v
			squares += v * v
		}
		mean := sum / float64(n)
		all = append(all, erected{blocks: n, estimateDB: mean, sigmaDB: math.Sqrt((squares - float64(n)*mean*mean) / float64(n-1))})
	}
	return all
}
