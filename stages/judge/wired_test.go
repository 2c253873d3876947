package judge_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Stations stand every 15 degrees, and the lobe of 3 dB points to 90: nine in front (within 60 degrees) and nine behind, so the contrast is
// twice the mean of 3 cos x for x = 0, +-15, ... +-60 degrees: 6 (1 + 2 (0.9659 + 0.8660 + 0.7071 + 0.5))/9 = 4.719 dB. Along 0 degrees it
// is none. The noise of 1 dB over some 2000 reports adds less than 0.1 dB.
func TestFrontToBackLiesAlongItsAxis(t *testing.T) {
	w := asking(plain().differ(1).leans(3), lobe("one-sided"), lobe("one-sided"))
	north := 0.0
	w.claims[1].Name, w.claims[1].TowardDeg = "favours the north", &north
	all := w.judged(t)
	require.Equal(t, 90.0, all[0].FrontToBack.AxisDeg)
	require.InDelta(t, 4.719, *all[0].FrontToBack.EstimateDB, 0.15)
	require.InDelta(t, 0, *all[1].FrontToBack.EstimateDB, 0.15)
	for i, truth := range []float64{4.719, 0} {
		in := all[i].FrontToBack.IntervalDB
		require.Less(t, *in[0], *all[i].FrontToBack.EstimateDB)
		require.Greater(t, *in[1], *all[i].FrontToBack.EstimateDB)
		require.InDelta(t, truth, *in[0], 0.5)
		require.InDelta(t, truth, *in[1], 0.5)
	}
}

// Stations differ by 3 dB to either side without any order in azimuth: gate 1 passes, and gate 2 does not.
func TestEachGateUnderItsName(t *testing.T) {
	e := asking(with(plain(), func(w *world) {
		w.diffDB = func(at place) float64 { return 3 * math.Sin(float64(7*at.station*at.station)) }
	}), lobe("one-sided")).one(t)
	require.LessOrEqual(t, *e.PGate1, 0.01)
	require.Greater(t, *e.PGate2, 0.05)
	require.Equal(t, *e.PGate2, *e.P, "the greater of the two")
}

// Six regions of which three see 5 dB and three -3, in every block alike: the mean of 1 dB is sure at these stations, and says
// nothing of others: with a spread of 4 dB over 6 regions its error is about 1.15 * 4/sqrt(6) * sqrt(6/5) = 2 dB, t = 0.5 with
// 5 degrees of freedom, p = 0.6.
func TestBeyondIsTheSecondTest(t *testing.T) {
	e := with(plain(), func(w *world) {
		for i := range w.stations {
			w.stations[i].region = string(rune('a' + i%6))
		}
		w.diffDB = func(at place) float64 { return 1 + 4*float64(1-2*(at.station%2)) }
	}).one(t)
	require.InDelta(t, 1, *e.EstimateDB, 0.4) // blocks of 0.3 dB
	require.LessOrEqual(t, *e.P, 0.01)
	require.InDelta(t, 0.6, *e.Beyond.P, 0.15)
	require.InDelta(t, 6, *e.Beyond.Regions, 1e-3)
	require.InDelta(t, 2*2.571*2.06, *e.Beyond.IntervalDB[1]-*e.Beyond.IntervalDB[0], 1) // t(0.975; 5) = 2.571
	require.Less(t, *e.IntervalDB[1]-*e.IntervalDB[0], 1.0)
	require.Equal(t, 6, e.Regions)
	require.Equal(t, 24, e.Stations)
}

// The careless reading of a lobe is of the arm that stands first in the experiment file, whichever the claim names first: low is heard by
// stations all round, high by those in the east alone.
func TestNaiveBearingsAreTheFirstArms(t *testing.T) {
	for _, swapped := range []bool{false, true} {
		w := asking(with(plain(), func(w *world) {
			w.swapped = swapped
			w.silent = func(at place, arm string, slot int) bool { return arm == "high" && at.deg > 180 && slot > 1 }
		}), lobe("one-sided"))
		e := w.one(t)
		require.Greater(t, *e.Naive.UniformP, 0.9, "24 bearings in equal steps, as many reports of each: the resultant is 0 and p is 1")
		w.params.Arms = []string{"high", "low"}
		require.Less(t, *w.one(t).Naive.UniformP, 0.001)
	}
}

