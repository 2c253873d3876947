package contrast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Nine regions, five blocks, one lobe; the figures come from a program of its own in another language, which solves the
// regressions by the normal equations and takes the residuals one by one.
func TestFormOfTwoSources(t *testing.T) {
	azimuth := []float64{85, 37, 143, 56, 24, 145, 330, 288, 275}
	q := []float64{0.33, 0.52, 0.37, 0.3, 0.26, 0.33, 0.76, 0.7, 0.68}
	e := []float64{0.2, -0.62, -0.52, 1.31, -0.22, -1.95, 0.31, -0.29, -1.17}
	inTime := [][]float64{
		{-0.28, -0.19, -0.01, -0.13, 0.02, 0.55, -0.24, -0.24, -0.07}, {0.33, -0.21, 0.43, -0.39, -0.31, -0.02, -0.26, -0.19, 0.14},
		{0.22, 0.03, -0.08, 0.4, 0.12, -0.07, 0.36, -0.27, 0.05}, {0.2, -0, -0.17, 0.11, -0.16, -0.18, -0.31, 0.39, -0.16},
		{0.35, 0.11, -0.08, 0.2, 0.08, 0.04, -0.41, 0.02, 0.27},
	}
	means := make([]regionMean, len(q))
	for j := range means {
		means[j] = regionMean{region: j, e: e[j], q: q[j], x: OneSided.columns(azimuth[j] * math.Pi / 180)}
	}
	s, ok := newSources(means, inTime)
	require.True(t, ok)
	form, own := s.form(e)
	require.InDelta(t, 2.091268124505072, form, 1e-12)
	require.InDelta(t, 0.26113388135044024, own, 1e-12)
	require.InDelta(t, 0.7990212048355698, s.timeLeft, 1e-12)

	// what is drawn has the variance that is sought, and nothing of the lobe
	residuals := s.residuals(e, own)
	lobe, _ := s.score(residuals)
	require.InDelta(t, 0, math.Hypot(lobe[0], lobe[1]), 1e-12)
	var squares, total float64
	for j, r := range residuals {
		squares += q[j] * r * r
		total += q[j]
	}
	require.InDelta(t, own, squares/total, 1e-12)
}

func TestTwoSourcesNeedMoreRegionsThanColumns(t *testing.T) {
	var means []regionMean
	for j := range 3 {
		means = append(means, regionMean{region: j, q: 0.5, x: OneSided.columns(float64(j))})
	}
	_, ok := newSources(means, [][]float64{{0, 0, 0}})
	require.False(t, ok)
}

// An opening that turns, and receivers and regions that differ: gate 1 opens for the ones, permutations for the other, and
// without the third test both did in 10 % of such trials.
func TestOpeningAmongReceiversThatDiffer(t *testing.T) {
	opening := band{stations: 60, blocks: 16, meanDB: -11.6, driftSD: 0.93, dwellSD: 2.5, openingDB: 10.4, receiverSD: 1, regionSD: 1}
	n := quickTrials()
	for _, shape := range []Shape{OneSided, TwoSided, Any} {
		t.Run(shape.String(), func(t *testing.T) {
			t.Parallel()
			o := opening.opened(n, shape, constant(1.5))
			t.Logf("opened in %d at 5 %%, at 1 %%: gate 1 %v, both %v", n, o.gate1, o.both)
			require.Greater(t, o.gate1[0], n/20, "else the receivers do not differ")
			require.LessOrEqual(t, o.both[0], binomialBound(n, 0.05, 0.999))
			require.LessOrEqual(t, o.both[1], binomialBound(n, 0.01, 0.999))
		})
	}
}
