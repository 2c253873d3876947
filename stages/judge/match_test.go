package judge_test

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
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
		out = append(out, sweepRow{arm: arm, sweep: sweep, plane: plane, mhz: mhz, swr: &swr, low: &low, high: &high})
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
	one, loss := 1.0, 2.5
	only := []string{"match_is_not_efficiency"}
	whole := shown("low", "a.csv", "feedpoint", 1.5)
	return []ruleCase{
		{rule: rule, name: "shown 1.99: up to 2.00", world: at(1.99), verdict: "holds", code: "holds", warns: only},
		{rule: rule, name: "shown 2.00: up to 2.01", world: at(2.00), verdict: "undecided", code: "rounding", says: []string{"the SWR of low is 2 at 14 MHz", "either side of the limit of 2"}, warns: only},
		{rule: rule, name: "shown 2.01: from 2.005", world: at(2.01), verdict: "fails", code: "fails", says: []string{"at the feedpoint, the SWR of low is 2.01 at 14 MHz, above the limit of 2"}, warns: only},
		{rule: rule, name: "a pair of displays that allows 2 or less", world: made(low, []sweepRow{tight(1.98, 1.975, 2.0)}, whole[1:]), verdict: "holds", code: "holds"},
		{rule: rule, name: "a pair of displays that allows a little more", world: made(low, []sweepRow{tight(1.98, 1.975, 2.0001)}, whole[1:]), verdict: "undecided", code: "rounding"},
		{rule: rule, name: "two sweeps, one above", world: made(low, whole, shown("low", "b.csv", "feedpoint", 2.5)), verdict: "fails", code: "fails", says: []string{"2.5"}},
		{rule: rule, name: "two arms, one above", world: made([]string{"low", "high"}, shown("high", "c.csv", "feedpoint", 3), whole), verdict: "fails", code: "fails", says: []string{"the SWR of high is 3"}},
		{rule: rule, name: "one arm above, the other not measured", world: made([]string{"low", "high"}, shown("high", "c.csv", "feedpoint", 3)), verdict: "fails", code: "fails"},
		{rule: rule, name: "one arm not measured", world: made([]string{"low", "high"}, shown("high", "c.csv", "feedpoint", 1.5)), verdict: "refused", code: "no_readings", says: []string{"no readings of low from 14 to 14.35 MHz: measure there"}},
		{rule: rule, name: "measured on another band", world: made(low, []sweepRow{{arm: "low", sweep: "a.csv", plane: "radio", mhz: 28.5, swr: whole[0].swr}}), verdict: "refused", code: "no_readings", says: []string{"MHz; they lie at 28.5 MHz: measure there too"}},
		{rule: rule, name: "GHz taken for MHz", world: made(low, []sweepRow{{arm: "low", sweep: "a.csv", plane: "radio", mhz: 0.0141, swr: whole[0].swr}, {arm: "low", sweep: "a.csv", plane: "radio", mhz: 0.0142, swr: whole[0].swr}}), verdict: "refused", code: "no_readings",
			says: []string{"no readings of low from 14 to 14.35 MHz; they lie at 0.0141 to 0.0142 MHz: check the unit"}},
		{rule: rule, name: "kHz taken for MHz, one of two arms", world: made([]string{"low", "high"}, []sweepRow{{arm: "low", sweep: "a.csv", plane: "radio", mhz: 14100, swr: whole[0].swr}}), verdict: "refused", code: "no_readings",
			says: []string{"no readings of low, high from 14 to 14.35 MHz; those of low lie at 14100 MHz: check the unit"}},
		{rule: rule, name: "no sweep at all", world: made(low), verdict: "refused", code: "no_readings"},
		{rule: rule, name: "return loss 0", world: made(low, []sweepRow{unbounded("low", 14.2)}), verdict: "fails", code: "fails", says: []string{"the SWR of low at 14.2 MHz is beyond measure"}},
		{rule: rule, name: "more reflected than arrives", world: made(low, []sweepRow{{arm: "low", sweep: "a.csv", plane: "feedpoint", mhz: 14, low: &one}}), verdict: "undecided", code: "impossible_reading", says: []string{"the SWR of low at 14 MHz is beyond measure, for more would be reflected"}},
		{rule: "9: a feedline that loses over 1 dB is told", name: "a lossy feedline", world: with(made(low, whole), func(w *world) { w.sweeps[3].loss = &loss }), verdict: "holds", code: "holds", warns: []string{"line_loss", "match_is_not_efficiency"}},
		{rule: rule, name: "a gap", world: made(low, whole[:5]), verdict: "holds", code: "holds", says: []string{"but there are gaps"}, warns: []string{"gap_in_readings", "match_is_not_efficiency"}},
		{rule: rule, name: "half of the range is a gap", world: made(low, whole[:4]), verdict: "undecided", code: "part_measured", says: []string{"of low over half of that range is not measured"}},
		{rule: rule, name: "readings at one end", world: made(low, []sweepRow{whole[0]}, moved(whole, 14.001, 14.002, 14.2)), verdict: "undecided", code: "part_measured"},
		{rule: rule, name: "one arm of two measured at one frequency", world: made([]string{"low", "high"}, whole, shown("high", "c.csv", "feedpoint", 1.5)[:1]), verdict: "undecided", code: "part_measured", says: []string{"but of high over half"}},
		{rule: rule, name: "the arms at different planes", world: made([]string{"low", "high"}, whole, shown("high", "c.csv", "radio", 1.5)), verdict: "holds", code: "holds",
			says: []string{"low at the feedpoint; high at the radio: every reading from 14 to 14.35 MHz"}},
		{rule: rule, name: "the declared line stays", world: with(made(low, shown("low", "a.csv", "radio", 1.5)), func(w *world) { w.params.LinesDeclared = []string{"low"} }), verdict: "holds", code: "holds", warns: []string{"match_is_not_efficiency", "measured_at_radio"}},
		{rule: rule, name: "against 75 ohm", world: made(low, against(75, whole)), verdict: "holds", code: "holds", says: []string{"at the feedpoint (against 75 ohm), every reading"}, warns: only},
		{rule: rule, name: "against 50 and 75 ohm", world: made([]string{"low", "high"}, whole, against(75, shown("high", "c.csv", "feedpoint", 1.5))), verdict: "holds", code: "holds",
			says: []string{"low at the feedpoint; high at the feedpoint (against 75 ohm): every reading"}, warns: []string{"match_is_not_efficiency", "mixed_references"}},
		{rule: rule, name: "two sweeps fill each other's gaps", world: made(low, shown("low", "a.csv", "feedpoint", 1.5)[:4], shown("low", "b.csv", "feedpoint", 1.5)[4:]), verdict: "holds", code: "holds", warns: only},
		{rule: rule, name: "narrower limits", world: with(made(low, whole[:3]), func(w *world) {
			from, to := 14.0, 14.1
			w.claims[0].FromMHz, w.claims[0].ToMHz = &from, &to
		}), verdict: "holds", code: "holds", says: []string{"from 14 to 14.1 MHz"}, warns: []string{"gap_in_readings", "gap_in_readings", "match_is_not_efficiency"}},
		{rule: rule, name: "at the radio", world: made(low, shown("low", "a.csv", "radio", 1.5)), verdict: "holds", code: "holds",
			says: []string{"at the radio, every reading from 14 to 14.35 MHz is at most 2"}, warns: []string{"match_is_not_efficiency", "measured_at_radio"}},
		{rule: "9: match does not rest on spots", name: "no reports yet", world: with(made(low, whole), func(w *world) { w.intake.Background = 1 }), verdict: "holds", code: "holds"},
	}
}

