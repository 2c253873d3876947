package trials

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets/world"
)

func at(v float64) *float64 { return &v }

func TestHeldAgainst(t *testing.T) {
	for _, c := range []struct {
		interval *span
		truth    float64
		holds    bool
	}{
		{&span{at(-1), at(1)}, 0, true},
		{&span{at(-1), at(1)}, 1, true}, // the ends belong to it
		{&span{at(-1), at(1)}, 1.01, false},
		{&span{nil, at(1)}, -50, true},
		{&span{at(-1), nil}, -2, false},
		{nil, 0, false},
	} {
		h := heldAgainst(at(0.5), c.interval, c.truth)
		require.True(t, h.asked)
		require.Equal(t, c.holds, h.holds)
		require.Equal(t, 0.5-c.truth, h.off)
	}
	require.Equal(t, 2.0, heldAgainst(nil, &span{at(-1), at(1)}, 0).width)
	require.True(t, math.IsNaN(heldAgainst(nil, nil, 0).off))
}

func TestOnArc(t *testing.T) {
	require.True(t, onArc([2]float64{350, 20}, 5, 360))
	require.True(t, onArc([2]float64{350, 20}, 355, 360))
	require.False(t, onArc([2]float64{350, 20}, 30, 360))
	require.True(t, onArc([2]float64{170, 10}, -5, 180), "an axis has no sign")
	require.False(t, onArc([2]float64{170, 10}, 90, 180))
}

// Lobes add up as vectors: 3 dB toward 0 and 4 dB toward 90 are 5 dB toward atan2(4, 3).
func TestLobesOf(t *testing.T) {
	first := world.Pattern{Lobes: []world.Lobe{{Harmonic: 1, AmplitudeDB: 3, TowardDeg: 0}}}
	second := world.Pattern{Lobes: []world.Lobe{{Harmonic: 1, AmplitudeDB: 4, TowardDeg: 270}, {Harmonic: 2, AmplitudeDB: 2, TowardDeg: 0}}}
	l := lobesOf(first, second)
	require.InDelta(t, 5, l[1].amplitudeDB(), 1e-12)
	require.InDelta(t, 53.130102354, l[1].angleDeg(), 1e-8)
	require.InDelta(t, 2, l[2].amplitudeDB(), 1e-12)
	require.InDelta(t, 180, math.Abs(l[2].angleDeg()), 1e-8, "less along 0 is more along 90")
	require.Zero(t, lobesOf(second, second)[1].amplitudeDB())
}

func TestTruths(t *testing.T) {
	for _, c := range []struct {
		kind, scenario string
		truth          []string
		none, fits     bool
		levelDB        float64
		heard          bool // the mean over the receivers heard is asked for
		words          string
	}{
		{"level", "", nil, true, true, 0, false, "no difference"},
		{"level", "", []string{"high +2 dB", "low -1 dB"}, false, true, 3, false, "+3.00 dB"},
		{"level", "regional", nil, true, false, 0, true, "no difference, in the mean of all receivers, which differ"},
		{"level", "", []string{"high lobe 2 dB toward 90"}, false, true, 0, true, "+0.00 dB all round, and it depends on the direction"},
		{"level", "", []string{"high lobe 2 dB toward 90", "low lobe 2 dB toward 90"}, true, true, 0, false, "no difference"},
		{"directivity", "", []string{"high +2 dB"}, true, true, 2, false, "no lobe"},
		{"directivity", "", []string{"low lobe 2 dB toward 90"}, false, true, 0, true, "a lobe of 2.00 dB toward 270 degrees"},
		{"directivity", "", []string{"high two lobes 2 dB along 30"}, false, false, 0, true, "two lobes of 2.00 dB along 30 degrees"},
	} {
		s := settings(t, c.kind, c.truth...)
		s.Scenario, s.Trials, s.Blocks, s.Stations = c.scenario, 1, 8, 20
		sc, all := simulated(t, s)
		got := all[0][0].truth // of directivity: the claim of one lobe
		require.True(t, got.stated)
		require.Equal(t, c.none, got.none, c.words)
		require.Equal(t, c.fits, got.fits, c.words)
		require.InDelta(t, c.levelDB, got.levelDB, 1e-12)
		require.Equal(t, c.heard, !math.IsNaN(got.heardDB), c.words)
		require.Equal(t, c.words, got.words(c.kind, sc.differ()))
	}
}

// Toward the axis of the lobe the front is ahead by more than the amplitude and less than twice that, for +-60 degrees
// hold the best half of the cosine; along the other axis they are about alike.
func TestFrontToBackOfALobe(t *testing.T) {
	s := settings(t, "directivity", "high lobe 4 dB toward 300")
	s.Trials, s.Blocks = 1, 8
	_, all := simulated(t, s)
	front := all[0][0].truth.frontDB
	require.Greater(t, front, 4.0)
	require.Less(t, front, 8.0)
}

// Where receivers differ for themselves, a level says something about others only with reach beyond.
func TestOnlyWhatSpeaksBeyondIsHeldWhereReceiversDiffer(t *testing.T) {
	here, yonder := "these receivers", "beyond"
	e := entry{Kind: "level", Verdict: "different", Reach: &here, P: at(0.001)}
	s := sample{entry: e, p: math.NaN()}
	s.holdTest(false)
	require.True(t, s.different)
	require.Equal(t, 0.001, s.p)
	s = sample{entry: e, p: math.NaN()}
	s.holdTest(true)
	require.False(t, s.different)
	require.True(t, math.IsNaN(s.p))
	e.Reach = &yonder
	e.Beyond = &second{P: at(0.04)}
	s = sample{entry: e, p: math.NaN()}
	s.holdTest(true)
	require.True(t, s.different)
	require.Equal(t, 0.04, s.p)
}
