package judge_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// An arm that is never heard is weaker, and nobody knows by how much: no size, and nothing of other receivers. The search
// of the statistics ends at 30 dB, which is no estimate.
func TestOneArmNeverHeard(t *testing.T) {
	for _, loud := range []float64{-12, 25} {
		w := asking(plain(), level(), lobe("one-sided"))
		w.levelDB = func(place) float64 { return loud }
		w.silent = func(_ place, arm string, _ int) bool { return arm == "low" }
		all := w.judged(t)
		e := all[0]
		require.Equal(t, "different", e.Verdict)
		require.Equal(t, here, *e.Reach)
		require.Nil(t, e.EstimateDB)
		require.Contains(t, e.Reason, "high is stronger than low (")
		require.Contains(t, e.Reason, "by how many dB can't be said")
		require.NotContains(t, e.Reason, "30.00")
		require.NotContains(t, e.codes(), "one_station")
		require.Equal(t, "too_few_stations", all[1].ReasonCode)
		require.Contains(t, all[1].Reason, "24 heard one arm above the cut")

		w.claims[0].Arms = []string{"low", "high"}
		require.Contains(t, w.judged(t)[0].Reason, "high is stronger than low (")

		w.claims[0].Kind = "null"
		require.Equal(t, "fails", w.judged(t)[0].Verdict)
	}
}
