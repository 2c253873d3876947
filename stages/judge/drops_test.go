package judge_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/stages/internal/account"
)

const afterLook = datasets.ReasonDroppedLate + ": rain"

// droppedAfterLook drops blocks (from 0, over all sessions) after the first look, on every band.
func droppedAfterLook(blocks ...int) func(*world) {
	return func(w *world) {
		for _, b := range blocks {
			w.lost[b] = afterLook
		}
		w.trial.Late = &account.LateDrops{Blocks: len(blocks), Losses: []account.Loss{}}
	}
}

// onlyIn gives a difference in some blocks, and another in the rest.
func onlyIn(db, rest float64, blocks ...int) func(place) float64 {
	return func(at place) float64 {
		if slices.Contains(blocks, at.block) {
			return db
		}
		return rest
	}
}

// Without the two blocks high is 3 dB stronger; with them the difference of 8 blocks of 3 dB and 2 of -15 dB is not shown.
func TestALateDropMustNotDecide(t *testing.T) {
	w := with(plain(), droppedAfterLook(2, 7))
	w.diffDB = onlyIn(-15, 3, 2, 7)
	e := w.one(t)
	require.Equal(t, "undecided", e.Verdict)
	require.Equal(t, "late_drop_decides", e.ReasonCode)
	require.Contains(t, e.Reason, "2 blocks were dropped after the data had been looked at, and a drop after a look must not decide; without them the verdict is different, \"high is ")
	require.Contains(t, e.Reason, "with them it is undecided, ")
	require.Equal(t, []string{"dropped_after_look"}, e.codes())
	require.Equal(t, 8, e.Blocks)
	require.Equal(t, 2, e.BlocksDropped)
	require.Equal(t, here, *e.Reach)

	// the trial without the drops, judged by itself, is what stands beside
	plainly := plain()
	plainly.diffDB = w.diffDB
	want := plainly.one(t)
	other := e.WithoutLateDrops
	require.Equal(t, []any{want.Verdict, want.ReasonCode, want.Reason, 10, want.EstimateDB, want.IntervalDB, want.P, want.PAdjusted},
		[]any{other.Verdict, other.ReasonCode, other.Reason, other.Blocks, other.EstimateDB, other.IntervalDB, other.P, other.PAdjusted})

	// and the numbers are those of the trial with the drops
	early := with(plain(), func(w *world) { w.lost[2], w.lost[7] = "dropped: rain", "dropped: rain" })
	early.diffDB = w.diffDB
	want = early.one(t)
	require.Nil(t, want.WithoutLateDrops)
	require.Equal(t, "different", want.Verdict)
	require.Equal(t, []any{want.EstimateDB, want.IntervalDB, want.P, want.PAdjusted}, []any{e.EstimateDB, e.IntervalDB, e.P, e.PAdjusted})
}

func TestALateDropThatChangesNothing(t *testing.T) {
	e := with(plain().differ(3), droppedAfterLook(4)).one(t)
	require.Equal(t, "different", e.Verdict)
	require.Equal(t, beyond, *e.Reach)
	require.Equal(t, "different", e.WithoutLateDrops.Verdict)
	require.Equal(t, "1 block was dropped after the data had been looked at; with it the verdict is the same", e.Warnings[0].Text)
}

// With three blocks of -14 dB the difference of 1.7 dB is not shown.
func TestALateDropThatTurnsTheDifference(t *testing.T) {
	w := with(plain(), droppedAfterLook(0, 1, 2))
	w.blocks, w.blockSD = 20, 0
	w.diffDB = onlyIn(-14, 1.7, 0, 1, 2)
	e := w.one(t)
	require.Equal(t, "late_drop_decides", e.ReasonCode, e.Reason)
}

// Of two reaches the smaller stands. With the late blocks, in which half of the stations have 14 dB and half have -10, the difference
// is there, but does not reach beyond these receivers.
func TestALateDropDoesNotWidenTheReach(t *testing.T) {
	w := with(plain(), droppedAfterLook(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11))
	w.blocks, w.stations, w.blockSD = 24, around(12), 0.1
	w.diffDB = func(at place) float64 {
		if at.block > 11 {
			return 4
		}
		return map[bool]float64{true: 14, false: -10}[at.station < 6]
	}
	e := w.one(t)
	require.Equal(t, "different", e.Verdict, e.Reason)
	require.Equal(t, "different", e.WithoutLateDrops.Verdict, e.WithoutLateDrops.Reason)
	require.NotContains(t, e.WithoutLateDrops.Reason, "also beyond them")
	require.Equal(t, here, *e.Reach)
	require.NotContains(t, e.Reason, "also beyond them")
	require.Equal(t, []string{"dropped_after_look"}, e.codes())
}

// Another band's drop moves the p values of this one by the correction for many questions.
func TestALateDropOnAnotherBand(t *testing.T) {
	w := plain().differ(3)
	w.bands = []string{"20m", "10m"}
	w.claims[0].Bands = w.bands
	w = with(w, droppedAfterLook(4))
	for _, e := range w.judged(t) {
		require.Equal(t, "different", e.Verdict)
		require.Equal(t, []string{"dropped_after_look"}, e.codes())
	}
}

func TestLossesAreThoseOfEachTrial(t *testing.T) {
	w := with(plain().differ(3), droppedAfterLook(0, 1, 2))
	w.trial.Losses = []account.Loss{{Band: "20m", Share: 0.3, P: 1}}
	e := w.one(t)
	require.Equal(t, "late_drop_decides", e.ReasonCode, "30 %% were lost, and none without the drops")
	require.Equal(t, "different", e.WithoutLateDrops.Verdict)
}

func TestLateDropsOfAllBlocks(t *testing.T) {
	w := with(plain().differ(3), droppedAfterLook(0, 1, 2, 3, 4, 5, 6, 7, 8, 9))
	w.intake.Read, w.intake.OutOfScope = 1000, 1000
	e := w.one(t)
	require.Equal(t, "late_drop_decides", e.ReasonCode)
	require.Contains(t, e.Reason, "without them the verdict is refused, \"none of the 1000 rows")
}

func TestLateDropsTurnWithTheArms(t *testing.T) {
	make := func() *world {
		w := asking(with(plain(), droppedAfterLook(2, 7)), level(), lobe("one-sided"))
		w.diffDB = onlyIn(-15, 3, 2, 7)
		return w
	}
	requireMirrored(t, make(), make())
}
