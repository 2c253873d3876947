package judge_test

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/stages/judge"
)

func TestUnfinishedShowsOnlyWhatHoldsAtEveryLook(t *testing.T) {
	w := asking(with(plain().differ(3).leans(3), func(w *world) {
		w.sessions, w.blocks = 2, 6
		w.last = began.Add(24*time.Hour + 4*20*time.Minute)
	}), level(), lobe("one-sided"))
	all := w.judged(t)
	for _, e := range all {
		require.Equal(t, "unfinished", e.ReasonCode)
		require.Equal(t, "10 of 12 blocks are in; a trial of a fixed number of blocks is judged when it is over", e.Reason)
		require.Nil(t, e.P)
		require.Nil(t, e.PAdjusted)
		require.Nil(t, e.IntervalDB)
		require.Nil(t, e.Beyond)
		require.Nil(t, e.Naive)
		require.Nil(t, e.Reach)
		require.NotNil(t, e.PRunning)
		require.NotNil(t, e.EstimateDB)
	}
	require.NotNil(t, all[0].RunningDB)
	require.Len(t, all[0].Sessions, 2)
	for _, s := range all[0].Sessions {
		require.NotNil(t, s.EstimateDB)
		require.Nil(t, s.IntervalDB)
	}
	d := all[1].Directivity
	require.Nil(t, d.PGate1)
	require.Nil(t, d.PGate2)
	require.Nil(t, d.Lobe)
	require.Nil(t, d.FrontToBack.IntervalDB)
}

func TestOpenTrialRestsOnTheRunningNumbers(t *testing.T) {
	fixed := asking(plain().differ(3).leans(3), level(), lobe("one-sided")).judged(t)
	open := with(asking(plain().differ(3).leans(3), level(), lobe("one-sided")), func(w *world) { w.params.Stopping = "open" }).judged(t)
	require.Equal(t, open[0].PRunning, open[0].P)
	require.Equal(t, open[0].RunningDB, open[0].IntervalDB)
	require.NotNil(t, fixed[0].Beyond)
	require.Nil(t, open[0].Beyond, "the second test does not hold under repeated looks")
	require.Equal(t, fixed[0].PRunning, open[0].P)
	require.Greater(t, *open[0].P, *fixed[0].P)
	require.Less(t, *open[0].IntervalDB[0], *fixed[0].IntervalDB[0])
	require.Greater(t, *open[0].IntervalDB[1], *fixed[0].IntervalDB[1])

	require.Equal(t, open[1].PRunning, open[1].Directivity.PGate1)
	require.Equal(t, max(*open[1].PRunning, *open[1].PGate2), *open[1].P)
	require.NotNil(t, open[1].Lobe.TowardDeg)
	require.Nil(t, open[1].Lobe.AmplitudeDB, "an amplitude without an interval that holds")
	require.Nil(t, open[1].Lobe.TowardIn)
	require.Nil(t, open[1].FrontToBack.IntervalDB)
}

func TestDescribedEvidenceShowsWhatWasSeen(t *testing.T) {
	w := asking(with(plain().differ(3).leans(3), func(w *world) { w.params.Seal = judge.SealOrder }), level(), lobe("one-sided"))
	all := w.judged(t)
	for _, e := range all {
		require.Equal(t, "observed only", *e.Evidence)
		require.NotNil(t, e.EstimateDB)
		require.Nil(t, e.P)
		require.Nil(t, e.PRunning)
		require.Nil(t, e.AllRound)
	}
	require.NotNil(t, all[0].IntervalDB)
	require.NotNil(t, all[1].Lobe.AmplitudeIn)
	require.Nil(t, all[1].Lobe.TowardDeg, "a direction is shown only when the verdict is different")
	require.Nil(t, all[1].Directivity.PGate1)
}

