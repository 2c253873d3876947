package judge_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/judge"
)

// tangled is a trial whose eastern stations are far away, as far as every other one is farther still, and whose difference
// follows the logarithm of the distance, and the azimuth with an amplitude of its own.
func tangled(slope, lobeDB float64) *world {
	w := asking(plain(), lobe("one-sided"))
	w.blocks, w.stations = 12, around(48)
	for i := range w.stations {
		w.stations[i].km = math.Round(100*math.Exp(math.Sin(w.stations[i].deg*math.Pi/180)+0.6*float64(i%2*2-1))) * 10
	}
	w.stations = inRegions(w.stations)
	w.diffDB = func(at place) float64 {
		return slope*math.Log(at.km/1000) + lobeDB*math.Sin(at.deg*math.Pi/180)
	}
	return w
}

func TestDistanceThatLooksLikeALobe(t *testing.T) {
	e := tangled(2, 0).one(t)
	require.LessOrEqual(t, max(*e.PGate1, *e.PGate2), 0.05, "the gates alone are fooled")
	require.Greater(t, *e.P, 0.05)
	require.Equal(t, "distance_tangled", e.ReasonCode)
	require.Contains(t, e.Reason, "their distance explains it as well as their direction does")
	var gate1, gate2 float64
	_, told, _ := strings.Cut(e.Warnings[0].Text, "with the distance taken out, ")
	_, err := fmt.Sscanf(told, "gate 1 has p = %g and gate 2 p = %g,", &gate1, &gate2)
	require.NoError(t, err)
	require.InDelta(t, *e.P, max(gate1, gate2), 0.006, "p is the greatest of all, and here one of the two that are told, to two places")
	e = tangled(1, 4).one(t)
	require.Equal(t, "different", e.Verdict, e.Reason)
	require.Equal(t, []string{"distance_tangled"}, e.codes())
	require.Contains(t, e.Warnings[0].Text, "with the distance taken out, gate 1 has p = ")
}

func TestTangledDistanceTurnsWithTheArms(t *testing.T) {
	requireMirrored(t, tangled(2, 0), tangled(2, 0))
}

// besideRules are those of repeated erections, late drops, control stations and match, each code once; the tests of each
// say more.
func besideRules() []ruleCase {
	late := with(plain(), droppedAfterLook(2, 7))
	late.diffDB = onlyIn(-15, 3, 2, 7)
	alone := with(outings(2, 2, 2), func(w *world) {
		w.arms, w.params.Arms, w.claims = []string{"high"}, []string{"high"}, []judge.Claim{again("high")}
	})
	open := asking(with(outings(2, 2, 2), func(w *world) { w.params.Stopping = "open" }), again("high", "low"))
	matched := with(plain().differ(3), func(w *world) {
		w.sweeps = append(lossRows("high", "h", 0.5, db(0.1), db(0.9)), lossRows("low", "l", 3, db(0.2), db(3.1))...)
	})
	return []ruleCase{
		{rule: "8: a drop entered after the first look must not decide", name: "late drop", world: late, verdict: "undecided", code: "late_drop_decides", reach: here, warns: []string{"dropped_after_look"}},
		{rule: "7: one arm beside a control station", name: "control", world: oneWire(), verdict: "refused", code: "control_not_random"},
		{rule: "6: repeat needs another arm", name: "repeat, one arm", world: alone, verdict: "refused", code: "no_comparison"},
		{rule: "6: repeat in an open trial", name: "repeat, open", world: open, verdict: "undecided", code: "open_trial"},
		{rule: "6: repeat", name: "alike", world: asking(outings(2, 2, 2, 2, 2), again("high", "low")), verdict: "holds", code: "holds", reach: here},
		{rule: "6: repeat", name: "apart", world: asking(outings(-8, 0, 8, 3), again("high", "low")), verdict: "fails", code: "fails", reach: here},
		{rule: "4: distance and azimuth tangled", name: "distance", world: tangled(2, 0), verdict: "undecided", code: "distance_tangled", reach: here, warns: []string{"distance_tangled"}},
		{rule: "9: match explains", name: "match explains", world: matched, verdict: "different", code: "different", reach: beyond, warns: []string{"match_explains"}},
	}
}
