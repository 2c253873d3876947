package trials

import (
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
