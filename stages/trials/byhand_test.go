package trials

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets/world"
	"fairlobe/stages/schedule"
)

// low sends with 3 dB less than high: what others hear differs by that, too, and what is heard here does not.
func TestTruthOfUnequalPowers(t *testing.T) {
	sc, err := settings(t, "level", "high +1 dB").prepare()
	require.NoError(t, err)
	sc.params.PowerDB = map[string]float64{"high": 0, "low": -3}
	for direction, want := range map[string]float64{"sent": 4, "received": 1} {
		for _, arms := range [][]string{{"high", "low"}, {"low", "high"}} {
			got := sc.truthOf(nil, entry{Kind: "level", Band: "20m", Arms: arms, Direction: &direction})
			require.InDelta(t, want, got.levelDB, 1e-12)
			require.False(t, got.none)
			want = -want
		}
	}
	sc.params.PowerDB = map[string]float64{"high": -1, "low": 0}
	sent := "sent"
	require.True(t, sc.truthOf(nil, entry{Kind: "level", Band: "20m", Arms: []string{"high", "low"}, Direction: &sent}).none, "1 dB of antenna less 1 dB of power")
}

// Three stations with differences of 6, 2 and -4 dB and 3, 1 and 2 reports that count: (18 + 2 - 8)/6 = 2 dB. In front of 300
// degrees stand the first two: (18 + 2)/4 = 5; behind the third: 5 + 4 = 9 dB. Reports that were not passed on, that came in
// the settling time, on another band or the other way round do not count; nor does a station to the side for the contrast.
func TestMeanHeardByHand(t *testing.T) {
	sc, err := settings(t, "level", "high lobe 1 dB toward 0").prepare()
	require.NoError(t, err)
	start := time.Date(2026, 9, 12, 4, 0, 0, 0, time.UTC)
	dwell := func(band string) schedule.Dwell {
		return schedule.Dwell{Session: 1, Band: band, Block: 1, Arm: "high", Start: start, SettleEnd: start.Add(30 * time.Second), End: start.Add(6 * time.Minute)}
	}
	report := func(station, dwell int, seconds int, sent, passed bool) world.Reception {
		return world.Reception{Sent: sent, Passed: passed, Station: station, Dwell: dwell, Slot: start.Add(time.Duration(seconds) * time.Second)}
	}
	c := &carried{trial: sc.trial, planned: []schedule.Dwell{dwell("20m"), dwell("10m")}, came: &world.Outcome{
		Stations: []world.Station{{BearingDeg: 350}, {BearingDeg: 300}, {BearingDeg: 120}, {BearingDeg: 30}},
		GainsDB:  [][][]float64{{{6, 0}, {3, 1}, {-1, 3}, {50, 0}}}, // high, low
		Receptions: []world.Reception{
			report(0, 0, 30, true, true), report(0, 0, 60, true, true), report(0, 0, 90, true, true), report(1, 0, 30, true, true),
			report(2, 0, 30, true, true), report(2, 0, 60, true, true),
			report(1, 0, 15, true, true), report(1, 0, 45, true, false), report(1, 0, 45, false, true), report(1, 1, 45, true, true),
		},
	}}
	sent := "sent"
	e := entry{Kind: "level", Band: "20m", Arms: []string{"high", "low"}, Direction: &sent}
	all := func(world.Station) bool { return true }
	require.InDelta(t, 2, c.meanHeard(e, all), 1e-12)
	e.Arms = []string{"low", "high"}
	require.InDelta(t, -2, c.meanHeard(e, all), 1e-12)
	e.Arms = []string{"high", "low"}
	c.came.Receptions = append(c.came.Receptions, report(3, 0, 30, true, true))
	e.FrontToBack = &struct {
		AxisDeg    float64  `json:"axis_deg"`
		EstimateDB *float64 `json:"estimate_db"`
		IntervalDB *span    `json:"interval_db"`
	}{AxisDeg: 300}
	require.InDelta(t, 9, sc.truthOf(c, e).frontDB, 1e-12)
	require.InDelta(t, (18.+2-8+50)/7, sc.truthOf(c, e).heardDB, 1e-12)
}

