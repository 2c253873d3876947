package report

import (
	"fmt"
	"strconv"
	"strings"
)

func (w *writer) details(entries []entry) {
	w.line("HOW SURE")
	for _, e := range entries {
		w.line("")
		w.wrap("", fmt.Sprintf("%s, %s (%s: %s)", clean(e.Claim), clean(e.Band), e.Kind, clean(e.armsWords())))
		switch e.Kind {
		case "match":
			w.sweeps(e)
			w.list(e.repeatabilityRows())
		default:
			w.line("  evidence: %s; reach: %s", orDash(e.Evidence), orDash(e.Reach))
			w.line("  blocks: %d of %d, dropped: %d; stations: %d; receptions: %d", e.Blocks, e.BlocksPlanned, e.BlocksDropped, e.Stations, e.Receptions)
			w.difference(e)
			w.kindLines(e)
			w.list(e.besideRows())
			w.lobe(e)
			w.chances(e)
			w.sessions(e)
		}
		for _, warning := range e.Warnings {
			w.wrap("  ! ", fmt.Sprintf("%s (%s)", clean(warning.Text), clean(warning.Code)))
		}
	}
	w.line("")
}

// difference writes the estimate and its intervals.
func (w *writer) difference(e entry) {
	if e.EstimateDB == nil && e.IntervalDB == nil && e.RunningDB == nil || !e.plainSize() {
		w.allRound(e)
		return
	}
	size := "no size can be told"
	if e.EstimateDB != nil {
		size = signed(*e.EstimateDB)
	}
	text := "difference: " + size
	if e.Kind == "reciprocity" {
		text = "sent minus received, for equal powers: " + size
	}
	switch {
	case e.IntervalDB != nil && e.P == nil && (e.Kind != "repeat" || e.Verdict == "refused"):
		text += "; described, not tested: " + between(e.IntervalDB)
	case e.IntervalDB != nil:
		text += "; 95 %, for this question alone: " + between(e.IntervalDB)
	case e.RunningDB != nil:
		text += "; so far, however often one looks: " + between(e.RunningDB)
	}
	w.wrap("  ", text)
	if e.Beyond != nil && e.Beyond.IntervalDB != nil {
		w.wrap("  ", "beyond these receivers, about: "+between(e.Beyond.IntervalDB))
	}
	w.allRound(e)
}

func (w *writer) allRound(e entry) {
	if e.AllRound != nil {
		w.line("  all-round value: %s", signed(*e.AllRound))
	}
}

// lobe writes what a directivity claim adds.
func (w *writer) lobe(e entry) {
	if l := e.Lobe; l != nil && l.AmplitudeDB != nil {
		w.wrap("  ", fmt.Sprintf("lobe over the receivers heard: %.2f dB; 95 %%: %s", *l.AmplitudeDB, strings.ReplaceAll(between(l.AmplitudeIn), "+", "")))
	}
	if l := e.Lobe; l != nil && l.TowardIn != nil && l.TowardDeg != nil {
		w.wrap("  ", "its direction: "+lobeDirection(l.Harmonic, *l.TowardDeg, *l.TowardIn))
	}
	if f := e.FrontToBack; f != nil && f.EstimateDB != nil {
		text := fmt.Sprintf("toward %g degrees less the other way: %s", f.AxisDeg, signed(*f.EstimateDB))
		if f.IntervalDB != nil {
			text += "; " + between(f.IntervalDB)
		}
		w.wrap("  ", text)
	}
	for _, s := range e.Sectors {
		if s.EstimateDB != nil {
			w.line("  %3.0f to %3.0f degrees: %s, stations: %d", s.FromDeg, s.ToDeg, signed(*s.EstimateDB), s.Stations)
		}
	}
}

// chances writes the p values.
func (w *writer) chances(e entry) {
	if e.PGate1 != nil {
		w.line("  gate 1, stations differ: p = %s; gate 2, by azimuth: p = %s", number(e.PGate1), number(e.PGate2))
	}
	if e.P != nil {
		text := "p = " + number(e.P)
		if e.FamilySize != nil {
			text += fmt.Sprintf("; corrected for %s: %s", questions(*e.FamilySize), number(e.PAdjusted))
		}
		w.wrap("  ", text)
	}
	if e.PRunning != nil && e.Kind == "directivity" {
		w.line("  gate 1 alone, however often one looks: p = %s", number(e.PRunning))
	} else if e.PRunning != nil {
		w.line("  p that holds however often one looks: %s", number(e.PRunning))
	}
	for _, n := range e.naive() {
		w.wrap("  ", fmt.Sprintf("misleading: p = %s, by a %s", n.P, n.Reading))
	}
}

func questions(n int) string {
	if n == 1 {
		return "1 question"
	}
	return fmt.Sprintf("%d questions", n)
}

func (w *writer) sessions(e entry) {
	var parts []string
	for _, s := range e.Sessions {
		if s.EstimateDB != nil {
			parts = append(parts, fmt.Sprintf("session %d %s", s.Session, signed(*s.EstimateDB)))
		}
	}
	if len(parts) > 0 {
		w.wrap("  ", "by session: "+strings.Join(parts, ", "))
	}
}

func (w *writer) sweeps(e entry) {
	for _, s := range e.Sweeps {
		swr := "beyond measure"
		if s.HighestSWR != nil {
			swr = fmt.Sprintf("%g", *s.HighestSWR)
		}
		w.wrap("  ", fmt.Sprintf("%s, %s: highest SWR %s%s, at %g MHz, of %s", clean(s.Arm), clean(s.Sweep), swr, s.against(), *s.FrequencyMHz, counted(s.Readings, "reading")))
	}
}

func signed(v float64) string {
	return strings.Replace(fmt.Sprintf("%+.2f dB", v), "-", "\u2212", 1)
}

// between writes an interval; an end without bound is said in words.
func between(i *[2]*float64) string {
	switch {
	case i == nil || i[0] == nil && i[1] == nil:
		return "no bound on either side"
	case i[0] == nil:
		return signed(*i[1]) + " or less"
	case i[1] == nil:
		return signed(*i[0]) + " or more"
	}
	return strings.TrimSuffix(signed(*i[0]), " dB") + " to " + signed(*i[1])
}

func orDash(s *string) string {
	if s == nil {
		return "-"
	}
	return *s
}

// leastP stands for all smaller p values too.
const leastP = 1e-6

// number writes a p value with the digits that it has.
func number(v *float64) string {
	switch {
	case v == nil:
		return "-"
	case *v <= leastP:
		return "0.000001 or less"
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}
