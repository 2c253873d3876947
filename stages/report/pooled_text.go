package report

import (
	"bytes"
	"fmt"
	"strings"

	"fairlobe/stages/pooling"
)

// PooledText writes a pool as plain text: the answers, which are what a screen shows, and the whole.
func PooledText(doc *pooling.Document, command string) (answers, whole []byte) {
	w := &writer{}
	title := pooledTitle(doc) + ", pooled"
	w.wrap("", title)
	w.line("%s", strings.Repeat("=", min(pageWidth, len([]rune(title)))))
	w.wrap("", pooledFrom(doc))
	w.line("")
	w.line("ANSWERS")
	w.line("")
	w.wrap("", pooledAnswer(doc))
	for i := range doc.Claims {
		c := &doc.Claims[i]
		w.line("")
		w.wrap("", fmt.Sprintf("%s: %s", claimHeading(c), strings.ToUpper(oneLine(c.Verdict))))
		w.wrap("  ", oneLine(c.Reason))
		if said := nextWords(c); said != "" {
			w.wrap("  ", plain(said))
		}
		if len(doc.Studies) > 1 { // of a single one the reason stands there already
			w.pooledLeftOut(c)
		}
	}
	w.line("")
	w.pooledScale(doc)
	warned := newPooledView(doc, command).Warned
	for _, one := range warned {
		of := ""
		if len(one.Of) > 0 && !one.All {
			of = "; with: " + strings.Join(one.Of, "; ")
		}
		w.wrap("! ", fmt.Sprintf("%s (%s%s)", one.Text, one.Code, of))
	}
	if len(warned) > 0 {
		w.line("")
	}
	answers = bytes.Clone(w.Bytes())
	w.line("THE FIGURES")
	for i := range doc.Claims {
		w.pooledClaim(&doc.Claims[i])
	}
	w.line("")
	if len(doc.Alone) > 0 {
		w.line("ASKED BY ONE BUNDLE ONLY")
		w.line("")
		for _, a := range doc.Alone {
			w.wrap("  ", oneLine(fmt.Sprintf("%s: %s, %s (%s): %s; %s", a.Label, a.Claim, a.Band, a.Kind, a.Verdict, a.Reason)))
		}
		w.line("")
	}
	w.line("THE BUNDLES")
	for i := range doc.Studies {
		s := newPooledStudy(doc, i)
		w.line("")
		w.wrap("", s.Label)
		w.pairs(s.Rows)
	}
	w.line("")
	w.line("CAUTIONS")
	w.line("")
	for _, c := range Cautions(false) {
		w.wrap("  ", c)
	}
	w.line("")
	w.line("TO REPEAT")
	w.line("")
	w.line("  %s", oneLine(command))
	return answers, w.Bytes()
}

// mostToldOut is how many bundles that do not enter a screen tells one by one; the figures below tell all.
const mostToldOut = 3

// pooledLeftOut says beside an answer who has no part in it: a verdict over fewer operators than there are bundles is else a riddle.
func (w *writer) pooledLeftOut(c *pooling.ClaimEntry) {
	if c.Verdict == pooling.Counted {
		return
	}
	if n := len(c.LeftOut); n > mostToldOut {
		w.wrap("  ", fmt.Sprintf("%d bundles do not enter; report.txt has the reason of each.", n))
		return
	}
	for _, l := range c.LeftOut {
		w.wrap("  ", oneLine(fmt.Sprintf("Does not enter: %s: %s", l.Label, l.Reason)))
	}
}

// plain takes out what only a page can do.
func plain(s string) string { return strings.ReplaceAll(s, "\u00a0", " ") }

func (w *writer) pairs(all [][2]string) {
	for _, r := range all {
		w.wrap("  ", plain(r[0]+": "+r[1]))
	}
}

// pooledScale draws the pooled intervals on one scale, as those of a single trial are.
func (w *writer) pooledScale(doc *pooling.Document) {
	var all []entry
	for _, c := range doc.Claims {
		if c.Interval != nil && c.Kind != "directivity" && c.Unit == "dB" {
			all = append(all, entry{Claim: c.Claim, Band: c.Band, Kind: c.Kind, P: c.P, EstimateDB: c.Estimate,
				IntervalDB: &[2]*float64{&c.Interval[0], &c.Interval[1]}, SmallestDB: c.Smallest})
		}
	}
	w.oneScale("POOLED: FIRST ARM MINUS SECOND, dB ( : smallest difference that matters )", 20, signed, all)
}

func (w *writer) pooledClaim(c *pooling.ClaimEntry) {
	v := newPooledClaim(c, 0)
	w.line("")
	w.wrap("", fmt.Sprintf("%s (%s: %s)", v.Heading, oneLine(c.Kind), v.Of))
	for _, r := range v.Rows {
		indent := "  "
		if r.Under {
			indent = "      "
		}
		said := fmt.Sprintf("%s: %s, 95 %%: %s", r.Name, r.Size, r.Interval)
		if r.Size == "-" {
			said = fmt.Sprintf("%s: %s", r.Name, r.Interval)
		}
		if v.Directivity && r.Direction != "-" {
			said += "; direction: " + r.Direction
		}
		if r.Weight != "-" && !r.Under {
			said += "; weight " + r.Weight
		}
		if r.Verdict != "-" {
			said += "; " + r.Verdict
		}
		w.wrap(indent, plain(said))
	}
	for _, s := range v.Spread {
		w.wrap("  ", plain(s))
	}
	w.pairs(v.Facts)
	for _, o := range v.Without {
		w.wrap("  ", plain(fmt.Sprintf("without %s: %s (%s), %s", o.What, o.Size, o.Interval, o.Verdict)))
	}
	for _, o := range v.Parts {
		w.wrap("  ", plain(fmt.Sprintf("%s (operators: %s): %s (%s), %s", o.What, o.N, o.Size, o.Interval, o.Verdict)))
	}
	for _, l := range v.LeftOut {
		said := "does not enter: "
		if c.Verdict == pooling.Counted {
			said = ""
		}
		w.wrap("  ", fmt.Sprintf("%s%s (%s): %s", said, l.Label, l.Verdict, l.Reason))
	}
}