func TestRefusedClaimsCountInTheFamily(t *testing.T) {
	// two bands, of which the second has too few stations, and a kind that nothing was received for: a family of 2 + 2
	w := asking(plain().differ(3), level(), kind("reciprocity", 0), kind("null", 0))
	w.bands = []string{"20m", "10m"}
	for i := range w.claims {
		w.claims[i].Bands = w.bands
	}
	w.silent = func(at place, _ string, _ int) bool { return at.band == "10m" && at.station > 1 }
	all := w.judged(t)
	require.Len(t, all, 6)
	require.Equal(t, []string{"20m", "10m"}, []string{all[0].Band, all[1].Band})
	require.Equal(t, "refused", all[1].Verdict)
	require.Nil(t, all[1].PAdjusted)
	require.InDelta(t, 4**all[0].P, *all[0].PAdjusted, 4e-6) // both are rounded to 6 decimals
	for _, e := range all[:4] {
		require.Equal(t, 4, *e.FamilySize)
	}
	require.Nil(t, all[4].FamilySize, "a null claim is corrected for nothing")
}

func TestNumbersAreRounded(t *testing.T) {
	e := plain().differ(1.6).one(t)
	require.InDelta(t, *e.EstimateDB*1e4, math.Round(*e.EstimateDB*1e4), 1e-9)
	for _, end := range e.IntervalDB {
		require.InDelta(t, *end*100, math.Round(*end*100), 1e-9)
	}
	require.InDelta(t, *e.P*1e6, math.Round(*e.P*1e6), 1e-9)
	require.Less(t, *e.IntervalDB[0], *e.EstimateDB)
	require.Greater(t, *e.IntervalDB[1], *e.EstimateDB)
}

func TestBlocksAreCounted(t *testing.T) {
	w := with(plain(), func(w *world) {
		w.lost = map[int]string{2: "dropped: rain", 9: "not run: ended before"}
		w.trial.Ended, w.trial.EndedEarly = true, true
	})
	e := w.one(t)
	require.Equal(t, [3]int{8, 10, 1}, [3]int{e.Blocks, e.BlocksPlanned, e.BlocksDropped}, "a block after the end is not dropped")
	require.Equal(t, 8*2*24*11, e.Receptions)
}

func TestReportsOfABlockUnderWayDoNotCount(t *testing.T) {
	w := plain()
	w.blocks, w.last = 16, began.Add(12*20*time.Minute) // the 13th block has begun
	w.params.Stopping = "open"
	e := w.one(t)
	require.Equal(t, 12, e.Blocks)
	require.Equal(t, 12*2*24*11, e.Receptions)
}

// mirrored turns an entry round: what it must be when the two arms of the claim change places.
func mirrored(t *testing.T, detail string) map[string]any {
	t.Helper()
	var m map[string]any
	require.NoError(t, json.Unmarshal([]byte(detail), &m))
	arms := m["arms"].([]any)
	arms[0], arms[1] = arms[1], arms[0]
	turn(m)
	delete(m, "reason")
	return m
}

// turn negates every difference, and turns lobes by half of their period.
func turn(m map[string]any) {
	for k, v := range m {
		switch v := v.(type) {
		case float64:
			if slices.Contains([]string{"estimate_db", "all_round_db", "power_corrected_db", "explained_by_match_db"}, k) {
				m[k] = 0 - v
			}
		case map[string]any:
			if k == "lobe" {
				turnLobe(v)
				continue
			}
			if k == "without_late_drops" {
				delete(v, "reason")
			}
			turn(v)
		case []any:
			if slices.Contains([]string{"interval_db", "running_interval_db", "power_corrected_interval_db", "design_interval_db"}, k) {
				m[k] = []any{negative(v[1]), negative(v[0])}
			}
			for _, x := range v {
				if inner, ok := x.(map[string]any); ok {
					turn(inner)
				}
			}
		}
	}
}

func turnLobe(l map[string]any) {
	circle := 360 / l["harmonic"].(float64)
	half := func(v any) any { return math.Round(math.Mod(v.(float64)+circle/2, circle)*1e4) / 1e4 }
	if l["toward_deg"] != nil {
		l["toward_deg"] = half(l["toward_deg"])
	}
	if in, ok := l["toward_interval_deg"].([]any); ok {
		l["toward_interval_deg"] = []any{half(in[0]), half(in[1])}
	}
}

func negative(v any) any {
	if v == nil {
		return nil
	}
	return 0 - v.(float64)
}

func withoutReason(t *testing.T, detail string) map[string]any {
	t.Helper()
	var m map[string]any
	require.NoError(t, json.Unmarshal([]byte(detail), &m))
	delete(m, "reason")
	if other, ok := m["without_late_drops"].(map[string]any); ok {
		delete(other, "reason")
	}
	return m
}

