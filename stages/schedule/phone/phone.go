// Package phone writes a schedule as one HTML page that keeps the trial in the field, on a phone without a network:
// what to connect now, how long until the next change, and a switch log that package dwells reads. Printed, the same
// page is a table with boxes to fill in by pen.
//
// The page loads nothing, sends nothing, and never keys a transmitter. It follows the log by the rules of package
// dwells, so that what it shows is what the analysis will make of it: a start shifts the session to the next slot, a
// pause shifts what follows and drops the block under way, a late switch costs the block's dwells slots. Lines are
// only ever added; a mistake is taken back by a further line that says so, and the page says what the first one still
// does.
//
// Each line is kept twice on the phone at once, under a key drawn from the experiment and the schedule, so that two
// trials do not mix: in IndexedDB with strict durability, and in localStorage. Neither is enough. A browser writes
// localStorage through some seconds late; and Chromium, when it is killed, now and then drops a whole database. So a
// line is called saved when the transaction is complete and localStorage has had the time to be written. Where a browser
// has one of the two only, the page makes do with it; where both are refused, it says that it keeps nothing.
//
// Times are UTC. The phone's clock is corrected by the readings that the operator enters, as package dwells does it.
package phone

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"time"

	"fairlobe/stages/schedule"
)

// Params are what the page needs beside the dwells.
type Params struct {
	// Title is the experiment's, for people.
	Title string
	// Experiment is a digest of the experiment: pages of one experiment and one schedule share their log.
	Experiment string
	// SlotMs and SettleMs are milliseconds, Sends as in package schedule: what the log is judged by.
	SlotMs, SettleMs int64
	Sends            string
	// Cautions are words on safety, a sentence or more each.
	Cautions []string
}

//go:embed phone.html.tmpl
var pageTemplate string

//go:embed phone.css
var pageStyle string

//go:embed phone.js
var pageScript string

// view is all that the template shows.
type view struct {
	Title    string
	Policy   string
	Style    template.CSS
	Script   template.JS
	Plan     plan
	Cautions []string
	Sheets   []sheet
}

// plan is what the script works on. Times are Unix ms.
type plan struct {
	Key      string      `json:"key"`
	SlotMs   int64       `json:"slot_ms"`
	PeriodMs int64       `json:"period_ms"`
	SettleMs int64       `json:"settle_ms"`
	Sends    string      `json:"sends"`
	Dwells   []planDwell `json:"dwells"`
}

type planDwell struct {
	Session   int    `json:"session"`
	Band      string `json:"band"`
	Block     int    `json:"block"`
	Arm       string `json:"arm"`
	Start     int64  `json:"start"`
	SettleEnd int64  `json:"settle_end"`
	End       int64  `json:"end"`
}

// sheet is one session on paper.
type sheet struct {
	Session, Of int
	Start, End  string
	Rows        []row
}

type row struct {
	Block           int
	Band, Arm       string
	Start, End      string
	NewBlock, Stays bool
}

// Write writes the page of the dwells, which must be sorted by start, at least one. The same dwells and Params give
// the same bytes. It gives the errors of w.
func Write(w io.Writer, dwells []schedule.Dwell, p Params) error {
	if len(dwells) == 0 {
		return fmt.Errorf("writing the page: the schedule has no dwell")
	}
	key, err := key(dwells, p)
	if err != nil {
		return err
	}
	v := view{
		Title: p.Title, Style: template.CSS(pageStyle), Script: template.JS(pageScript), Cautions: p.Cautions,
		Policy: fmt.Sprintf("default-src 'none'; script-src %s; style-src %s; base-uri 'none'; form-action 'none'", digest(pageScript), digest(pageStyle)),
		Plan: plan{Key: key, SlotMs: p.SlotMs, PeriodMs: schedule.PeriodMs(p.SlotMs, p.Sends), SettleMs: p.SettleMs, Sends: p.Sends,
			Dwells: planDwells(dwells)},
		Sheets: sheets(dwells),
	}
	tmpl, err := template.New("page").Parse(pageTemplate)
	if err != nil {
		return fmt.Errorf("reading the template: %w", err)
	}
	var out bytes.Buffer
	if err := tmpl.Execute(&out, v); err != nil {
		return fmt.Errorf("filling the template: %w", err)
	}
	if _, err := w.Write(out.Bytes()); err != nil {
		return fmt.Errorf("writing the page: %w", err)
	}
	return nil
}

// key tells trials apart on the phone.
func key(dwells []schedule.Dwell, p Params) (string, error) {
	sum := sha256.New()
	fmt.Fprintf(sum, "%q\n", p.Experiment)
	if err := schedule.WriteCSV(sum, dwells); err != nil {
		return "", err
	}
	return fmt.Sprintf("%x", sum.Sum(nil)[:16]), nil
}

// digest is the source expression of an inline script or style (Content Security Policy Level 3, 2.3.1).
func digest(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

func planDwells(dwells []schedule.Dwell) []planDwell {
	out := make([]planDwell, len(dwells))
	for i, d := range dwells {
		out[i] = planDwell{Session: d.Session, Band: d.Band, Block: d.Block, Arm: d.Arm,
			Start: d.Start.UnixMilli(), SettleEnd: d.SettleEnd.UnixMilli(), End: d.End.UnixMilli()}
	}
	return out
}

func sheets(dwells []schedule.Dwell) []sheet {
	var out []sheet
	for i, d := range dwells {
		first := i == 0 || dwells[i-1].Session != d.Session
		if first {
			out = append(out, sheet{Session: d.Session, Start: d.Start.UTC().Format("2006-01-02 15:04:05Z")})
		}
		s := &out[len(out)-1]
		s.End = d.End.UTC().Format("2006-01-02 15:04:05Z")
		s.Rows = append(s.Rows, row{
			Block: d.Block, Band: d.Band, Arm: d.Arm, Start: d.Start.UTC().Format(time.TimeOnly), End: d.End.UTC().Format(time.TimeOnly),
			NewBlock: first || dwells[i-1].Block != d.Block,
			Stays:    !first && dwells[i-1].Arm == d.Arm,
		})
	}
	for i := range out {
		out[i].Of = len(out)
	}
	return out
}
