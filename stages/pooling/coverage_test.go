package pooling

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/internal/signflip"
)

// How often the pooled intervals hold the mean of the places, with intervals of studies by inverted sign-flip tests over 10 blocks. The bound
// is four binomial standard errors below 95 %, 6.2 % with 200 simulated pools; the guarded interval may be as wide as it likes.
func TestCoverage(t *testing.T) {
	const blocks, operators = 10, 5
	pools := 200
	if testing.Short() {
		pools = 20
	}
	below := 0.95 - 4*math.Sqrt(0.05*0.95/float64(pools))
	plan := signflip.NewPlan(blocks, 1)
	rng := rand.New(rand.NewPCG(5, 6))
	flipInterval := func(mean, sd float64) (estimate, low, high float64) {
		var x [blocks]float64
		for b := range x {
			x[b] = mean + sd*rng.NormFloat64()
			estimate += x[b] / blocks
		}
		low, high = signflip.Interval(func(d float64) float64 {
			var g [blocks]float64
			for b := range g {
				g[b] = x[b] - d
			}
			return plan.Abs(g[:])
		}, estimate, 8*sd, 0.05, 9)
		return estimate, low, high
	}
	for _, tau := range []float64{0, 0.5, 1.5} {
		plain, guarded, singles := 0, 0, 0
		for range pools {
			var studies []Study
			for i := range operators {
				truth := 1 + tau*rng.NormFloat64()
				estimate, low, high := flipInterval(truth, 0.8+1.2*rng.Float64())
				if low <= truth && truth <= high {
					singles++
				}
				f := level(estimate, 1)
				f.Interval, f.Blocks = &[2]*float64{&low, &high}, blocks
				studies = append(studies, study(i+1, f))
			}
			doc, err := Pool(studies, Options{})
			require.NoError(t, err)
			c := doc.Claims[0]
			if contains(c.Interval, 1) {
				plain++
			}
			if contains(c.Guarded, 1) {
				guarded++
			}
		}
		share := func(n int) float64 { return float64(n) / float64(pools) }
		t.Logf("tau %g: single intervals %.1f %%, plain %.1f %%, guarded %.1f %%", tau, 100*share(singles)/operators, 100*share(plain), 100*share(guarded))
		require.GreaterOrEqual(t, share(plain), below, "tau %g", tau)
		require.GreaterOrEqual(t, share(guarded), below, "tau %g", tau)
	}
}
