package judge_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/internal/account"
	"fairlobe/stages/judge"
)

func near(c judge.Claim) judge.Claim {
	c.WithinKm = &[2]float64{0, 600}
	return c
}

func received(c judge.Claim) judge.Claim {
	c.Direction = "received"
	return c
}

func rule4() []ruleCase {
	const rule = "4: directivity: p is the greater of two gates; the same if the amplitude's upper end is below L with 12 stations"
	scattered := func(w *world) {
		w.params.SmallestDB = 0.3
		w.diffDB = func(at place) float64 { return 3 * math.Sin(float64(7*at.station*at.station)) } // no order in azimuth
	}
	few := func(w *world) {
		for i := range w.stations {
			w.stations[i].region = fmt.Sprint(i / 8)
		}
	}
	loud := func(w *world) { w.levelDB = func(place) float64 { return 14 } }
	return []ruleCase{
		{rule: rule, name: "a lobe", world: asking(plain().leans(3), lobe("one-sided")), verdict: "different", code: "different", reach: here, says: []string{"high gains most against low toward 89 degrees, 2.99 dB (2.92 to 3.06 dB) above the all-round value, over the receivers heard (24)"}},
		{rule: rule, name: "two lobes", world: asking(with(plain(), func(w *world) {
			w.diffDB = func(at place) float64 { return 3 * math.Cos(2*(at.deg-30)*math.Pi/180) }
		}), lobe("two-sided")), verdict: "different", code: "different", reach: here, says: []string{"gains most against low in the directions 30 and 210 degrees"}},
		{rule: rule, name: "any shape", world: asking(with(plain().leans(3), func(w *world) { w.blocks = 12 }), lobe("any")), verdict: "different", code: "different", reach: here, says: []string{"toward"}},
		{rule: rule, name: "a lobe whose size reaches down to 0", world: asking(with(plain(), func(w *world) {
			w.params.Seed, w.blocks = 3, 12
			w.diffDB = func(at place) float64 { return 0.11 * (math.Sin(at.deg*math.Pi/180) + math.Cos(2*at.deg*math.Pi/180)) }
		}), lobe("any")), verdict: "different", code: "different", reach: here, says: []string{"high gains most against low in a direction that the data leave open, the size is open, over the receivers heard (24)"}},
		{rule: rule, name: "no lobe", world: asking(plain(), lobe("one-sided")), verdict: "practically the same", code: "practically_the_same", reach: here,
			says: []string{"no lobe shown; one of the shape asked for (one-sided) is at most 0.", "less than the 1.5 dB that matter, over the receivers heard (24)"}},
		{rule: rule, name: "no lobe, near stations", world: asking(with(plain(), func(w *world) { w.stations = around(48) }), near(lobe("one-sided"))), verdict: "practically the same", code: "practically_the_same", reach: here,
			says: []string{"over the receivers heard (24, up to 600 km away)"}},
		{rule: rule, name: "no lobe of any shape", world: asking(with(plain(), func(w *world) { w.blocks = 12 }), lobe("any")), verdict: "practically the same", code: "practically_the_same", reach: here, says: []string{"no lobe shown; one of the shape asked for (any)"}},
		{rule: rule, name: "small, and would pass alone", world: asking(with(plain().leans(0.5), func(w *world) { w.blocks = 12 }), lobe("one-sided")).questions(100), verdict: "practically the same", code: "practically_the_same", reach: here,
			says: []string{"a lobe would pass alone, not among the 101 questions asked; one of the shape asked for"}},
		{rule: rule, name: "12 stations", world: asking(with(plain(), func(w *world) { w.stations = around(12) }), lobe("one-sided")), verdict: "practically the same", code: "practically_the_same", reach: here},
		{rule: rule, name: "11 stations", world: asking(with(plain(), func(w *world) { w.stations = around(11) }), lobe("one-sided")), verdict: "undecided", code: "few_to_rule_out", reach: here},
		{rule: rule, name: "10 stations", world: asking(with(plain(), func(w *world) { w.stations = around(10) }), lobe("one-sided")), verdict: "undecided", code: "few_to_rule_out", reach: here, says: []string{"no lobe shown, but 10 receivers are too few"}},
		{rule: rule, name: "compressed", world: asking(with(plain(), loud), lobe("one-sided")), verdict: "undecided", code: "compressed", reach: here},
		{rule: rule, name: "stations differ without order", world: asking(with(plain(), scattered), lobe("one-sided")), verdict: "undecided", code: "receivers_differ", reach: here, says: []string{"no lobe shown: receivers differ, azimuth not shown"}},
		{rule: rule, name: "senders differ without order", world: asking(with(with(plain(), scattered), func(w *world) { w.direction = "received" }), received(lobe("one-sided"))), verdict: "undecided", code: "receivers_differ", reach: here, says: []string{"no lobe shown: stations differ, azimuth not shown"}},
		{rule: rule, name: "too few regions for gate 2", world: asking(with(plain().leans(3), few), lobe("one-sided")), verdict: "undecided", code: "receivers_differ", reach: here, says: []string{"no lobe shown: receivers differ, azimuth not shown, and there are too few regions to tell"}},
		{rule: rule, name: "would pass alone", world: asking(with(plain().leans(3), func(w *world) { w.blocks = 12 }), lobe("one-sided")).questions(100), verdict: "undecided", code: "would_pass_alone", reach: here, says: []string{"not among the 101 questions"}},
		{rule: rule, name: "undecided", world: asking(with(plain(), func(w *world) { w.noiseDB, w.everySlots, w.params.SmallestDB = 6, 4, 0.1 }), lobe("one-sided")), verdict: "undecided", code: "undecided", reach: here},
		{rule: rule, name: "losses", world: asking(with(plain().leans(3), func(w *world) { w.trial.Losses = []account.Loss{{Band: "20m", Share: 0.3, P: 1}} }), lobe("one-sided")), verdict: "undecided", code: "losses", reach: here},
		{rule: rule, name: "predicted axis", world: asking(plain(), judge.Claim{Name: "x", Kind: "directivity", Arms: []string{"high", "low"}, Direction: "sent", Bands: []string{"20m"}, Shape: "one-sided", Predicted: true}), verdict: "practically the same", code: "practically_the_same", reach: here, warns: []string{"axis_not_predicted"}},
		{rule: "statistics 9: stations do not surround", name: "one side only", world: asking(with(plain().leans(3), func(w *world) { w.stations = inSector(20, 0, 90) }), lobe("one-sided")), verdict: "refused", code: "not_surrounded"},
		{rule: "5: directivity under 8 stations", name: "7 stations", world: asking(with(plain().leans(3), func(w *world) { w.stations = around(7) }), lobe("one-sided")), verdict: "refused", code: "too_few_stations"},
		{rule: "statistics, shape any: 8 regions", name: "7 regions", world: asking(with(plain(), func(w *world) {
			w.blocks = 12
			for i := range w.stations {
				w.stations[i].region = fmt.Sprint(i % 7)
			}
		}), lobe("any")), verdict: "refused", code: "too_few_regions"},
		{rule: "4: bearing uncertain by over 20 degrees, or on the move: not for directivity", name: "no usable bearing", world: asking(with(plain().leans(3), func(w *world) {
			for i := range w.stations {
				switch i % 5 {
				case 0:
					w.stations[i].radius = w.stations[i].km
				case 1:
					w.stations[i].unknown = true
				default:
					w.stations[i].call += []string{"/M", "/MM", "/AM"}[i%5-2]
				}
			}
		}), lobe("one-sided")), verdict: "refused", code: "too_few_stations", says: []string{"0 heard"}},
	}
}

