package report

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode"

	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
)

// entry is the part of a verdict that the text shows.
type entry struct {
	Claim, Kind, Band, Verdict, Reason string
	Arms                               []string
	Evidence, Reach                    *string
	ReasonCode                         string       `json:"reason_code"`
	SmallestDB                         float64      `json:"smallest_difference_db"`
	EstimateDB                         *float64     `json:"estimate_db"`
	IntervalDB                         *[2]*float64 `json:"interval_db"`
	P                                  *float64
	PAdjusted                          *float64 `json:"p_adjusted"`
	FamilySize                         *int     `json:"family_size"`
	PRunning                           *float64 `json:"p_running"`
	Naive                              *struct {
		SpotTP *float64 `json:"spot_t_p"`
	}
	Blocks        int
	BlocksPlanned int `json:"blocks_planned"`
	Stations      int
	Receptions    int
	Warnings      []struct{ Code, Text string }
	Sessions      []struct {
		Session    int
		Blocks     int
		EstimateDB *float64 `json:"estimate_db"`
	}
}

const (
	pageWidth  = 78
	scaleWidth = 41 // characters of the dB scale, odd so that zero has one of its own
)

// text writes report.txt: the answers first, then how sure they are, then where the rows went. The answers alone are
// what a screen shows.
func (p Params) text(in *pipeline.Input, doc *Document, intake *account.Intake) (answers, page []byte, err error) {
	entries, err := doc.decode()
	if err != nil {
		return nil, nil, err
	}
	w := &writer{}
	w.line("%s", clean(p.Title))
	w.line("%s", strings.Repeat("=", min(pageWidth, len([]rune(clean(p.Title))))))
	if p.Question != "" {
		w.wrap("", clean(p.Question))
	}
	w.line("")
	w.answers(entries)
	w.scale(entries)
	answers = bytes.Clone(w.Bytes())
	w.details(entries)
	w.rows(intake, int(in.Table("quarantine").NumRows()))
	w.blocks(table.NewReader(in.Table("dwells")))
	w.cautions()
	w.repeat(p, doc)
	return answers, w.Bytes(), nil
}

type writer struct{ bytes.Buffer }

func (w *writer) line(format string, args ...any) {
	fmt.Fprintf(w, format, args...)
	w.WriteByte('\n')
}

// wrap writes a paragraph within the page's width, its later lines indented like the first.
func (w *writer) wrap(indent, text string) {
	line, n := indent, len(indent)
	for i, word := range strings.Fields(text) {
		size := len([]rune(word))
		if i > 0 && n+1+size > pageWidth {
			w.line("%s", line)
			line, n = indent, len(indent)
		} else if i > 0 {
			line, n = line+" ", n+1
		}
		line, n = line+word, n+size
	}
	w.line("%s", line)
}

// clean takes control characters out of text from files, so that it can't steer a terminal.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
			return ' '
		}
		return r
	}, s)
}

func (w *writer) answers(entries []entry) {
	w.line("ANSWERS")
	for _, e := range entries {
		w.line("")
		w.line("%s, %s: %s", clean(e.Claim), e.Band, strings.ToUpper(e.Verdict))
		w.wrap("  ", clean(e.Reason))
	}
	if len(entries) == 0 {
		w.line("")
		w.line("  The experiment declares no claim.")
	}
	w.line("")
}

