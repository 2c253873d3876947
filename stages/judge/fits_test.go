package judge_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/judge"
)

// A fit stands for each directivity claim that was tested, whatever its verdict: pooled trials must not be selected.
func TestFitsOfEveryTestedLobe(t *testing.T) {
	for _, c := range []struct {
		name      string
		world     *world
		shape     string
		verdict   string
		harmonics []int
	}{
		{"different", plain().leans(3), "one-sided", "different", []int{1}},
		{"practically the same", plain(), "one-sided", "practically the same", []int{1}},
		{"undecided", with(plain(), func(w *world) { w.noiseDB, w.everySlots, w.params.SmallestDB = 6, 4, 0.1 }), "two-sided", "undecided", []int{2}},
		{"both shapes", with(plain().leans(3), func(w *world) { w.blocks = 12 }), "any", "different", []int{1, 2}},
		{"open", with(plain().leans(3), func(w *world) { w.params.Stopping = "open" }), "one-sided", "different", []int{1}},
		{"refused for the evidence", with(plain().leans(3), func(w *world) { w.params.Seal = judge.SealOrder }), "one-sided", "refused", nil},
		{"refused for few stations", with(plain().leans(3), func(w *world) { w.stations = around(6) }), "one-sided", "refused", nil},
		{"refused for few blocks", with(plain().leans(3), func(w *world) { w.blocks = 4 }), "one-sided", "refused", nil},
		{"unfinished", with(plain().leans(3), func(w *world) { w.last = began.Add(2*time.Hour - time.Second) }), "one-sided", "undecided", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			entries, s := asking(c.world, level(), lobe(c.shape)).judgedAndShown(t)
			require.Equal(t, c.verdict, entries[1].Verdict)
			require.Empty(t, s.of(0).fits, "a level has no direction")
			var harmonics []int
			for _, f := range s.of(1).fits {
				harmonics = append(harmonics, f.harmonic)
				require.Greater(t, f.varCos*f.varSin, f.cov*f.cov)
			}
			require.Equal(t, c.harmonics, harmonics)
		})
	}
}

// The vector has the amplitude and the direction of the verdict.
func TestFitIsTheVerdictsLobe(t *testing.T) {
	entries, s := asking(plain().leans(3), lobe("one-sided")).judgedAndShown(t)
	l, f := entries[0].Lobe, s.fits[0]
	require.InDelta(t, *l.AmplitudeDB, math.Hypot(f.cos, f.sin), 2e-4) // rounding of all three
	require.InDelta(t, 0, math.Remainder(*l.TowardDeg-math.Atan2(f.sin, f.cos)*180/math.Pi, 360), 0.01)
}
