package contrast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Estimate is the part of Level that is quick.
func TestEstimateIsThatOfTheLevel(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		trial := drawnField(rt).trial(rapid.Uint64().Draw(rt, "seed"))
		level := trial.Level()
		db, sigma, ok := trial.Estimate()
		require.Equal(rt, level.Sized, ok)
		if ok {
			require.Equal(rt, level.EstimateDB, db)
			require.True(rt, sigma == level.SigmaDB || math.IsNaN(sigma) && math.IsNaN(level.SigmaDB))
		}
	})
}
