package report

import (
	"fmt"
	"strings"
)

const (
	nameWidth  = 24
	scaleWidth = 41 // characters of the dB scale, odd so that zero has one of its own
)

// oneScale draws the intervals that verdicts rest on, on one scale that ends at most there, beside the difference that
// matters. What was not tested is not drawn.
func (w *writer) oneScale(title string, most float64, write func(float64) string, entries []entry) {
	var some []entry
	reach := 0.0
	for _, e := range entries {
		if e.P == nil || e.IntervalDB == nil || e.EstimateDB == nil {
			continue
		}
		some = append(some, e)
		reach = max(reach, 1.5*e.SmallestDB, abs(*e.EstimateDB)*1.2)
		for _, end := range e.IntervalDB {
			if end != nil {
				reach = max(reach, abs(*end)*1.1)
			}
		}
	}
	if len(some) == 0 {
		return
	}
	reach = min(reach, most)
	w.line("%s", title)
	w.line("")
	left, right := fmt.Sprintf("\u2212%.1f", reach), fmt.Sprintf("%.1f", reach)
	w.line("  %-*s %-*s%s", nameWidth, "", scaleWidth-len(right), left, right)
	for _, e := range some {
		w.line("  %-*s %s %s", nameWidth, rowName(e), bar(e, reach), write(*e.EstimateDB))
	}
	w.line("")
}

// rowName fits claim and band into the column. The claim is cut first, since the band is short and tells rows apart.
func rowName(e entry) string {
	band := short(", "+clean(e.Band), nameWidth/2)
	return short(clean(e.Claim), nameWidth-len([]rune(band))) + band
}

func abs(v float64) float64 { return max(v, -v) }

func short(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "\u2026"
}

// bar draws one interval: [ and ] are its ends, < and > an end off the scale or without bound, o the estimate. Both ends
// stay visible, so an estimate that lies on one is not drawn.
func bar(e entry, reach float64) string {
	cells := []rune(strings.Repeat(" ", scaleWidth))
	at := func(v float64) int {
		return max(0, min(scaleWidth-1, int((v+reach)/(2*reach)*float64(scaleWidth-1)+0.5)))
	}
	from, to, open, closing := 0, scaleWidth-1, '<', '>'
	if v := e.IntervalDB[0]; v != nil && *v >= -reach {
		from, open = at(*v), '['
	}
	if v := e.IntervalDB[1]; v != nil && *v <= reach {
		to, closing = at(*v), ']'
	}
	if from == to { // two ends need two characters
		from = min(from, scaleWidth-2)
		to = from + 1
	}
	for i := from; i <= to; i++ {
		cells[i] = '-'
	}
	cells[at(0)] = '|'
	cells[at(e.SmallestDB)], cells[at(-e.SmallestDB)] = ':', ':'
	cells[at(*e.EstimateDB)] = 'o'
	cells[from], cells[to] = open, closing
	return string(cells)
}