// A session's figures are of its own blocks.
func TestSessionsAreTheirOwn(t *testing.T) {
	w := with(plain(), func(w *world) {
		w.sessions, w.blocks = 2, 7
		w.diffDB = func(at place) float64 { return []float64{3, -1}[at.session-1] }
	})
	e := w.one(t)
	for i, truth := range []float64{3, -1} {
		s := e.Sessions[i]
		require.Equal(t, [2]int{i + 1, 7}, [2]int{s.Session, s.Blocks})
		require.InDelta(t, truth, *s.EstimateDB, 0.45) // four errors of the mean of 7 blocks of 0.3 dB
		require.Less(t, *s.IntervalDB[0], *s.EstimateDB)
		require.Greater(t, *s.IntervalDB[1], *s.EstimateDB)
		require.Less(t, *s.IntervalDB[1]-*s.IntervalDB[0], 2.0)
	}
}

// Where the direction matters the all-round value is that of the lobe fit, and not the mean over the stations, of which there
// are three times as many in the east: 2 dB all round and a lobe of 3 dB.
func TestAllRoundOfALevel(t *testing.T) {
	w := plain().differ(2).leans(3)
	for i := range w.stations {
		w.stations[i].deg = map[bool]float64{true: 10 + 10*float64(i), false: 200 + 25*float64(i-18)}[i < 18]
	}
	w.stations = inRegions(w.stations)
	e := w.one(t)
	require.InDelta(t, 2, *e.AllRound, 0.4)
	plainMean := 0.0
	for _, far := range w.stations {
		plainMean += (2 + 3*math.Sin(far.deg*math.Pi/180)) / 24
	}
	require.InDelta(t, plainMean, *e.EstimateDB, 0.4)
	require.Greater(t, *e.EstimateDB, *e.AllRound+0.6)
}

// The error of a fit goes with its own column: stations in a narrow double fan to north and south know the north of a lobe well and the
// east hardly.
func TestErrorsOfAFitAreOfTheirColumns(t *testing.T) {
	w := asking(plain(), lobe("one-sided"))
	for i := range w.stations {
		w.stations[i].deg = math.Mod(360+180*float64(i%2)+6*float64(i/2)-33, 360)
	}
	w.stations = inRegions(w.stations)
	_, shown := w.judgedAndShown(t)
	require.Len(t, shown.fits, 1)
	require.Greater(t, shown.fits[0].varSin, 2*shown.fits[0].varCos)
}

// Who reports how often, in words, and what share of the weight one region has: 16 stations of 24 alike.
func TestFiguresInWarnings(t *testing.T) {
	texts := func(w *world) map[string]string {
		out := map[string]string{}
		for _, warning := range w.one(t).Warnings {
			out[warning.Code] = warning.Text
		}
		return out
	}
	require.Contains(t, texts(with(plain(), func(w *world) { w.params.SpotIntervalMs = 300_000 }))["thinned"], "about every 5 min only")
	seldom := texts(with(plain(), func(w *world) { w.everySlots = 2 }))["thinned"] // of slots of 30 s
	require.Contains(t, seldom, "a receiver's reports come about every 1 min only")
	require.Equal(t, "one region holds 67 % of the weight", texts(with(plain(), func(w *world) {
		for i := range w.stations[:16] {
			w.stations[i].region = "000, class 0"
		}
	}))["one_region"])
	require.Equal(t, "one station holds 33 % of the weight", texts(with(plain().differ(3), func(w *world) { w.stations = around(3) }))["one_station"])
	loud := texts(with(plain(), func(w *world) {
		w.levelDB = func(at place) float64 { return map[bool]float64{true: 18, false: 0}[at.station < 6] }
	}))["compressed"]
	require.Contains(t, loud, "25 % of the reports of", "6 of 24 stations are above +10 dB")
	// One report in each dwell, of 6 min, and the two of a block always 9 min apart or more: a receiver can report one arm only.
	short := texts(with(plain(), func(w *world) {
		w.silent = func(at place, arm string, slot int) bool {
			return slot != 1 || (arm == "low") != ((at.block+at.station)%2 == 0)
		}
		w.params.SmallestDB = 8
	}))["short_dwell"]
	require.Contains(t, short, "a dwell lasts 6 min, and most receivers report at most every ")
}

// Of shares, too: the watched p is the p of the watched test, and the second one that of other stations.
func TestEachPOfASharesClaim(t *testing.T) {
	w := heardOften(10, by(0.25))
	fixed := w.one(t)
	w.params.Stopping = "open"
	open := w.one(t)
	require.Equal(t, *open.P, *fixed.PRunning)
	require.Equal(t, *open.PRunning, *fixed.PRunning)
	require.Equal(t, *open.IntervalPoints[0], *fixed.RunningPoints[0])
	require.Greater(t, *fixed.PRunning, *fixed.P)
	require.Less(t, *fixed.RunningPoints[0], *fixed.IntervalPoints[0])
	require.Equal(t, 24, fixed.Regions)

	// In every block all stations of three regions hear high alone, and half of those of three others low alone, the rest both:
	// 25 points, sure at these stations, and nothing beyond regions of +100 and -50.
	split := with(heardOften(10, by(0)), func(w *world) {
		for i := range w.stations {
			w.stations[i].region = string(rune('a' + i%6))
		}
		w.silent = func(at place, arm string, _ int) bool {
			return at.station%2 > 0 && arm == "low" || at.station%2 == 0 && arm == "high" && at.station < 12
		}
	}).one(t)
	require.Equal(t, 25.0, *split.EstimatePoints)
	require.LessOrEqual(t, *split.P, 0.01)
	require.Greater(t, *split.Beyond.P, 0.3)
	require.Equal(t, 6, split.Regions)
}