// scale draws the intervals of level claims on one scale of dB, beside the difference that matters.
func (w *writer) scale(entries []entry) {
	var some []entry
	reach := 0.0
	for _, e := range entries {
		if e.Kind == "directivity" || e.Kind == "match" || e.IntervalDB == nil || e.EstimateDB == nil {
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
	reach = min(reach, 20)
	w.line("FIRST ARM MINUS SECOND, dB ( : smallest difference that matters )")
	w.line("")
	left := fmt.Sprintf("%.1f", -reach)
	w.line("  %-26s %s%s%.1f", "", strings.Replace(left, "-", "\u2212", 1), strings.Repeat(" ", scaleWidth-len(left)-3), reach)
	for _, e := range some {
		w.line("  %-26s %s %s", short(clean(e.Claim)+", "+e.Band, 26), bar(e, reach), signed(*e.EstimateDB))
	}
	w.line("")
}

func abs(v float64) float64 { return max(v, -v) }

func short(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "\u2026"
}

// bar draws one interval: [ and ] are its ends, < and > an end off the scale or without bound, o the estimate.
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
	for i := from; i <= to; i++ {
		cells[i] = '-'
	}
	cells[at(0)] = '|'
	cells[at(e.SmallestDB)], cells[at(-e.SmallestDB)] = ':', ':'
	cells[from], cells[to] = open, closing
	cells[at(*e.EstimateDB)] = 'o'
	return string(cells)
}

func signed(v float64) string {
	s := fmt.Sprintf("%+.2f dB", v)
	return strings.Replace(s, "-", "\u2212", 1)
}

func (w *writer) details(entries []entry) {
	w.line("HOW SURE")
	for _, e := range entries {
		w.line("")
		w.line("%s, %s (%s: %s)", clean(e.Claim), e.Band, e.Kind, clean(strings.Join(e.Arms, " against ")))
		if e.Kind == "match" {
			w.warnings(e)
			continue
		}
		w.line("  evidence: %s; reach: %s", orDash(e.Evidence), orDash(e.Reach))
		w.line("  blocks: %d of %d; stations: %d; receptions: %d", e.Blocks, e.BlocksPlanned, e.Stations, e.Receptions)
		if e.P != nil {
			text := "  p = " + number(e.P)
			if e.FamilySize != nil {
				text += fmt.Sprintf("; corrected for %d questions: %s", *e.FamilySize, number(e.PAdjusted))
			}
			w.line("%s", text)
		}
		if e.PRunning != nil {
			w.line("  p that holds however often one looks: %s", number(e.PRunning))
		}
		if len(e.Sessions) > 1 {
			var parts []string
			for _, s := range e.Sessions {
				if s.EstimateDB != nil {
					parts = append(parts, fmt.Sprintf("session %d %s", s.Session, signed(*s.EstimateDB)))
				}
			}
			if len(parts) > 0 {
				w.line("  by session: %s", strings.Join(parts, ", "))
			}
		}
		if e.Naive != nil && e.Naive.SpotTP != nil {
			w.line("  misleading: a t test over single spots would say p = %s", number(e.Naive.SpotTP))
		}
		w.warnings(e)
	}
	w.line("")
}

func (w *writer) warnings(e entry) {
	for _, warning := range e.Warnings {
		w.wrap("  ! ", fmt.Sprintf("%s (%s)", clean(warning.Text), warning.Code))
	}
}

func orDash(s *string) string {
	if s == nil {
		return "-"
	}
	return *s
}

func number(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.4g", *v)
}

func (w *writer) rows(i *account.Intake, quarantined int) {
	w.line("WHERE THE ROWS WENT")
	w.line("")
	w.line("  read %d = used %d + merged %d + out of scope %d + quarantined %d", i.Read, i.Used, i.Merged, i.OutOfScope, i.Quarantined)
	for _, reason := range slices.Sorted(maps.Keys(i.Reasons)) {
		w.line("  %8d  %s", i.Reasons[reason], reason)
	}
	if i.Clashes > 0 {
		w.line("  %8d  merged reports told another SNR; the greatest is kept", i.Clashes)
	}
	if quarantined > 0 {
		w.line("  each quarantined row stands in tables/quarantine with its line and reason")
	}
	w.line("")
}

// blocks lists the blocks that do not count.
func (w *writer) blocks(r *table.Reader) {
	type block struct {
		session, number int64
		band, reason    string
	}
	var lost []block
	late := 0
	for r.Next() {
		if r.Float("late_s") > 0 {
			late++
		}
		if r.Bool("kept") {
			continue
		}
		b := block{session: r.Int("session"), number: r.Int("block"), band: r.Str("band")}
		if !r.Null("reason") {
			b.reason = r.Str("reason")
		}
		if !slices.Contains(lost, b) {
			lost = append(lost, b)
		}
	}
	w.line("BLOCKS THAT DO NOT COUNT")
	w.line("")
	for _, b := range lost {
		w.wrap("  ", fmt.Sprintf("session %d, %s, block %d: %s", b.session, b.band, b.number, clean(b.reason)))
	}
	if len(lost) == 0 {
		w.line("  none")
	}
	if late > 0 {
		w.line("  late changes, by the log: %d dwells, shortened alike with the others of their blocks", late)
	}
	w.line("")
}

func (w *writer) cautions() {
	w.line("CAUTIONS")
	w.line("")
	w.wrap("  ", "Keep masts, wires and guys so far from power lines that nothing can touch them, falling any way. Leave when you hear thunder. The ends of a wire carry high voltage on transmit, even at a few watts: keep them out of reach. Keep people away from the antenna on transmit as your rules on RF exposure ask. Mark wires and guys where people walk.")
	w.wrap("  ", "Local codes, the land owner and the terms of your licence come first: identification, power, bands, and who must be at the station. fairlobe does not say that something is safe or allowed, and never keys a transmitter.")
	w.line("")
}

func (w *writer) repeat(p Params, doc *Document) {
	w.line("TO REPEAT")
	w.line("")
	w.line("  %s", clean(p.Repeat))
	if doc.Seal != nil {
		w.line("  %s", *doc.Seal)
	}
	w.line("  looks at these data and earlier ones: %d", doc.Looks)
}
