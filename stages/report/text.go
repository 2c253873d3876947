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
	w.cautions(p)
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
		if !e.AddedAfterSeal {
			w.answer(e)
		}
	}
	if len(entries) == 0 {
		w.line("")
		w.line("  The experiment declares no claim.")
	}
	w.line("")
	if !slices.ContainsFunc(entries, addedAfterSeal) {
		return
	}
	w.line("ADDED AFTER THE SEAL")
	w.line("")
	w.wrap("  ", addedNote)
	for _, e := range entries {
		if e.AddedAfterSeal {
			w.answer(e)
		}
	}
	w.line("")
}

// addedNote stands over the claims that are not in the seal.
const addedNote = "Exploratory: these claims may have been thought of because of the data. What they show is a question for a new trial, sealed beforehand."

func addedAfterSeal(e entry) bool { return e.AddedAfterSeal }

func (w *writer) answer(e entry) {
	w.line("")
	w.wrap("", fmt.Sprintf("%s, %s: %s", clean(e.Claim), clean(e.Band), strings.ToUpper(e.Verdict)))
	w.wrap("  ", clean(e.Reason))
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
	said := ownSquare(in)
	if said == "" {
		return
	}
	w.line("IN THE OWN SQUARE")
	w.line("")
	w.wrap("  ", said)
	w.line("")
}

// blocks lists the blocks that do not count.
func (w *writer) blocks(r *table.Reader) {
	lost, late := lostBlocks(r)
	w.line("BLOCKS THAT DO NOT COUNT")
	w.line("")
	for _, b := range lost {
		w.wrap("  ", b)
	}
	if len(lost) == 0 {
		w.line("  none")
	}
	if late > 0 {
		w.wrap("  ", "late changes, "+lateChanges(late))
	}
	w.line("")
}

func (w *writer) cautions(p Params) {
	w.line("CAUTIONS")
	w.line("")
	for _, c := range p.cautions() {
		w.wrap("  ", c)
	}
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
