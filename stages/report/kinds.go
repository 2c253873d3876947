package report

import (
	"fmt"
	"strings"
)

// Two kinds of claim have sizes that do not belong on the scale of dB between arms: heard_by, in percentage points, and
// reciprocity, of what is sent against what is received.

// heardBy is what a heard_by claim adds to an entry.
type heardBy struct {
	SmallestPoints  float64      `json:"smallest_difference_points"`
	EstimatePoints  *float64     `json:"estimate_points"`
	IntervalPoints  *[2]*float64 `json:"interval_points"`
	RunningPoints   *[2]*float64 `json:"running_interval_points"`
	SharesPercent   *[2]float64  `json:"shares_percent"`
	BlocksKnown     int          `json:"blocks_with_background"`
	BlocksSaturated int          `json:"blocks_saturated"`
}

// reciprocity is what a reciprocity claim adds.
type reciprocity struct {
	OneWay       int `json:"stations_one_way"`
	WithoutPower int `json:"stations_without_power"`
}

// betweenArms tells whether an entry's dB are a difference of one direction, which share a scale.
func (e *entry) betweenArms() bool { return e.Kind != "heard_by" && e.Kind != "reciprocity" }

// inPoints writes what was written of dB for percentage points.
func inPoints(db string) string { return strings.ReplaceAll(db, " dB", " points") }

// sizeWords is the size that the top of the page tells of these kinds, with what it is the size of; "" if there is none.
func (e *entry) sizeWords() (what, figures string) {
	switch {
	case e.Kind == "heard_by" && e.EstimatePoints != nil:
		what, figures = "heard by "+difference(e.Arms), inPoints(signed(*e.EstimatePoints))
		switch {
		case e.P != nil && e.IntervalPoints != nil:
			figures += ", 95\u00a0%: " + inPoints(between(e.IntervalPoints))
		case e.RunningPoints != nil:
			figures += ", so far: " + inPoints(between(e.RunningPoints))
		case e.IntervalPoints != nil:
			figures += ", described and not tested: " + inPoints(between(e.IntervalPoints))
		}
	case e.Kind == "reciprocity" && e.EstimateDB != nil:
		what, figures = "sent minus received, for equal powers", signed(*e.EstimateDB)
		switch {
		case e.P != nil && e.IntervalDB != nil:
			figures += ", 95\u00a0%: " + between(e.IntervalDB)
		case e.RunningDB != nil:
			figures += ", so far: " + between(e.RunningDB)
		case e.IntervalDB != nil:
			figures += ", described and not tested: " + between(e.IntervalDB)
		}
	}
	return what, figures
}

// kindRows are the details of these kinds.
func (e *entry) kindRows() rows {
	var r rows
	switch e.Kind {
	case "heard_by":
		e.shareRows(&r)
	case "reciprocity":
		r.add("stations heard in one direction only, which do not enter", fmt.Sprint(e.OneWay))
		r.add("stations heard both ways with a power that is not known, which do not enter", fmt.Sprint(e.WithoutPower))
	}
	return r
}

func (e *entry) shareRows(r *rows) {
	interval := func(name string, i *[2]*float64) {
		if i != nil {
			r.add(name, inPoints(between(i)))
		}
	}
	if s := e.SharesPercent; s != nil && len(e.Arms) == 2 {
		r.add("share that heard "+clean(e.Arms[0]), fmt.Sprintf("%.1f\u00a0%%", s[0]))
		r.add("share that heard "+clean(e.Arms[1]), fmt.Sprintf("%.1f\u00a0%%", s[1]))
	}
	if e.EstimatePoints != nil {
		r.add(difference(e.Arms), inPoints(signed(*e.EstimatePoints)))
	}
	name := "95\u00a0% interval, for this question alone"
	if e.P == nil {
		name = "interval, described and not tested"
	}
	interval(name, e.IntervalPoints)
	interval("interval that holds however often one looks", e.RunningPoints)
	if e.Beyond != nil {
		interval("beyond these receivers, about", e.Beyond.IntervalPoints)
	}
	for _, s := range e.Sessions {
		if s.EstimatePoints != nil {
			said := inPoints(signed(*s.EstimatePoints))
			if s.IntervalPoints != nil {
				said += " (" + inPoints(between(s.IntervalPoints)) + ")"
			}
			r.add(fmt.Sprintf("session %d, %s", s.Session, counted(s.Blocks, "block")), said)
		}
	}
	r.add("blocks in which background tells who was listening", fmt.Sprint(e.BlocksKnown))
	r.add("blocks in which over 90\u00a0% heard both arms", fmt.Sprint(e.BlocksSaturated))
	r.add("smallest difference that matters", fmt.Sprintf("%g points", e.SmallestPoints))
}

// kindLines writes the details of these kinds into the text. Receptions, blocks and p stand there already.
func (w *writer) kindLines(e entry) {
	if e.Kind == "heard_by" {
		if s := e.SharesPercent; s != nil && len(e.Arms) == 2 {
			w.wrap("  ", fmt.Sprintf("share that heard %s: %.1f %%; %s: %.1f %%", clean(e.Arms[0]), s[0], clean(e.Arms[1]), s[1]))
		}
		if _, figures := e.sizeWords(); figures != "" {
			w.wrap("  ", "difference: "+strings.ReplaceAll(figures, "\u00a0", " "))
		}
		if e.Beyond != nil && e.Beyond.IntervalPoints != nil {
			w.wrap("  ", "beyond these receivers, about: "+inPoints(between(e.Beyond.IntervalPoints)))
		}
		w.wrap("  ", fmt.Sprintf("blocks in which background tells who was listening: %d; in which over 90 %% heard both arms: %d", e.BlocksKnown, e.BlocksSaturated))
		w.sharesBySession(e)
	}
	if e.Kind == "reciprocity" {
		w.wrap("  ", fmt.Sprintf("do not enter: stations heard in one direction only: %d; heard both ways, power not known: %d", e.OneWay, e.WithoutPower))
	}
}

func (w *writer) sharesBySession(e entry) {
	var parts []string
	for _, s := range e.Sessions {
		if s.EstimatePoints != nil {
			parts = append(parts, fmt.Sprintf("session %d %s", s.Session, inPoints(signed(*s.EstimatePoints))))
		}
	}
	if len(parts) > 0 {
		w.wrap("  ", "by session: "+strings.Join(parts, ", "))
	}
}

// scale draws the intervals that verdicts rest on: differences between arms, shares, and offsets of sent against
// received, each on a scale of its own. What was not tested is not drawn.
func (w *writer) scale(entries []entry) {
	var arms, shares, offsets []entry
	for _, e := range entries {
		switch e.Kind {
		case "heard_by":
			// drawn as any other, in points
			e.SmallestDB, e.EstimateDB, e.IntervalDB = e.SmallestPoints, e.EstimatePoints, e.IntervalPoints
			shares = append(shares, e)
		case "reciprocity":
			offsets = append(offsets, e)
		default:
			arms = append(arms, e)
		}
	}
	w.oneScale("FIRST ARM MINUS SECOND, dB ( : smallest difference that matters )", 20, signed, arms)
	w.oneScale("SHARE OF STATIONS, FIRST ARM MINUS SECOND, percentage points", 100, func(v float64) string { return strings.TrimSuffix(signed(v), " dB") }, shares)
	w.oneScale("SENT MINUS RECEIVED FOR EQUAL POWERS, dB", 40, signed, offsets)
}
