package judge_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/judge"
)

// lossRows are readings of an arm at five frequencies of the band. Where the line's loss is told they are for the
// feedpoint, calculated, with one at the radio beside each.
func lossRows(arm, sweep string, mismatchDB float64, radioDB, lineDB *float64) []sweepRow {
	var rows []sweepRow
	for _, mhz := range []float64{14, 14.08, 14.16, 14.24, 14.32} {
		swr := 1.5
		row := sweepRow{arm: arm, sweep: sweep, plane: "feedpoint", mhz: mhz, swr: &swr, low: &swr, high: &swr, mismatch: &mismatchDB, loss: lineDB, calculated: lineDB != nil}
		rows = append(rows, row)
		if radioDB != nil {
			row.plane, row.loss, row.mismatch, row.calculated = "radio", nil, radioDB, false
			rows = append(rows, row)
		}
	}
	return rows
}

func db(v float64) *float64 { return &v }

// Measured at the feedpoint, with one feedline: low loses 3 dB by its mismatch and high 0.5, so 2.5 dB of what high is
// stronger are match. Measured at the radio: (0.2 + 3.1) less (0.1 + 0.9) dB.
func TestWhatMatchExplains(t *testing.T) {
	atFeedpoint := append(lossRows("high", "h", 0.5, nil, nil), lossRows("low", "l", 3, nil, nil)...)
	removed := append(lossRows("high", "h", 0.5, db(0.1), db(0.9)), lossRows("low", "l", 3, db(0.2), db(3.1))...)
	for _, c := range []struct {
		name   string
		diff   float64
		sweeps []sweepRow
		change func(*world)
		want   *float64
		warned bool
	}{
		{"at the feedpoint, one feedline", 3, atFeedpoint, func(w *world) { w.params.OneFeedline = true }, db(2.5), true},
		{"of a much greater difference", 6, atFeedpoint, func(w *world) { w.params.OneFeedline = true }, db(2.5), false},
		{"of one the other way round", -3, atFeedpoint, func(w *world) { w.params.OneFeedline = true }, db(2.5), false},
		{"of none that is there", 0, atFeedpoint, func(w *world) { w.params.OneFeedline = true }, db(2.5), false},
		{"at the feedpoint, lines of their own", 3, atFeedpoint, nil, nil, false},
		{"at the radio", 3, removed, nil, db(2.3), true},
		{"one at the radio, one at the feedpoint", 3, append(lossRows("high", "h", 0.5, nil, nil), removed[10:]...), func(w *world) { w.params.OneFeedline = true }, nil, false},
		{"behind a tuner", 3, removed, func(w *world) { w.params.Tuner = true }, nil, false},
		{"on receive", 3, removed, func(w *world) { w.direction, w.claims[0].Direction = "received", "received" }, nil, false},
		{"one arm alone", 3, removed[:10], nil, nil, false},
		{"with a gap in the band", 3, append(removed[:4:4], removed[10:]...), nil, nil, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := plain().differ(c.diff)
			w.sweeps = c.sweeps
			if c.change != nil {
				c.change(w)
			}
			e := w.one(t)
			require.Equal(t, c.want, e.ExplainedDB)
			require.Equal(t, c.warned, hasCode(e, "match_explains"))
		})
	}
}

func hasCode(e entry, code string) bool {
	for _, c := range e.codes() {
		if c == code {
			return true
		}
	}
	return false
}

func TestTheSentenceOfWhatMatchExplains(t *testing.T) {
	w := plain().differ(3)
	w.sweeps = append(lossRows("high", "h", 0.5, db(0.1), db(0.9)), lossRows("low", "l", 3, db(0.2), db(3.1))...)
	e := w.one(t)
	require.Contains(t, e.Warnings[0].Text, fmt.Sprintf("explain 2.30 dB of the difference of %.2f dB", *e.EstimateDB))
	require.Equal(t, "different", e.Verdict, "the verdict stays")
	requireMirrored(t, w, func() *world { o := *w; return &o }())
}

// Three sweeps of low, by hand: at 14.1 MHz the SWRs 1.4, 1.6 and 1.5 (squares about the mean 0.02), at 14.2 MHz 2.0 and
// 2.2 (0.02), at 14.3 MHz one alone: sqrt(0.04 / 3). Return losses: 15 and 13 dB at 14.1 MHz: sqrt(2 / 1).
func TestRepeatedSweeps(t *testing.T) {
	row := func(sweep string, mhz, swr float64, loss *float64) sweepRow {
		return sweepRow{arm: "low", sweep: sweep, plane: "feedpoint", mhz: mhz, swr: &swr, low: &swr, high: &swr, returnLoss: loss}
	}
	w := asking(plain(), matchClaim("low", "high"))
	w.sweeps = []sweepRow{row("a", 14.1, 1.4, db(15)), row("a", 14.2, 2.0, nil), row("b", 14.1, 1.6, db(13)), row("b", 14.2, 2.2, nil), row("b", 14.3, 1.1, db(20)), row("c", 14.1, 1.5, nil)}
	high := row("d", 14.1, 1.5, nil)
	high.arm = "high"
	w.sweeps = append(w.sweeps, high)
	e := w.one(t)
	swr, loss := math.Round(math.Sqrt(0.04/3)*1e4)/1e4, 1.4142
	require.Equal(t, []judge.RepeatedSweeps{{Arm: "low", Plane: "feedpoint", Sweeps: 3, Frequencies: 2, SWRSD: &swr, ReturnLossSD: &loss}}, e.Repeatability, "one sweep of high tells nothing")
}
