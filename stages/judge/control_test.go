package judge_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/judge"
)

// oneWire is a trial of one arm that hears 4 dB more toward the east than toward the west, beside a control station that
// all hear alike, 3 dB less than the wire's mean.
func oneWire() *world {
	c := lobe("one-sided")
	c.Arms = []string{"low"}
	w := asking(plain(), c)
	w.arms, w.params.Arms, w.noiseDB, w.blockSD = []string{"low"}, []string{"low"}, 0, 0
	w.levelDB = func(at place) float64 { return 2 * math.Sin(at.deg*math.Pi/180) }
	w.params.Control = true
	w.controlDB = func(place) (float64, bool) { return -3, true }
	return w
}

func TestAControlStationIsDescribedNotTested(t *testing.T) {
	e := oneWire().one(t)
	require.Equal(t, "refused", e.Verdict)
	require.Equal(t, "control_not_random", e.ReasonCode)
	require.Equal(t, "compared", *e.Evidence)
	require.Contains(t, e.Reason, "low is compared with the control station in the same slots, at the 24 stations that heard both")
	require.Contains(t, e.Reason, "described, not tested; turn this wire in random blocks")
	require.InDelta(t, 3, *e.EstimateDB, 1e-3, "the mean of a sine all round is 0")
	require.Nil(t, e.P)
	require.Nil(t, e.PGate1)
	require.Nil(t, e.Lobe)
	require.Len(t, e.Sectors, 8)
	for _, s := range e.Sectors {
		mean := 3 + (2*math.Sin((s.FromDeg)*math.Pi/180)+2*math.Sin((s.FromDeg+15)*math.Pi/180)+2*math.Sin((s.FromDeg+30)*math.Pi/180))/3
		require.InDelta(t, mean, *s.EstimateDB, 1e-3, "stations stand every 15 degrees")
		require.Equal(t, 3, s.Stations)
	}
}

// Of the stations that heard one of the two alone nothing is said.
func TestOnlyStationsThatHeardBothAreCompared(t *testing.T) {
	w := oneWire()
	w.controlDB = func(at place) (float64, bool) { return -3, at.station%2 == 0 }
	e := w.one(t)
	require.Equal(t, 12, e.Stations)
	require.InDelta(t, 3, *e.EstimateDB, 1e-3)
}

func TestAControlStationThatNobodyHears(t *testing.T) {
	for name, change := range map[string]func(*world){
		"not heard": func(w *world) { w.controlDB = nil },
		"not located": func(w *world) {
			for i := range w.stations {
				w.stations[i].unknown = true
			}
		},
	} {
		e := with(oneWire(), change).one(t)
		require.Equal(t, "one_arm", e.ReasonCode, name)
		require.Equal(t, "observed only", *e.Evidence)
		require.Contains(t, e.Reason, "no station heard both this one and the control station in its slots")
		require.Nil(t, e.EstimateDB)
	}
	w := oneWire()
	w.params.Control, w.controlDB = false, nil
	require.NotContains(t, w.one(t).Reason, "heard both")
}

// A trial whose order was not drawn is compared: the difference is described.
func TestAnOrderThatWasNotDrawnIsCompared(t *testing.T) {
	w := asking(plain().differ(3), level(), lobe("one-sided"))
	w.params.OrderFile = true
	for _, e := range w.judged(t) {
		require.Equal(t, judge.Compared, *e.Evidence)
		require.Equal(t, "refused", e.Verdict)
		require.NotNil(t, e.EstimateDB)
		require.Nil(t, e.P)
	}
	require.NotNil(t, w.judged(t)[0].IntervalDB)
}
