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
	"fairlobe/stages/internal/station"
)

const pageWidth = 78

// text writes report.txt: the answers first, then how sure they are, then where the rows went. The answers alone are
// what a screen shows.
func (p Params) text(in *pipeline.Input, doc *Document, intake *account.Intake) (answers, page []byte, err error) {
	entries, err := doc.decode()
	if err != nil {
		return nil, nil, err
	}
	w := &writer{}
	title := strings.Join(strings.Fields(clean(p.Title)), " ")
	w.wrap("", title)
	w.line("%s", strings.Repeat("=", min(pageWidth, len([]rune(title)))))
	if p.Question != "" {
		w.wrap("", clean(p.Question))
	}
	w.line("")
	w.answers(entries)
	w.scale(entries)
	answers = bytes.Clone(w.Bytes())
	w.details(entries)
	w.rows(intake, int(in.Table("quarantine").NumRows()))
	w.ownSquare(in)
	w.blocks(table.NewReader(in.Table("dwells")))
	if err := w.log(in.File("trial.json")); err != nil {
		return nil, nil, err
	}
	w.cautions()
	w.repeat(p, doc)
	return answers, w.Bytes(), nil
}

type writer struct{ bytes.Buffer }

func (w *writer) line(format string, args ...any) {
	fmt.Fprintf(w, format, args...)
	w.WriteByte('\n')
}

// wrap writes a paragraph within the page's width: its first line begins with first, the others with as many spaces.
// A word that is wider than the page is cut.
func (w *writer) wrap(first, text string) {
	line := []rune(first)
	begun := len(line) // where the text of this line begins
	rest := strings.Repeat(" ", begun)
	for _, word := range strings.Fields(text) {
		letters := []rune(word)
		if len(line) > begun && len(line)+1+len(letters) > pageWidth {
			w.line("%s", string(line))
			line = []rune(rest)
		} else if len(line) > begun {
			line = append(line, ' ')
		}
		for len(line)+len(letters) > pageWidth {
			room := pageWidth - len(line)
			w.line("%s", string(append(line, letters[:room]...)))
			line, letters = []rune(rest), letters[room:]
		}
		line = append(line, letters...)
	}
	w.line("%s", strings.TrimRight(string(line), " "))
}

// clean takes out of text from files what could steer a terminal or break a line.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp, unicode.Co) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}

func (w *writer) answers(entries []entry) {
	w.line("ANSWERS")
	for _, e := range entries {
		w.line("")
		w.wrap("", fmt.Sprintf("%s, %s: %s", clean(e.Claim), clean(e.Band), strings.ToUpper(e.Verdict)))
		w.wrap("  ", clean(e.Reason))
	}
	if len(entries) == 0 {
		w.line("")
		w.line("  The experiment declares no claim.")
	}
	w.line("")
}

func (w *writer) rows(i *account.Intake, quarantined int) {
	w.line("WHERE THE ROWS WENT")
	w.line("")
	w.line("  read %d = used %d + merged %d + out of scope %d + quarantined %d", i.Read, i.Used, i.Merged, i.OutOfScope, i.Quarantined)
	for _, reason := range slices.Sorted(maps.Keys(i.Reasons)) {
		w.wrap(fmt.Sprintf("  %8d  ", i.Reasons[reason]), clean(reason))
	}
	if i.Clashes > 0 {
		w.line("  %8d  merged reports told another SNR; the greatest is kept", i.Clashes)
	}
	if quarantined > 0 {
		w.line("  each quarantined row stands in tables/quarantine with its line and reason")
	}
	w.line("")
}

// ownSquare shows apart the stations in the own station's square: they hear by ground wave, and are in no verdict.
func (w *writer) ownSquare(in *pipeline.Input) {
	near := map[int64]bool{}
	for r := table.NewReader(in.Table("stations")); r.Next(); {
		if r.Str("region") == station.RegionOwnSquare {
			near[r.Int("number")] = true
		}
	}
	if len(near) == 0 {
		return
	}
	receptions := int64(0)
	for r := table.NewReader(in.Table("cells")); r.Next(); {
		if near[r.Int("station")] {
			receptions += r.Int("receptions")
		}
	}
	w.line("IN THE OWN SQUARE")
	w.line("")
	w.wrap("  ", fmt.Sprintf("%d stations stand in the square of this one, with %d of the rows used. They are shown apart and enter no verdict: at so short a distance the wave takes another way.", len(near), receptions))
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
		w.wrap("  ", fmt.Sprintf("session %d, %s, block %d: %s", b.session, clean(b.band), b.number, clean(b.reason)))
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
	w.line("  %s", clean(p.Repeat)) // a command is not cut, however wide it is
	if doc.Seal != nil {
		w.wrap("  ", clean(*doc.Seal))
	}
	w.line("  looks at these data and earlier ones: %d", doc.Looks)
}
