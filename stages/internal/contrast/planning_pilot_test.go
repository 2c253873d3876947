package contrast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Spread is the part of Level that a planner needs, with the blocks at the estimate, where their sum is 0 but for the last
// step of the search.
func TestSpreadIsThatOfTheLevel(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		trial := drawnField(rt).trial(rapid.Uint64().Draw(rt, "seed"))
		level := trial.Level()
		s, ok := trial.Spread()
		require.Equal(rt, level.Sized, ok)
		if !ok {
			return
		}
		require.Equal(rt, level.EstimateDB, s.EstimateDB)
		require.Equal(rt, level.Kappa, s.Kappa)
		require.Equal(rt, level.Stations, s.Stations)
		require.True(rt, s.SigmaDB == level.SigmaDB || math.IsNaN(s.SigmaDB) && math.IsNaN(level.SigmaDB))
		blocks := float64(len(s.G))
		if squares := sumOfSquares(s.G); blocks > 1 && sum(s.W) > 0 { // section 8 of the method, by hand
			require.InDelta(rt, math.Sqrt(blocks*blocks/(blocks-1)*squares)/(s.Kappa*sum(s.W)), s.SigmaDB, 1e-9*(1+s.SigmaDB))
		}
	})
}

func sumOfSquares(x []float64) float64 {
	out := 0.0
	for _, v := range x {
		out += v * v
	}
	return out
}
