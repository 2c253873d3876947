package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"slices"
	"strings"

	"fairlobe/pipeline"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/internal/locator"
)

// FilePage is the page for people: one file that loads nothing and runs no script.
const FilePage = "report.html"

// Arm is what the page tells of an arm: its name, and a line for each variable that describes it.
type Arm struct {
	Name  string
	Lines []string
}

// Band is a band with its edges in MHz; both 0 if they are not known.
type Band struct {
	Name           string
	FromMHz, ToMHz float64
}

//go:embed page.html.tmpl
var pageTemplate string

//go:embed page.css
var pageStyle string

// view is all that the template shows. Every text in it is clean, and every number one of a table or a count of rows.
type view struct {
	Style           template.CSS
	Title, Question string
	Answers, Added  []answerView // those of sealed claims, and those added later
	AddedNote       string
	ScaleNote       string
	Warned          []warnedView
	Coast           template.HTMLAttr // the coastlines of all maps, as the d of a path; "" without
	Comparisons     []comparisonView
	Sweeps          []sweepFigure
	Sky             []skyView
	Naive           []naiveView
	Details         []detailView
	Arms            []Arm
	Fixed           []string
	Rows            *account.Intake
	Reasons         []reasonView
	QuarantinedRows int64
	Lost            []string
	Late            string // "" if no change was late
	OwnSquare       string
	Log             []string
	LogMore         int
	Cautions        []string
	Repeat          [][2]string
}

type reasonView struct {
	Count  int
	Reason string
}

// page writes report.html.
func (p Params) page(in *pipeline.Input, doc *Document, intake *account.Intake) ([]byte, error) {
	v, err := p.view(in, doc, intake)
	if err != nil {
		return nil, err
	}
	tmpl, err := template.New(FilePage).Parse(pageTemplate)
	if err != nil {
		return nil, fmt.Errorf("reading the template: %w", err)
	}
	var out bytes.Buffer
	if err := tmpl.Execute(&out, v); err != nil {
		return nil, fmt.Errorf("filling the template: %w", err)
	}
	return out.Bytes(), nil
}

func (p Params) view(in *pipeline.Input, doc *Document, intake *account.Intake) (*view, error) {
	entries, err := doc.decode()
	if err != nil {
		return nil, err
	}
	for i := range entries {
		entries[i].clean()
	}
	events, err := logEvents(in.File("trial.json"))
	if err != nil {
		return nil, err
	}
	t := load(in)
	v := &view{
		Style: template.CSS(pageStyle), Title: oneLine(p.Title), Question: oneLine(p.Question),
		AddedNote: addedNote, ScaleNote: scaleNote(entries), Warned: warnedViews(entries),
		Sky: t.skyViews(), Naive: naiveViews(entries), Details: detailViews(entries),
		Fixed: cleanAll(p.Fixed), Rows: intake, QuarantinedRows: in.Table("quarantine").NumRows(), OwnSquare: ownSquare(in),
		Cautions: p.cautions(), Repeat: p.repeatRows(doc),
	}
	for _, a := range answerViews(entries, t) {
		if a.Added {
			v.Added = append(v.Added, a)
		} else {
			v.Answers = append(v.Answers, a)
		}
	}
	for _, a := range p.Arms {
		v.Arms = append(v.Arms, Arm{oneLine(a.Name), cleanAll(a.Lines)})
	}
	for _, reason := range sortedKeys(intake.Reasons) {
		v.Reasons = append(v.Reasons, reasonView{intake.Reasons[reason], clean(reason)})
	}
	if err := p.pictures(v, t, entries); err != nil {
		return nil, err
	}
	lost, late := lostBlocks(newReader(in, "dwells"))
	v.Lost = lost
	if late > 0 {
		v.Late = lateChanges(late)
	}
	for _, e := range events[:min(len(events), mostFromLog)] {
		v.Log = append(v.Log, logLine(e))
	}
	v.LogMore = len(events) - len(v.Log)
	return v, nil
}

// pictures draws what needs the own place and the bands.
func (p Params) pictures(v *view, t *tables, entries []entry) error {
	all := t.comparisons(entries)
	var m atlas
	if p.Locator == "" {
		m = newAtlas(0, 0, false, all)
	} else {
		cell, err := locator.Decode(p.Locator)
		if err != nil {
			return fmt.Errorf("placing the own station: %w", err)
		}
		m = newAtlas(cell.Lat, cell.Lon, true, all)
	}
	coast := ""
	if len(all) > 0 {
		coast = m.coastlines()
	}
	if coast != "" {
		v.Coast = template.HTMLAttr(`d="` + coast + `"`) // numbers and commands of a path only
	}
	for _, c := range all {
		v.Comparisons = append(v.Comparisons, c.view(t, m, coast != ""))
	}
	for i, s := range t.sweepViews(p.Bands, entries) {
		v.Sweeps = append(v.Sweeps, s.figure(fmt.Sprintf("sweep%d", i+1)))
	}
	return nil
}

func (p Params) repeatRows(doc *Document) [][2]string {
	rows := [][2]string{{"command", clean(p.Repeat)}, {"seed", fmt.Sprint(p.Seed)}}
	if doc.Seal != nil {
		rows = append(rows, [2]string{"seal", clean(*doc.Seal)})
		when := "no: that the order was random is the operator's word"
		if doc.SealedBeforeData {
			when = "yes"
		}
		rows = append(rows, [2]string{"sealed before the data, and as it was carried out", when})
	} else {
		rows = append(rows, [2]string{"seal", "none: that the order was random is the operator's word"})
	}
	rows = append(rows, [2]string{"looks at these data and earlier ones", fmt.Sprint(doc.Looks)})
	if p.Form != "" {
		rows = append(rows, [2]string{"form", clean(p.Form)})
	}
	if p.Tool != "" {
		rows = append(rows, [2]string{"made with", clean(p.Tool)})
	}
	return rows
}

// clean takes out of the entry's texts what could mislead a reader's eye.
func (e *entry) clean() {
	for _, s := range []*string{&e.Claim, &e.Kind, &e.Band, &e.Verdict, &e.Reason, e.Evidence, e.Reach, e.Direction} {
		if s != nil {
			*s = oneLine(*s)
		}
	}
	for i := range e.Arms {
		e.Arms[i] = oneLine(e.Arms[i])
	}
	for i := range e.Sweeps {
		s := &e.Sweeps[i]
		s.Arm, s.Sweep, s.Plane = clean(s.Arm), clean(s.Sweep), clean(s.Plane)
	}
	for i := range e.Warnings {
		e.Warnings[i] = warning{clean(e.Warnings[i].Code), clean(e.Warnings[i].Text)}
	}
}

func oneLine(s string) string { return strings.Join(strings.Fields(clean(s)), " ") }

func cleanAll(all []string) []string {
	out := slices.Clone(all)
	for i := range out {
		out[i] = clean(out[i])
	}
	return out
}