// alone makes the trial one of a single arm, asked for its own directivity.
func (w *world) alone(shape string) *world {
	c := lobe(shape)
	c.Arms = []string{"low"}
	w.arms, w.params.Arms, w.claims = c.Arms, c.Arms, []judge.Claim{c}
	return w
}

func rule7() []ruleCase {
	const rule = "7: one arm: refused, observed only, and the reason ends with the mend"
	says := []string{"without a second arm the data cannot separate the antenna from the path; turn this wire in random blocks, or name a control station"}
	return []ruleCase{
		{rule: rule, name: "one arm", world: plain().alone("one-sided"), verdict: "refused", code: "one_arm", says: says},
		{rule: rule, name: "one of two arms", world: with(asking(plain(), lobe("one-sided")), func(w *world) { w.claims[0].Arms = []string{"low"} }), verdict: "refused", code: "one_arm", says: says},
		{rule: rule, name: "one arm, under way", world: with(plain().alone("any"), func(w *world) { w.last = began.Add(2 * time.Hour) }), verdict: "refused", code: "one_arm", says: says},
		{rule: rule, name: "one arm, no reports", world: with(plain().alone("any"), func(w *world) { w.intake.Background = 1 }), verdict: "refused", code: "no_reports"},
	}
}

// One arm has counts, and no estimate and no p; what would mislead is marked as such.
func TestOneArmIsCounted(t *testing.T) {
	w := plain().alone("one-sided")
	w.stations = inSector(20, 0, 90) // receivers on one side: a careless reading sees a lobe
	w.stations[3].unknown = true
	w.stations[4].call += "/M"
	w.claims = append(w.claims, near(w.claims[0]))
	all := w.judged(t)
	for i, want := range []struct{ stations, sector0, sector1 int }{{18, 8, 10}, {9, 4, 5}} {
		e := all[i]
		require.Equal(t, "observed only", *e.Evidence)
		require.Equal(t, want.stations, e.Stations)
		require.Equal(t, want.stations*w.blocks*11, e.Receptions)
		require.Len(t, e.Sectors, 8)
		for s, sector := range e.Sectors {
			require.Nil(t, sector.EstimateDB)
			require.Equal(t, []int{want.sector0, want.sector1, 0, 0, 0, 0, 0, 0}[s], sector.Stations, "sector %d", s)
			require.Equal(t, [2]float64{float64(45 * s), float64(45*s + 45)}, [2]float64{sector.FromDeg, sector.ToDeg})
		}
		require.Equal(t, 1e-6, *e.Naive.UniformP)
		require.True(t, e.Naive.Misleading)
		require.Nil(t, e.Naive.SpotTP)
		for _, none := range []*float64{e.EstimateDB, e.P, e.PAdjusted, e.PRunning, e.PGate1, e.PGate2, e.AllRound} {
			require.Nil(t, none)
		}
		require.Nil(t, e.Lobe)
		require.Nil(t, e.FrontToBack)
	}
	require.Equal(t, 6, all[0].Regions) // three sectors of 30 degrees, two classes of distance
	require.Equal(t, 3, all[1].Regions)
}