// moved gives readings of one SWR at some frequencies.
func moved(like []sweepRow, mhz ...float64) []sweepRow {
	var out []sweepRow
	for _, at := range mhz {
		r := like[0]
		r.mhz = at
		out = append(out, r)
	}
	return out
}

// against gives the readings with another impedance that they refer to.
func against(ohm float64, rows []sweepRow) []sweepRow {
	out := slices.Clone(rows)
	for i := range out {
		out[i].z0 = ohm
	}
	return out
}

// What the details name is what decides, though another reading bounds nothing.
func TestMatchNamesTheReadingThatDecides(t *testing.T) {
	one, high := 1.0, 2.4
	e := judgeMatch(t, exact(14.1, &high), planeRow{sweepRow: sweepRow{arm: "low", sweep: "a.s1p", plane: "feedpoint", mhz: 14.2, low: &one}})
	require.Equal(t, "fails", e.Verdict)
	require.Contains(t, e.Reason, "the SWR of low is 2.4 at 14.1 MHz")
	require.Equal(t, 14.1, *e.Match.Sweeps[0].FrequencyMHz)
	require.Equal(t, 2.4, *e.Match.Sweeps[0].HighestSWR)
}

// A line that is declared and stays is not asked for again.
func TestMatchSaysWhyTheLineStays(t *testing.T) {
	w := with(asking(plain(), matchClaim("low")), func(w *world) { w.sweeps = shown("low", "a.csv", "radio", 1.5) })
	text := func() string { return w.one(t).Warnings[1].Text }
	require.Contains(t, text(), "declare length and loss of the feedline")
	w.params.LinesDeclared = []string{"high"}
	require.Contains(t, text(), "declare length and loss of the feedline")
	w.params.LinesDeclared = []string{"low"}
	require.Contains(t, text(), "can't be taken out of SWR alone")
	require.Contains(t, text(), "save R and X")
	require.NotContains(t, text(), "declare length")
}