// Each figure of an entry is held against its own truth: 2 dB are true all round, 2.5 in the mean of those heard.
func TestEachFigureAgainstItsTruth(t *testing.T) {
	yonder := "beyond"
	e := entry{Kind: "level", Verdict: "different", Reach: &yonder, EstimateDB: at(2.3), IntervalDB: &span{at(2.1), at(2.6)}, P: at(0.001), PRunning: at(0.02),
		RunningDB: &span{at(1.5), at(3.25)}, AllRoundDB: at(1.7), Beyond: &second{IntervalDB: &span{at(1.9), at(2.9)}, P: at(0.03)}}
	hold := func(tr truth, differ bool) [figures]held {
		s := sample{entry: e, truth: tr}
		for f := range s.figures {
			s.figures[f] = held{width: math.NaN(), off: math.NaN()}
		}
		s.holdLevel(differ)
		return s.figures
	}
	requireHeld := func(h held, holds bool, width, off float64) {
		t.Helper()
		require.True(t, h.asked)
		require.Equal(t, holds, h.holds)
		require.InDelta(t, width, h.width, 1e-12)
		if !math.IsNaN(off) {
			require.InDelta(t, off, h.off, 1e-12)
		}
	}
	got := hold(truth{levelDB: 2, heardDB: math.NaN()}, false)
	requireHeld(got[difference], false, 0.5, 0.3)
	requireHeld(got[running], true, 1.75, math.NaN())
	requireHeld(got[beyond], true, 1, math.NaN())
	require.InDelta(t, -0.3, got[allRound].off, 1e-12)
	require.False(t, got[meanHeard].asked)
	got = hold(truth{levelDB: 2, heardDB: 2.5}, true)
	requireHeld(got[meanHeard], true, 0.5, -0.2)
	requireHeld(got[beyond], true, 1, math.NaN())
	require.False(t, got[difference].asked || got[running].asked)
	require.True(t, math.IsNaN(got[allRound].off), "where receivers differ nobody knows the mean of all directions")
	got = hold(truth{levelDB: 2, heardDB: 2.5, lobes: [3]lobe{1: {north: 1}}}, false)
	requireHeld(got[meanHeard], true, 0.5, -0.2)
	require.False(t, got[beyond].asked)

	e = entry{Kind: "heard_by", EstimatePoints: at(3), IntervalPoints: &span{at(-2), at(9)}, RunningPoints: &span{at(1), at(12)}, P: at(0.2),
		Beyond: &second{IntervalPoints: &span{at(-4), at(11)}, P: at(0.3)}}
	s := sample{entry: e, truth: truth{stated: true, none: true}}
	s.holdShare(false)
	requireHeld(s.figures[points], true, 11, 3)
	requireHeld(s.figures[runningPoints], false, 11, math.NaN())
	requireHeld(s.figures[beyondPoints], true, 15, math.NaN())

	// A lobe of 3 dB toward 90, and a contrast of 4 dB.
	e = entry{Kind: "directivity", AllRoundDB: at(2.2)}
	e.Lobe = &struct {
		Harmonic    int         `json:"harmonic"`
		AmplitudeDB *float64    `json:"amplitude_db"`
		AmplitudeIn *span       `json:"amplitude_interval_db"`
		TowardIn    *[2]float64 `json:"toward_interval_deg"`
	}{1, at(3.4), &span{at(2.4), at(4.5)}, &[2]float64{80, 100}}
	e.FrontToBack = &struct {
		AxisDeg    float64  `json:"axis_deg"`
		EstimateDB *float64 `json:"estimate_db"`
		IntervalDB *span    `json:"interval_db"`
	}{90, at(4.6), &span{at(4.1), at(5.2)}}
	s = sample{entry: e, truth: truth{stated: true, fits: true, levelDB: 2, frontDB: 4, lobes: [3]lobe{1: {east: 3}}}}
	s.holdLobe()
	requireHeld(s.figures[amplitude], true, 2.1, 0.4)
	require.True(t, s.figures[direction].asked && s.figures[direction].holds)
	requireHeld(s.figures[frontToBack], false, 1.1, 0.6)
	require.InDelta(t, 0.2, s.figures[allRound].off, 1e-12)
	s.truth.lobes[1] = lobe{north: 3}
	s.holdLobe()
	require.False(t, s.figures[direction].holds)
}
