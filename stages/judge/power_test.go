package judge_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// 5 W are 0.9691 dB above 4 W (10 lg 1.25): of high minus low, measured with 5 W at low and 4 W at high, that much is power.
func TestTheCorrectedFigureStandsBeside(t *testing.T) {
	const db = 0.9691
	for _, kindOf := range []string{"level", "null"} {
		plainly := asking(plain().differ(1), kind(kindOf, 0)).one(t)
		require.Nil(t, plainly.PowerCorrectedDB)
		w := asking(plain().differ(1), kind(kindOf, 0))
		w.trial.Events = append(w.trial.Events, logged("power", 1, "low", 5, ""), logged("power", 2, "high", 4, ""))
		e := w.one(t)
		require.Equal(t, []any{plainly.Verdict, plainly.Reason, plainly.EstimateDB, plainly.IntervalDB, plainly.P},
			[]any{e.Verdict, e.Reason, e.EstimateDB, e.IntervalDB, e.P}, "the verdict is not corrected")
		require.InDelta(t, *e.EstimateDB+db, *e.PowerCorrectedDB, 1e-4, "four decimals")
		for i, outwards := range []float64{-0.005, 0.005} {
			require.InDelta(t, *e.IntervalDB[i]+db+outwards, *e.PowerCorrectedIn[i], 0.005, "rounded outward to 0.01 dB")
		}
	}
}

func TestPowersThatHardlyDifferAreNotCorrected(t *testing.T) {
	w := plain().differ(1)
	w.trial.Events = append(w.trial.Events, logged("power", 1, "low", 5, ""), logged("power", 2, "high", 4.9, ""))
	require.Nil(t, w.one(t).PowerCorrectedDB)
}

// A band without an interval has no corrected one, and one side without bound stays so.
func TestCorrectedIntervals(t *testing.T) {
	unbounded := plain()
	unbounded.silent = func(at place, arm string, _ int) bool { return arm == "low" && at.station+at.block > 0 }
	unfinished := plain().differ(1)
	unfinished.last = began
	for _, w := range []*world{unbounded, unfinished} {
		w.trial.Events = append(w.trial.Events, logged("power", 1, "low", 5, ""), logged("power", 2, "high", 4, ""))
	}
	e := unbounded.one(t)
	require.Nil(t, e.PowerCorrectedIn[1])
	require.InDelta(t, *e.IntervalDB[0]+0.9691+0.005-0.01, *e.PowerCorrectedIn[0], 0.00501)
	require.Nil(t, unfinished.one(t).PowerCorrectedIn)
}

func TestTheCorrectionTurnsWithTheArms(t *testing.T) {
	make := func() *world {
		w := plain().differ(1)
		w.trial.Events = append(w.trial.Events, logged("power", 1, "low", 5, ""), logged("power", 2, "high", 4, ""))
		return w
	}
	one, _ := requireMirrored(t, make(), make())
	require.NotNil(t, one[0].PowerCorrectedIn)
}
