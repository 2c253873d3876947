package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"math"

	"fairlobe/stages/pooling"
)

//go:embed pooled.html.tmpl
var pooledTemplate string

//go:embed pooled.css
var pooledStyle string

// pooledView is all that the template of a pool shows. Every text in it is clean.
type pooledView struct {
	Style        template.CSS
	Title        string
	From, Answer string
	Answers      []answerView
	ScaleNote    string
	Warned       []warnedView
	Claims       []pooledClaim
	Alone        []pooling.AloneEntry
	Studies      []pooledStudy
	Cautions     []string
	Repeat       [][2]string
}

// pooledClaim is one question with its figures.
type pooledClaim struct {
	ID, Heading, Of string
	Forest          template.HTML
	ForestNote      string
	Rose            template.HTML // of a directivity claim
	RoseNote        string
	Directivity     bool
	Rows            []pooledRow
	Spread          []string // sentences on how much places differ
	Facts           [][2]string
	Without         []otherRow
	Parts           []otherRow
	LeftOut         []pooling.LeftOutEntry
	LeftOutHead     string
}

// pooledRow is a line of the table of figures.
type pooledRow struct {
	Name, Size, Interval, Weight, Direction, Basis, Verdict string
	Under                                                   bool // an experiment of the operator above
}

type otherRow struct{ What, N, Size, Interval, Verdict string }

type pooledStudy struct {
	Label string
	Rows  [][2]string
}

// PooledPage writes the page of a pool: one file that loads nothing and runs no script.
func PooledPage(doc *pooling.Document, command string) ([]byte, error) {
	tmpl, err := template.New("page").Parse(pageTemplate) // it has the template of an answer
	if err != nil {
		return nil, fmt.Errorf("reading the page's template: %w", err)
	}
	if tmpl, err = tmpl.New("pooled").Parse(pooledTemplate); err != nil {
		return nil, fmt.Errorf("reading the pool's template: %w", err)
	}
	var out bytes.Buffer
	if err := tmpl.Execute(&out, newPooledView(doc, command)); err != nil {
		return nil, fmt.Errorf("filling the pool's template: %w", err)
	}
	return out.Bytes(), nil
}

func newPooledView(doc *pooling.Document, command string) *pooledView {
	v := &pooledView{Style: template.CSS(pageStyle + pooledStyle), Title: pooledTitle(doc), From: pooledFrom(doc), Answer: pooledAnswer(doc), Cautions: Cautions(false),
		Repeat: [][2]string{{"command", oneLine(command)}, {"made with", oneLine(doc.Tool)}}}
	reach := pooledReach(doc)
	for i := range doc.Claims {
		c := &doc.Claims[i]
		v.Answers = append(v.Answers, pooledAnswerView(c, i, reach))
		v.Claims = append(v.Claims, newPooledClaim(c, i))
		for _, w := range c.Warnings {
			v.warn(w, claimHeading(c))
		}
	}
	for i := range v.Warned {
		v.Warned[i].All = len(doc.Claims) > 1 && len(v.Warned[i].Of) == len(doc.Claims)
	}
	for _, w := range doc.Warnings {
		v.warn(w, "")
	}
	for _, a := range v.Answers {
		if a.Strip != "" {
			v.ScaleNote = "All strips share one scale of dB. Diamond: the pooled estimate; bar: its 95\u00a0% interval, an arrow where it leaves the scale. Shaded: differences that do not matter. The thick upright line is zero. Of a lobe its size is shown, which is never below zero."
		}
	}
	for _, a := range doc.Alone {
		v.Alone = append(v.Alone, pooling.AloneEntry{Label: oneLine(a.Label), Claim: oneLine(a.Claim), Kind: oneLine(a.Kind), Band: oneLine(a.Band), Verdict: oneLine(a.Verdict), Reason: oneLine(a.Reason)})
	}
	for i := range doc.Studies {
		v.Studies = append(v.Studies, newPooledStudy(doc, i))
	}
	return v
}

// warn gives each warning once, with the questions that it goes with.
func (v *pooledView) warn(w pooling.Warning, heading string) {
	for i := range v.Warned {
		if v.Warned[i].Code == w.Code && v.Warned[i].Text == oneLine(w.Text) {
			v.Warned[i].Of = append(v.Warned[i].Of, heading)
			return
		}
	}
	one := warnedView{Code: oneLine(w.Code), Text: oneLine(w.Text)}
	if heading != "" {
		one.Of = []string{heading}
	}
	v.Warned = append(v.Warned, one)
}

