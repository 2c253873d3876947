package report

import (
	"fmt"
	"html/template"
	"slices"
	"strings"
)

// answerView is one claim on one band, as the top of the page tells it.
type answerView struct {
	ID, Heading string
	Verdict     string
	Class       string // for the style of its edge
	Glyph       template.HTML
	Sentence    string
	Strip       template.HTML // "" where no interval was tested, or it is not one of dB between arms
	StripOf     string
	Figures     string // the interval in words
	Sure        []string
	Warnings    int
	Added       bool // after the seal
}

func entryID(i int) string { return fmt.Sprintf("claim%d", i+1) }

func (e *entry) heading() string { return e.Claim + ", " + e.Band }

func answerViews(entries []entry, t *tables) []answerView {
	reach := scaleReach(entries)
	var out []answerView
	for i := range entries {
		e := &entries[i]
		a := answerView{ID: entryID(i), Heading: e.heading(), Verdict: e.Verdict, Class: verdictClass(e.Verdict),
			Glyph: glyph(e.Verdict), Sentence: sentence(e.Reason), Sure: e.sure(), Warnings: len(e.Warnings), Added: e.AddedAfterSeal}
		if s, ok := stripOf(e); ok {
			a.Strip, a.StripOf = s.draw(a.ID+"s", e.heading(), reach), s.what
			a.Figures = signed(s.estimateDB) + ", 95\u00a0%: " + between(&[2]*float64{s.lowDB, s.highDB})
			if e.Kind == "directivity" {
				a.Figures = strings.ReplaceAll(a.Figures, "+", "")
			}
		} else {
			a.StripOf, a.Figures = e.sizeWords()
		}
		out = append(out, a)
	}
	return out
}

// verdictClass names the style of a verdict's edge; "" for the plain one.
func verdictClass(verdict string) string {
	switch verdict {
	case "practically the same":
		return "same"
	case "undecided", "refused":
		return verdict
	}
	return ""
}

// sentence ends a text as a sentence.
func sentence(s string) string {
	if s == "" || strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}

// sure says on what the verdict rests.
func (e *entry) sure() []string {
	if e.Kind == "match" {
		var out []string
		for _, s := range e.Sweeps {
			out = append(out, s.words())
		}
		return out
	}
	out := []string{"evidence: " + orDash(e.Evidence)}
	if e.Reach != nil {
		said := "reach: these receivers only"
		if *e.Reach == "beyond" {
			said = "reach: also beyond these receivers"
		}
		out = append(out, said)
	}
	return append(out, fmt.Sprintf("n: %s, %s, %d of %s", counted(e.Stations, "station"), counted(e.Receptions, "reception"), e.Blocks, counted(e.BlocksPlanned, "block")))
}

func (s sweepEntry) words() string {
	where := s.Arm + ", at the " + orWord(s.Plane, "radio")
	if s.HighestSWR == nil || s.FrequencyMHz == nil {
		return fmt.Sprintf("%s: SWR beyond measure, %s", where, counted(s.Readings, "reading"))
	}
	said := fmt.Sprintf("%s: highest SWR %.2f%s, at %g MHz, %s", where, *s.HighestSWR, s.against(), *s.FrequencyMHz, counted(s.Readings, "reading"))
	if s.AtRadio != nil && s.Plane != "radio" {
		said += fmt.Sprintf("; %.2f at the radio", *s.AtRadio)
	}
	return said
}