// Of an offset the watched p and interval stand beside the others, and an open trial rests on them.
func TestEachPOfAnOffset(t *testing.T) {
	w := heardBack(steady(3, 2))
	fixed := w.one(t)
	w.params.Stopping = "open"
	open := w.one(t)
	require.Equal(t, *open.P, *fixed.PRunning)
	require.Equal(t, *open.PRunning, *fixed.PRunning)
	require.Equal(t, open.IntervalDB, fixed.RunningDB)
	require.Less(t, *fixed.P, *fixed.PRunning)
	require.NotEqual(t, fixed.IntervalDB, fixed.RunningDB)
}

// The intervals of sessions are of the kind that the verdict rests on, of shares and of decibels: those that hold at every look are wider.
func TestIntervalsOfSessions(t *testing.T) {
	shares := with(heardOften(10, by(0.4)), func(w *world) { w.sessions, w.blocks = 2, 9 })
	shares.claims = append(shares.claims, level())
	fixed := shares.judged(t)
	shares.params.Stopping = "open"
	open := shares.judged(t)
	for i := range 2 {
		narrow, wide := fixed[0].Sessions[i].IntervalPoints, open[0].Sessions[i].IntervalPoints
		require.Greater(t, *narrow[0], bound(wide[0], -1))
		require.Less(t, *narrow[1], bound(wide[1], 1))
		narrow, wide = fixed[1].Sessions[i].IntervalDB, open[1].Sessions[i].IntervalDB
		require.Greater(t, *narrow[0], bound(wide[0], -1))
		require.Less(t, *narrow[1], bound(wide[1], 1))
	}
}

// bound is an end of an interval; infinite, with that sign, where there is none.
func bound(end *float64, sign int) float64 {
	if end == nil {
		return math.Inf(sign)
	}
	return *end
}

// The sentence names each arm with its own share, whichever the claim names first.
func TestSharesInTheSentence(t *testing.T) {
	for _, swapped := range []bool{false, true} {
		for _, more := range []float64{0.4, -0.3} {
			w := heardOften(10, by(more))
			w.swapped = swapped
			e := w.one(t)
			high, low := e.SharesPercent[0], e.SharesPercent[1]
			if swapped {
				high, low = low, high
			}
			require.Equal(t, more > 0, high > low)
			want := fmt.Sprintf("high is heard by %.0f %% and low %.0f %%: %.2f percentage points more", high, low, high-low)
			if more < 0 {
				want = fmt.Sprintf("low is heard by %.0f %% and high %.0f %%: %.2f percentage points more", low, high, low-high)
			}
			require.Contains(t, e.Reason, want)
		}
	}
}

// A region of three stations stands for itself by their median: offsets of 1, 2 and 9 dB, and all other regions have 2, too.
func TestRegionsGiveTheirMedian(t *testing.T) {
	w := with(heardBack(func(at place) float64 { return []float64{1, 2, 9}[at.station%3] }), func(w *world) {
		w.noiseDB, w.blockSD = 0, 0
		for i := range w.stations {
			w.stations[i].region = string(rune('a' + i/3))
		}
		w.returned = func(at place, _ string, _ int) (snr, watts float64) {
			return w.levelDB(at) - 10*math.Log10(4) - []float64{1, 2, 9}[at.station%3], 1
		}
	})
	e := w.one(t)
	require.InDelta(t, 2, *e.EstimateDB, 1e-4)
	require.Equal(t, [2]int{8, 24}, [2]int{e.Regions, e.Stations})
}

// What enters a directivity is counted without the stations whose bearing is not known well enough: of 24 stations with 10
// blocks of 22 reports each, one has no place and one is on the move. A level takes them all.
func TestReceptionsThatEnterALobe(t *testing.T) {
	w := asking(plain().leans(3), lobe("one-sided"), level())
	w.stations[3].unknown = true
	w.stations[8].call += "/M"
	all := w.judged(t)
	require.Equal(t, [2]int{22, 22 * 10 * 22}, [2]int{all[0].Stations, all[0].Receptions})
	require.Equal(t, [2]int{24, 24 * 10 * 22}, [2]int{all[1].Stations, all[1].Receptions})
}