// pooledReach is the end of the scale that the strips share.
func pooledReach(doc *pooling.Document) float64 {
	reach := 0.0
	for i := range doc.Claims {
		if c := &doc.Claims[i]; c.Interval != nil && c.Unit == "dB" {
			reach = max(reach, 1.5*c.Smallest, 1.1*math.Abs(c.Interval[0]), 1.1*math.Abs(c.Interval[1]))
		}
	}
	return roundUp(reach, 1, 2, 3, 4, 5, 6, 8, 10, 12, 16, 20)
}

func pooledAnswerView(c *pooling.ClaimEntry, i int, reach float64) answerView {
	a := answerView{ID: entryID(i), Heading: claimHeading(c), Verdict: oneLine(c.Verdict), Class: verdictClass(c.Verdict), Glyph: glyph(c.Verdict),
		Sentence: sentence(oneLine(c.Reason)), Sure: pooledSure(c), Warnings: len(c.Warnings)}
	if c.Verdict == pooling.Counted {
		a.Glyph = ""
	}
	if c.Interval == nil {
		return a
	}
	a.StripOf, a.Figures = "pooled "+sizeOf(c), sized(c, *c.Estimate)+", 95\u00a0%: "+ranged(c, c.Interval)
	if c.Unit == "dB" {
		s := strip{lowDB: &c.Interval[0], highDB: &c.Interval[1], estimateDB: *c.Estimate, smallestDB: c.Smallest, what: a.StripOf}
		a.Strip = s.draw(a.ID+"s", a.Heading, reach)
	}
	return a
}

func newPooledClaim(c *pooling.ClaimEntry, i int) pooledClaim {
	v := pooledClaim{ID: fmt.Sprintf("question%d", i+1), Heading: claimHeading(c), Of: sizeOf(c), Directivity: c.Kind == "directivity", LeftOutHead: "Who does not enter, and why"}
	if c.Verdict == pooling.Counted {
		v.LeftOutHead = "What each found"
	}
	if len(c.Studies) > 0 {
		v.Forest = newForest(c).draw(v.ID + "f")
		v.ForestNote = forestNote(c)
	}
	if v.Rose = drawRose(v.ID+"r", c); v.Rose != "" {
		v.RoseNote = fmt.Sprintf("The lobes as vectors, up is %s. Squares: the operators, larger for more weight; diamond: pooled. The farther out, the larger the lobe; within the dashed ring it does not matter.", frameUp(c.Directivity.Frame))
	}
	for n, p := range c.Studies {
		v.Rows = append(v.Rows, partRow(c, p, fmt.Sprintf("%d. ", n+1), false))
		for _, part := range p.Parts {
			v.Rows = append(v.Rows, partRow(c, part, "", true))
		}
	}
	v.Rows = append(v.Rows, pooledRows(c)...)
	said := []string{nextWords(c), spreadWords(c)}
	if c.Directivity != nil {
		said = append(said, frameNote(c.Directivity))
	}
	for _, s := range said {
		if s != "" {
			v.Spread = append(v.Spread, s)
		}
	}
	v.Facts = pooledFacts(c)
	v.Without, v.Parts = otherRows(c, c.WithoutOne), otherRows(c, c.Sensitivity)
	for _, l := range c.LeftOut {
		v.LeftOut = append(v.LeftOut, pooling.LeftOutEntry{Label: oneLine(l.Label), Verdict: oneLine(l.Verdict), Reason: oneLine(l.Reason)})
	}
	return v
}

func forestNote(c *pooling.ClaimEntry) string {
	said := "Squares: the operators, larger for more weight, with the interval of each; the weight stands at the right."
	if c.Kind == "directivity" {
		said += " It comes from the lobe as a vector, as pooling needs it, and may differ from the one that the operator's own report gives."
	}
	if c.Interval != nil {
		said += " Diamond: the pooled interval, highest at the estimate."
		if c.Guarded != nil && *c.Guarded != *c.Interval {
			said += " Thin bar through it: the guarded interval."
		}
	}
	if c.Prediction != nil {
		said += " Dashed, with brackets: where the next operator may land."
	}
	return said + fmt.Sprintf(" Shaded: differences under %g %s, which do not matter. An arrow leaves the scale.", c.Smallest, c.Unit)
}

func partRow(c *pooling.ClaimEntry, p pooling.PartEntry, number string, under bool) pooledRow {
	r := pooledRow{Name: number + oneLine(p.Label), Size: sized(c, p.Estimate), Interval: ranged(c, &p.Interval), Weight: fmt.Sprintf("%.1f\u00a0%%", p.Weight),
		Basis: counted(p.Blocks, "block") + ", " + counted(p.Stations, "station"), Verdict: "-", Under: under}
	if under {
		r.Weight = "in the line above"
	}
	if p.Verdict != nil {
		r.Verdict = oneLine(*p.Verdict)
	}
	if len(p.Lobes) > 0 {
		r.Direction = lobeWhere(p.Lobes[0])
	}
	return r
}