func orWord(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

// scaleNote explains the strips; "" if there are none.
func scaleNote(entries []entry) string {
	for i := range entries {
		if s, ok := stripOf(&entries[i]); ok {
			return fmt.Sprintf("All strips share one scale of dB. Diamond: the estimate; bar: its 95\u00a0%% interval, an arrow where it has no end or leaves the scale; dashed bar: so far, the trial is not over. Shaded: differences under %g dB, which do not matter. The thick upright line is zero. Of a lobe its size is shown, which is never below zero.", s.smallestDB)
		}
	}
	return ""
}

// warnedView is a warning with the verdicts that it goes with.
type warnedView struct {
	Code, Text string
	Of         []string
	All        bool // it goes with every verdict
}

// warnedViews gives each warning once, in the order in which they come up.
func warnedViews(entries []entry) []warnedView {
	var out []warnedView
	for i := range entries {
		for _, w := range entries[i].Warnings {
			k := slices.IndexFunc(out, func(v warnedView) bool { return v.Code == w.Code && v.Text == w.Text })
			if k < 0 {
				k = len(out)
				out = append(out, warnedView{Code: w.Code, Text: w.Text})
			}
			out[k].Of = append(out[k].Of, entries[i].heading())
		}
	}
	for k := range out {
		out[k].All = len(entries) > 1 && len(out[k].Of) == len(entries)
	}
	return out
}

// naiveView is one reading that ignores the design.
type naiveView struct{ Heading, Verdict, Reading, P string }

func naiveViews(entries []entry) []naiveView {
	var out []naiveView
	for i := range entries {
		out = append(out, entries[i].naive()...)
	}
	return out
}

func (e *entry) naive() []naiveView {
	if e.Naive == nil {
		return nil
	}
	var out []naiveView
	if p := e.Naive.SpotTP; p != nil {
		out = append(out, naiveView{e.heading(), e.Verdict, naiveSpotT, number(p)})
	}
	if p := e.Naive.UniformBearings; p != nil {
		out = append(out, naiveView{e.heading(), e.Verdict, naiveBearings, number(p)})
	}
	return out
}

// detailView is what a sceptic may want to know of a verdict.
type detailView struct {
	Heading string
	Rows    [][2]string
}

func detailViews(entries []entry) []detailView {
	var out []detailView
	for i := range entries {
		e := &entries[i]
		d := detailView{Heading: e.heading(), Rows: [][2]string{{"kind", e.Kind}, {"arms", e.armsWords()}, {"verdict", e.Verdict}, {"code of the reason", clean(e.ReasonCode)}}}
		if e.Kind == "match" {
			for _, s := range e.Sweeps {
				d.Rows = append(d.Rows, [2]string{s.Sweep, s.words()})
			}
			d.Rows = append(d.Rows, e.repeatabilityRows()...)
		} else {
			d.Rows = append(d.Rows, e.sizeRows()...)
			d.Rows = append(d.Rows, e.kindRows()...)
			d.Rows = append(d.Rows, e.besideRows()...)
			d.Rows = append(d.Rows, e.lobeRows()...)
			d.Rows = append(d.Rows, e.chanceRows()...)
			d.Rows = append(d.Rows, e.countRows()...)
		}
		for _, w := range e.Warnings {
			d.Rows = append(d.Rows, [2]string{"warning " + w.Code, w.Text})
		}
		out = append(out, d)
	}
	return out
}

// rows collects lines of a list; a line without a value is left out.
type rows [][2]string

func (r *rows) add(name, value string) {
	if value != "" {
		*r = append(*r, [2]string{name, value})
	}
}

func (r *rows) interval(name string, i *[2]*float64) {
	if i != nil {
		r.add(name, between(i))
	}
}

func (e *entry) sizeRows() rows {
	var r rows
	if e.EstimateDB != nil && e.plainSize() {
		what := difference(e.Arms)
		if e.Kind == "reciprocity" {
			what = "sent minus received, for equal powers"
		}
		r.add(what, signed(*e.EstimateDB))
	}
	name := "95\u00a0% interval, for this question alone"
	if e.P == nil {
		name = "interval, described and not tested"
	}
	r.interval(name, e.IntervalDB)
	r.interval("interval that holds however often one looks", e.RunningDB)
	if e.Beyond != nil {
		r.interval("beyond these receivers, about", e.Beyond.IntervalDB)
		r.add("p beyond these receivers", someNumber(e.Beyond.P))
		if e.Beyond.Regions != nil {
			r.add("effective regions", fmt.Sprintf("%.1f", *e.Beyond.Regions))
		}
	}
	if e.AllRound != nil {
		r.add("all-round value", signed(*e.AllRound))
	}
	for _, s := range e.Sessions {
		if s.EstimateDB != nil {
			said := signed(*s.EstimateDB)
			if s.IntervalDB != nil {
				said += " (" + between(s.IntervalDB) + ")"
			}
			r.add(fmt.Sprintf("session %d, %s", s.Session, counted(s.Blocks, "block")), said)
		}
	}
	return r
}

func (e *entry) lobeRows() rows {
	var r rows
	if l := e.Lobe; l != nil && l.AmplitudeDB != nil {
		r.add("size of the lobe over the receivers heard", fmt.Sprintf("%.2f dB", *l.AmplitudeDB))
		if l.AmplitudeIn != nil {
			r.add("its 95\u00a0% interval", strings.ReplaceAll(between(l.AmplitudeIn), "+", ""))
		}
	}
	if l := e.Lobe; l != nil && l.SwingHighDB != nil {
		r.add("any direction differs from the all-round value by at most", fmt.Sprintf("%.2f dB", *l.SwingHighDB))
	}
	if l := e.Lobe; l != nil && l.TowardIn != nil && l.TowardDeg != nil {
		r.add("its direction", lobeDirection(l.Harmonic, *l.TowardDeg, *l.TowardIn))
	}
	if f := e.FrontToBack; f != nil && f.EstimateDB != nil {
		said := signed(*f.EstimateDB)
		if f.IntervalDB != nil {
			said += " (" + between(f.IntervalDB) + ")"
		}
		r.add(fmt.Sprintf("toward %g degrees less the other way", f.AxisDeg), said)
	}
	return r
}

func (e *entry) chanceRows() rows {
	var r rows
	r.add("p of gate 1, stations differ", someNumber(e.PGate1))
	r.add("p of gate 2, by azimuth", someNumber(e.PGate2))
	r.add("p", someNumber(e.P))
	if e.FamilySize != nil {
		r.add("p, corrected for "+questions(*e.FamilySize), someNumber(e.PAdjusted))
	}
	r.add("p that holds however often one looks", someNumber(e.PRunning))
	return r
}

func (e *entry) countRows() rows {
	var r rows
	r.add("blocks", fmt.Sprintf("%d of %d, dropped: %d", e.Blocks, e.BlocksPlanned, e.BlocksDropped))
	if e.BlocksNeeded != nil {
		r.add("blocks that a new trial would need", fmt.Sprint(*e.BlocksNeeded))
	}
	r.add("stations", fmt.Sprint(e.Stations))
	r.add("regions", fmt.Sprint(e.Regions))
	r.add("receptions", fmt.Sprint(e.Receptions))
	for _, sector := range e.Sectors {
		if len(e.Arms) == 1 {
			r.add(fmt.Sprintf("stations from %g to %g degrees", sector.FromDeg, sector.ToDeg), fmt.Sprint(sector.Stations))
		}
	}
	if e.Kind != "heard_by" {
		r.add("smallest difference that matters", fmt.Sprintf("%g dB", e.SmallestDB))
	}
	return r
}

func someNumber(v *float64) string {
	if v == nil {
		return ""
	}
	return number(v)
}