func tight(swr, low, high float64) sweepRow {
	return sweepRow{arm: "low", sweep: "a.csv", plane: "feedpoint", mhz: 14, swr: &swr, low: &low, high: &high}
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

// planeRow is a reading whose plane may be one at which it was not measured.
type planeRow struct {
	sweepRow
	calculated bool
}

// bothPlanes gives readings made at the radio, and beside each that at the feedpoint, calculated.
func bothPlanes(sweep string, radio, feedpoint float64) []planeRow {
	var out []planeRow
	for _, r := range shown("low", sweep, "radio", radio) {
		out = append(out, planeRow{r, false})
	}
	for _, r := range shown("low", sweep, "feedpoint", feedpoint) {
		out = append(out, planeRow{r, true})
	}
	return out
}

// judgeMatch judges one match claim of the arm "low" on the given readings.
func judgeMatch(t *testing.T, rows ...planeRow) entry {
	t.Helper()
	rows = slices.Clone(rows)
	slices.SortStableFunc(rows, func(a, b planeRow) int {
		return cmp.Or(cmp.Compare(a.sweep, b.sweep), cmp.Compare(a.plane, b.plane), cmp.Compare(a.mhz, b.mhz))
	})
	sweeps := table.NewBuilder(datasets.Sweeps())
	for i, r := range rows {
		sweeps.Append(r.arm, r.sweep, r.plane, !r.calculated, r.mhz, nil, nil, 50.0, r.swr, r.low, r.high, nil, nil, r.loss, i+2)
	}
	w := asking(plain(), matchClaim("low"))
	in := w.input()
	defer in.Release()
	tables := map[string]arrow.Record{"sweeps": sweeps.Record()}
	for _, name := range []string{"dwells", "stations", "receptions", "late_receptions", "control_receptions", "listening"} {
		tables[name] = in.Table(name)
		tables[name].Retain()
	}
	next := pipeline.NewInput(context.Background(), memory.NewGoAllocator(), tables,
		map[string][]byte{"intake.json": in.File("intake.json"), "trial.json": in.File("trial.json")})
	defer next.Release()
	res, err := judge.Stage(w.stageParams()).Run(context.Background(), next)
	require.NoError(t, err)
	r := table.NewReader(res.Tables[judge.TableVerdicts])
	require.True(t, r.Next())
	checkSchema(t, r.Str("detail"))
	var e entry
	require.NoError(t, json.Unmarshal([]byte(r.Str("detail")), &e))
	return e
}

// exact is a reading that is no display, such as that of a Touchstone file.
func exact(mhz float64, swr *float64) planeRow {
	return planeRow{sweepRow: sweepRow{arm: "low", sweep: "a.s1p", plane: "feedpoint", mhz: mhz, swr: swr, low: swr, high: swr}}
}

func TestMatchSaysWhereSWRWasMeasured(t *testing.T) {
	one, two := 1.0, 2.0
	faulty := planeRow{sweepRow: sweepRow{arm: "low", sweep: "a.s1p", plane: "feedpoint", mhz: 14.2, low: &one}}
	for _, c := range []struct {
		rule    string
		rows    []planeRow
		verdict string
		reason  string
		warns   []string
	}{
		{"judged at the feedpoint", bothPlanes("a.csv", 1.2, 1.4), "holds",
			"at the feedpoint, feedline removed, every reading from 14 to 14.35 MHz is at most 2, with its rounding", []string{"match_is_not_efficiency"}},
		{"the radio's end hides it", bothPlanes("a.csv", 1.7, 2.4), "fails",
			"at the feedpoint, feedline removed, the SWR of low is 2.4 at 14 MHz, above the limit of 2; at the radio it is 1.7 at most, since the loss of the feedline hides it", []string{"match_is_not_efficiency"}},
		{"the radio's end shows it", bothPlanes("a.csv", 2.2, 3), "fails",
			"at the feedpoint, feedline removed, the SWR of low is 3 at 14 MHz, above the limit of 2", []string{"match_is_not_efficiency"}},
		{"one sweep of each kind", append(bothPlanes("a.csv", 1.2, 1.4), bothPlanes("b.csv", 1.3, 9)[:8]...), "holds",
			"at the feedpoint, feedline removed, and at the radio, every reading from 14 to 14.35 MHz is at most 2, with its rounding", []string{"match_is_not_efficiency", "measured_at_radio"}},
		{"a dummy load", []planeRow{exact(14, &one), exact(14.08, &one), exact(14.16, &one), exact(14.24, &one), exact(14.32, &one)}, "holds",
			"at the feedpoint, every reading from 14 to 14.35 MHz is at most 2, with its rounding", []string{"match_is_not_efficiency"}},
		{"a value at the limit", []planeRow{exact(14, &two), exact(14.17, &two), exact(14.3, &two)}, "holds", "", nil},
		{"a short, or an open", []planeRow{exact(14.1, nil)}, "fails", "at the feedpoint, the SWR of low at 14.1 MHz is beyond measure, above the limit of 2", nil},
		{"one row", []planeRow{exact(14.1, &one)}, "undecided", "at the feedpoint, every reading from 14 to 14.35 MHz is at most 2, with its rounding, but of low over half of that range is not measured: measure there",
			[]string{"gap_in_readings", "gap_in_readings", "match_is_not_efficiency"}},
		{"outside the band", []planeRow{exact(7.1, &one)}, "refused", "there are no readings of low from 14 to 14.35 MHz; they lie at 7.1 MHz: measure there too", nil},
		{"no rows", nil, "refused", "there are no readings of low from 14 to 14.35 MHz: measure there", []string{"match_is_not_efficiency"}},
		{"a reading that reflects more than arrives bounds nothing", []planeRow{exact(14.1, &one), faulty}, "undecided",
			"at the feedpoint, the SWR of low at 14.2 MHz is beyond measure, for more would be reflected than arrives: calibrate the analyser, check the declared feedline, and measure again", nil},
		{"nor is it named for another", []planeRow{exact(14.1, nil), faulty}, "fails", "at the feedpoint, the SWR of low at 14.1 MHz is beyond measure, above the limit of 2", nil},
	} {
		e := judgeMatch(t, c.rows...)
		require.Equal(t, c.verdict, e.Verdict, c.rule)
		if c.reason != "" {
			require.Equal(t, c.reason, e.Reason, c.rule)
		}
		if c.warns != nil {
			require.Equal(t, c.warns, e.codes(), c.rule)
		}
	}
}

func TestMatchShowsBothPlanesAndTheLossOfTheLine(t *testing.T) {
	rows := bothPlanes("a.csv", 1.2, 1.4)
	for i, db := range []float64{0.9, 1.04, 0.8} {
		rows[8+i].loss = &db
	}
	e := judgeMatch(t, rows...)
	s := e.Match.Sweeps[0]
	require.Len(t, e.Match.Sweeps, 1, "one entry a sweep, whatever its planes")
	require.Equal(t, "feedpoint", s.Plane)
	require.True(t, s.FeedlineRemoved)
	require.Equal(t, 8, s.Readings)
	require.Equal(t, 1.4, *s.HighestSWR)
	require.Equal(t, 1.2, *s.HighestSWRAtRadio)
	// 10^-0.104 = 0.787 arrives
	require.Contains(t, e.Warnings, judge.Warning{Code: "line_loss", Text: "low: with its mismatch the feedline loses 1.0 dB at 14.05 MHz, 21 % of the power"})

	one := 1.0
	for i := range rows {
		rows[i].loss = &one
	}
	require.NotContains(t, judgeMatch(t, rows...).codes(), "line_loss", "1 dB is not over 1 dB")
	e = judgeMatch(t, exact(14.1, &one))
	require.False(t, e.Match.Sweeps[0].FeedlineRemoved)
	require.Nil(t, e.Match.Sweeps[0].HighestSWRAtRadio)
}