// requireMirrored judges a world both ways round.
func requireMirrored(t *testing.T, w, other *world) (one, turned []entry) {
	t.Helper()
	other.swapped = true
	one, turned = w.judged(t), other.judged(t)
	require.Len(t, turned, len(one))
	for i := range one {
		a, err := json.Marshal(mirrored(t, one[i].detail))
		require.NoError(t, err)
		b, err := json.Marshal(withoutReason(t, turned[i].detail))
		require.NoError(t, err)
		require.Equal(t, string(a), string(b))
	}
	return one, turned
}

func TestSwappingTheArmsNegatesEveryNumber(t *testing.T) {
	worlds := map[string]func() *world{
		"different": func() *world { return plain().differ(2.7) },
		"same":      func() *world { return plain().differ(0.8) },
		"undecided": func() *world { return with(plain().differ(0.8), func(w *world) { w.blockSD = 3 }) },
		"unbounded": func() *world {
			return with(plain(), func(w *world) { w.silent = func(_ place, arm string, _ int) bool { return arm == "low" } })
		},
		"loud":  func() *world { return with(plain(), func(w *world) { w.levelDB = func(place) float64 { return 11 } }) },
		"lobes": func() *world { return plain().differ(2).leans(2.5) },
		"open": func() *world {
			return with(plain().differ(2).leans(2.5), func(w *world) { w.params.Stopping = "open" })
		},
		"sessions": func() *world { return with(plain().differ(1), func(w *world) { w.sessions, w.blocks = 2, 6 }) },
		"described": func() *world {
			return with(plain().differ(1).leans(2), func(w *world) { w.params.Seal = judge.SealOrder })
		},
		"unfinished": func() *world {
			return with(plain().differ(1).leans(2), func(w *world) { w.last = began.Add(2 * time.Hour) })
		},
	}
	for name, make := range worlds {
		t.Run(name, func(t *testing.T) {
			claims := []judge.Claim{level(), lobe("one-sided"), lobe("two-sided"), kind("null", 0)}
			fewer := func() *world { // fewer blocks make it fast, and change nothing in what is asked here
				return with(asking(make(), claims...), func(w *world) { w.blocks = min(w.blocks, 9) })
			}
			one, turned := requireMirrored(t, fewer(), fewer())
			for i := range one {
				if one[i].Kind == "level" && one[i].Verdict == "different" {
					require.Equal(t, one[i].Reason, turned[i].Reason, "the sentence names the stronger arm first, whichever way it was asked")
				}
			}
		})
	}
}

func TestSwappedLobePointsTheOtherWay(t *testing.T) {
	w := asking(plain().leans(3), lobe("one-sided"))
	w.swapped = true
	e := w.one(t)
	require.True(t, strings.HasPrefix(e.Reason, "low gains most against high toward 269 degrees"), e.Reason)
}

func TestAnyTrial(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		draw := func(name string, low, high int) int { return rapid.IntRange(low, high).Draw(rt, name) }
		db, noise, blockSD := float64(draw("dB/10", -40, 40))/10, float64(draw("noise/10", 0, 60))/10, float64(draw("block SD/10", 0, 30))/10
		stations, blocks, every := draw("stations", 0, 12), draw("blocks", 1, 8), draw("every", 1, 6)
		base := float64(draw("level", -24, 14))
		stopping := rapid.SampledFrom([]string{"fixed", "open"}).Draw(rt, "stopping")
		seed := uint64(draw("seed", 0, 1000))
		make := func() *world {
			return with(plain().differ(db), func(w *world) {
				w.noiseDB, w.blockSD, w.stations, w.blocks, w.everySlots = noise, blockSD, around(stations), blocks, every
				w.levelDB = func(place) float64 { return base }
				w.params.Stopping, w.params.Seed = stopping, seed
				w.claims = []judge.Claim{level(), kind("null", 0)}
			})
		}
		one, _ := requireMirrored(t, make(), make())
		for _, e := range one[:1] {
			sentence(t, e.Reason)
			if e.P != nil {
				require.GreaterOrEqual(t, *e.PAdjusted, *e.P)
			}
			if e.Verdict == "practically the same" {
				require.Less(t, math.Max(math.Abs(*e.IntervalDB[0]), math.Abs(*e.IntervalDB[1])), *e.SmallestDB)
			}
		}
	})
}
