package judge_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/judge"
)

func matchClaim(arms ...string) judge.Claim {
	return judge.Claim{Name: "match holds", Kind: "match", Arms: arms, Bands: []string{"20m"}, SWRAtMost: 2}
}

// shown gives readings over the band of one displayed SWR, of two decimals: from half a unit below to a whole unit above.
func shown(arm, sweep, plane string, swr float64) []sweepRow {
	var out []sweepRow
	for _, mhz := range []float64{14, 14.05, 14.1, 14.15, 14.2, 14.25, 14.3, 14.35} {
		low, high := swr-0.005, swr+0.01
		out = append(out, sweepRow{arm, sweep, plane, mhz, &swr, &low, &high})
	}
	return out
}

// unbounded is a return loss shown as 0: no upper end, and from 0.1 dB a least SWR of 173.7.
func unbounded(arm string, mhz float64) sweepRow {
	low := 173.7
	return sweepRow{arm: arm, sweep: "b.csv", plane: "feedpoint", mhz: mhz, low: &low}
}

func matchCases() []ruleCase {
	const rule = "6: match holds if the highest SWR with the reading's rounding is within the limit in every sweep"
	made := func(arms []string, rows ...[]sweepRow) *world {
		return with(asking(plain(), matchClaim(arms...)), func(w *world) {
			for _, some := range rows {
				w.sweeps = append(w.sweeps, some...)
			}
		})
	}
	low := []string{"low"}
	at := func(swr float64) *world { return made(low, shown("low", "a.csv", "feedpoint", swr)) }
	only := []string{"match_is_not_efficiency"}
	whole := shown("low", "a.csv", "feedpoint", 1.5)
	return []ruleCase{
		{rule: rule, name: "shown 1.99: up to 2.00", world: at(1.99), verdict: "holds", code: "holds", warns: only},
		{rule: rule, name: "shown 2.00: up to 2.01", world: at(2.00), verdict: "undecided", code: "rounding", says: []string{"the SWR of low is 2 at 14 MHz", "either side of the limit of 2"}, warns: only},
		{rule: rule, name: "shown 2.01: from 2.005", world: at(2.01), verdict: "fails", code: "fails", says: []string{"the SWR of low is 2.01 at 14 MHz, above the limit of 2"}, warns: only},
		{rule: rule, name: "a pair of displays that allows 2 or less", world: made(low, []sweepRow{tight(1.98, 1.975, 2.0)}, whole[1:]), verdict: "holds", code: "holds"},
		{rule: rule, name: "a pair of displays that allows a little more", world: made(low, []sweepRow{tight(1.98, 1.975, 2.0001)}, whole[1:]), verdict: "undecided", code: "rounding"},
		{rule: rule, name: "two sweeps, one above", world: made(low, whole, shown("low", "b.csv", "feedpoint", 2.5)), verdict: "fails", code: "fails", says: []string{"2.5"}},
		{rule: rule, name: "two arms, one above", world: made([]string{"low", "high"}, shown("high", "c.csv", "feedpoint", 3), whole), verdict: "fails", code: "fails", says: []string{"the SWR of high is 3"}},
		{rule: rule, name: "one arm above, the other not measured", world: made([]string{"low", "high"}, shown("high", "c.csv", "feedpoint", 3)), verdict: "fails", code: "fails"},
		{rule: rule, name: "one arm not measured", world: made([]string{"low", "high"}, shown("high", "c.csv", "feedpoint", 1.5)), verdict: "refused", code: "no_readings", says: []string{"no readings of low from 14 to 14.35 MHz: measure there"}},
		{rule: rule, name: "measured on another band", world: made(low, []sweepRow{{arm: "low", sweep: "a.csv", plane: "radio", mhz: 28.5, swr: whole[0].swr}}), verdict: "refused", code: "no_readings", says: []string{"MHz; they lie at 28.5 to 28.5 MHz: measure there too"}},
		{rule: rule, name: "GHz taken for MHz", world: made(low, []sweepRow{{arm: "low", sweep: "a.csv", plane: "radio", mhz: 0.0141, swr: whole[0].swr}, {arm: "low", sweep: "a.csv", plane: "radio", mhz: 0.0142, swr: whole[0].swr}}), verdict: "refused", code: "no_readings",
			says: []string{"no readings of low from 14 to 14.35 MHz; they lie at 0.0141 to 0.0142 MHz: check the unit"}},
		{rule: rule, name: "kHz taken for MHz, one of two arms", world: made([]string{"low", "high"}, []sweepRow{{arm: "low", sweep: "a.csv", plane: "radio", mhz: 14100, swr: whole[0].swr}}), verdict: "refused", code: "no_readings",
			says: []string{"no readings of low, high from 14 to 14.35 MHz; those of low lie at 14100 to 14100 MHz: check the unit"}},
		{rule: rule, name: "no sweep at all", world: made(low), verdict: "refused", code: "no_readings"},
		{rule: rule, name: "return loss 0", world: made(low, []sweepRow{unbounded("low", 14.2)}), verdict: "fails", code: "fails", says: []string{"the SWR of low at 14.2 MHz is beyond measure"}},
		{rule: rule, name: "a gap", world: made(low, whole[:4]), verdict: "holds", code: "holds", says: []string{"but there are gaps"}, warns: []string{"gap_in_readings", "match_is_not_efficiency"}},
		{rule: rule, name: "two sweeps fill each other's gaps", world: made(low, shown("low", "a.csv", "feedpoint", 1.5)[:4], shown("low", "b.csv", "feedpoint", 1.5)[4:]), verdict: "holds", code: "holds", warns: only},
		{rule: rule, name: "narrower limits", world: with(made(low, whole[:3]), func(w *world) {
			from, to := 14.0, 14.1
			w.claims[0].FromMHz, w.claims[0].ToMHz = &from, &to
		}), verdict: "holds", code: "holds", says: []string{"from 14 to 14.1 MHz"}, warns: []string{"gap_in_readings", "gap_in_readings", "match_is_not_efficiency"}},
		{rule: rule, name: "at the radio", world: made(low, shown("low", "a.csv", "radio", 1.5)), verdict: "holds", code: "holds", warns: []string{"match_is_not_efficiency", "measured_at_radio"}},
		{rule: "9: match does not rest on spots", name: "no reports yet", world: with(made(low, whole), func(w *world) { w.intake.Background = 1 }), verdict: "holds", code: "holds"},
	}
}

func tight(swr, low, high float64) sweepRow {
	return sweepRow{"low", "a.csv", "feedpoint", 14, &swr, &low, &high}
}

func TestMatchShowsTheWorstOfEachSweep(t *testing.T) {
	w := asking(plain(), matchClaim("low"))
	w.sweeps = append(shown("low", "a.csv", "radio", 1.5), unbounded("low", 14.2))
	w.sweeps[2] = tight(1.75, 1.745, 1.76)
	w.sweeps[2].mhz, w.sweeps[2].plane = 14.1, "radio"
	e := w.one(t)
	require.Len(t, e.Match.Sweeps, 2)
	a, b := e.Match.Sweeps[0], e.Match.Sweeps[1]
	require.Equal(t, "a.csv 8 1.75 14.1 1.745 1.76", fmt.Sprint(a.Sweep, " ", a.Readings, " ", *a.HighestSWR, " ", *a.FrequencyMHz, " ", *a.SWRInterval[0], " ", *a.SWRInterval[1]))
	require.Nil(t, b.HighestSWR)
	require.Nil(t, b.SWRInterval[1])
	require.Equal(t, 173.7, *b.SWRInterval[0])
}