// The evidence of one arm is observed only whatever else becomes of the claim.
func TestOneOfTwoArmsIsObservedOnly(t *testing.T) {
	w := asking(rows(40, 3, true), lobe("one-sided"))
	w.claims[0].Arms = []string{"low"}
	e := w.one(t)
	require.Equal(t, "no_usable_rows", e.ReasonCode)
	require.Equal(t, "observed only", *e.Evidence)
}

// The careless reading sees a lobe where stations live on two opposite sides only if the angles are doubled.
func TestNaiveReadingOfALobe(t *testing.T) {
	two := func(shape string) *world {
		return with(asking(plain(), lobe(shape)), func(w *world) {
			w.blocks = 12
			for i := range w.stations { // 12 stations to the north, 12 to the south, not in line
				w.stations[i].deg = math.Mod(360+180*float64(i%2)+50*(float64(i/2)/11-0.5)*2, 360)
				w.stations[i].deg = math.Round(w.stations[i].deg)
			}
			w.stations = inRegions(w.stations)
		})
	}
	for shape, even := range map[string]bool{"one-sided": true, "two-sided": false, "any": true} {
		e := two(shape).one(t)
		require.NotNil(t, e.Naive, e.Reason)
		require.Nil(t, e.Naive.SpotTP)
		require.Equal(t, even, *e.Naive.UniformP > 0.5, "%s: %g", shape, *e.Naive.UniformP)
	}
	// what is not tested has none, and a level has the t test instead
	refused := with(asking(plain(), lobe("one-sided"), level()), func(w *world) { w.params.Seal = judge.SealOrder }).judged(t)
	require.Nil(t, refused[0].Naive)
	require.Nil(t, refused[1].Naive)
	e := plain().one(t)
	require.NotNil(t, e.Naive.SpotTP)
	require.Nil(t, e.Naive.UniformP)
}

// A lobe that was found is shown with the all-round value, not with that which weighs directions by where stations are.
func TestFoundLobeShowsTheAllRoundValue(t *testing.T) {
	w := asking(plain().differ(1).leans(3), lobe("one-sided"))
	for i := range w.stations { // more of them to the east
		w.stations[i].deg = math.Round(360 * math.Pow(float64(i)/24, 1.7))
	}
	w.stations = inRegions(w.stations)
	found := w.one(t)
	require.Equal(t, "different", found.Verdict)
	require.InDelta(t, 1, *found.AllRound, 0.4) // the blocks' own differences have SD 0.3 over 10 blocks: 4 errors
	w.params.Seal = judge.SealOrder
	described := w.one(t)
	require.Nil(t, described.AllRound)
	require.Equal(t, *described.EstimateDB, *found.EstimateDB, "the plain estimate means the same, whatever the verdict")
	require.Greater(t, math.Abs(*found.AllRound-*found.EstimateDB), 0.3)
}

// The verdict rests on the upper end as it is shown, of both harmonics together where both are asked for.
func TestNoLobeRestsOnWhatIsShown(t *testing.T) {
	for _, shape := range []string{"one-sided", "any"} {
		make := func(l float64) entry {
			return with(asking(plain(), lobe(shape)), func(w *world) { w.blocks, w.params.SmallestDB = 12, l }).one(t)
		}
		swing := *make(1.5).Lobe.SwingHighDB
		if shape == "one-sided" {
			require.Equal(t, *make(1.5).Lobe.AmplitudeIn[1], swing)
		} else {
			require.Greater(t, swing, *make(1.5).Lobe.AmplitudeIn[1])
		}
		require.Contains(t, make(swing).Reason, fmt.Sprintf("one of up to %.2f dB is not ruled out, and that matters", swing))
		require.Contains(t, make(swing-0.1).Reason, fmt.Sprintf("one of up to %.2f dB is not ruled out, more than the %g dB that matter", swing, swing-0.1))
		require.Equal(t, "undecided", make(swing).Verdict, "an end of %g is not below %g", swing, swing)
		require.Equal(t, "practically the same", make(swing+0.001).Verdict)
	}
}

// Two opposite lobes have no front and back, whatever axis the claim names.
func TestTwoSidedLobesHaveNoFrontToBack(t *testing.T) {
	axis := 90.0
	toward := func(shape string) entry {
		claim := lobe(shape)
		claim.TowardDeg = &axis
		return asking(plain().leans(3), claim).one(t)
	}
	require.Nil(t, toward("two-sided").FrontToBack)
	require.NotNil(t, toward("one-sided").FrontToBack)
}