// pooledRows are the lines below the operators'.
func pooledRows(c *pooling.ClaimEntry) []pooledRow {
	if c.Interval == nil {
		return nil
	}
	row := func(name string, estimate *float64, i *[2]float64, verdict string) pooledRow {
		r := pooledRow{Name: name, Size: "-", Interval: ranged(c, i), Weight: "-", Direction: "-", Basis: counted(c.Operators, "operator"), Verdict: verdict}
		if estimate != nil {
			r.Size = sized(c, *estimate)
		}
		return r
	}
	if d := c.Directivity; d != nil {
		var out []pooledRow
		for _, l := range d.Lobes {
			name := "pooled"
			if len(d.Lobes) > 1 {
				name = fmt.Sprintf("pooled, harmonic %d", l.Harmonic)
			}
			r := row(name, &l.AmplitudeDB, &l.AmplitudeIn, oneLine(c.Verdict))
			r.Direction = lobeWhere(l)
			out = append(out, r)
		}
		return out
	}
	out := []pooledRow{row("pooled (REML, Knapp-Hartung)", c.Estimate, c.Interval, oneLine(c.Verdict)),
		row("the same, guarded (factor never below 1)", c.Estimate, c.Guarded, "-")}
	if m := c.Moments; m != nil {
		out = append(out, row("beside it: DerSimonian-Laird", &m.Estimate, &m.Interval, "-"))
	}
	if c.Prediction != nil {
		out = append(out, row("the next operator", nil, c.Prediction, "-"))
	}
	return out
}

// pooledFacts are further figures for sceptics.
func pooledFacts(c *pooling.ClaimEntry) [][2]string {
	var r rows
	r.add("p, guarded", someNumber(c.P))
	r.add("p of Knapp and Hartung alone", someNumber(c.PPlain))
	if c.FamilySize != nil {
		r.add("p, corrected for "+questions(*c.FamilySize), someNumber(c.PAdjusted))
	}
	if h := c.Heterogeneity; h != nil {
		r.add("tau\u00b2, REML", fmt.Sprint(h.Tau2))
		if h.H2 != nil {
			r.add("H\u00b2", fmt.Sprint(*h.H2))
		}
	}
	if m := c.Moments; m != nil {
		r.add("tau\u00b2, DerSimonian-Laird", fmt.Sprint(m.Tau2))
	}
	if d := c.Directivity; d != nil {
		for _, l := range d.Lobes {
			r.add(fmt.Sprintf("harmonic %d, cosine and sine", l.Harmonic), fmt.Sprintf("%s, %s", signed(l.CosDB), signed(l.SinDB)))
		}
		if f := d.FrontToBack; f != nil {
			r.add("front to back, along the axis that each operator named", fmt.Sprintf("%s (%s), %s", signed(*f.Estimate), frontRange(f), counted(f.Operators, "operator")))
		}
	}
	if c.Verdict != pooling.Counted {
		r.add("smallest difference that matters", fmt.Sprintf("%g %s", c.Smallest, c.Unit))
	}
	return r
}

func frontRange(f *pooling.FrontToBackEntry) string {
	return between(&[2]*float64{&f.Interval[0], &f.Interval[1]}) + "; guarded " + between(&[2]*float64{&f.Guarded[0], &f.Guarded[1]})
}

func otherRows(c *pooling.ClaimEntry, all []pooling.OtherEntry) []otherRow {
	var out []otherRow
	for _, o := range all {
		r := otherRow{What: oneLine(o.What), N: fmt.Sprint(o.Operators), Size: "-", Interval: "-", Verdict: oneLine(o.Verdict)}
		if o.Interval != nil {
			r.Size, r.Interval = sized(c, *o.Estimate), ranged(c, o.Interval)
		}
		out = append(out, r)
	}
	return out
}

func newPooledStudy(doc *pooling.Document, i int) pooledStudy {
	s := &doc.Studies[i]
	seal := sealWords(s)
	if s.Seal != nil {
		seal += ": " + oneLine(*s.Seal)
	}
	return pooledStudy{Label: oneLine(s.Label), Rows: [][2]string{{"experiment", oneLine(s.Title)}, {"operator", oneLine(s.Operator)}, {"repeat", repeatWords(doc, s.Origin)},
		{"seal", seal}, {"looks", fmt.Sprint(s.Looks)}, {"identity", oneLine(s.Identity)}}}
}
