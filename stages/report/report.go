// Package report writes the answers: verdicts.json for machines, report.txt and report.html for people.
//
// The page is one file that loads nothing and runs no script. Texts of files are cleaned and escaped on their way into it;
// pictures are SVG, drawn here.
//
// It calculates nothing: each number is one that a table or an account holds.
package report

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
)

// Names of the stage's outputs.
const (
	FileVerdicts = "verdicts.json"
	FileText     = "report.txt"
	FileAnswers  = "answers.txt" // the first part of the report, for the screen
)

// Params are the stage's parameters.
type Params struct {
	Title    string
	Question string
	Seal     string // "sha256:...", "" without a seal
	// SealFits: the experiment is what was sealed. SealedMs is when, Unix time in ms.
	SealFits bool
	SealedMs int64
	Looks    int
	// Repeat is the command that makes the outputs again.
	Repeat string

	// EndFed: a wire is fed at an end, which is at high voltage.
	EndFed bool
	// Safety are further cautions, a sentence or more each.
	Safety []string

	// What follows is for the page only.

	// Locator is the own place, the middle of the maps; "" if it is not known.
	Locator string
	Arms    []Arm
	Fixed   []string // a line for each variable that is held the same
	Bands   []Band
	Seed    uint64
	Tool    string // name and version of the program, "" if they are not to be shown
	// Form says in words in what the data were changed before they were handed over; "" if they were not.
	Form string
}

// Document is verdicts.json.
type Document struct {
	Format           int               `json:"format"`
	Experiment       string            `json:"experiment"`
	Seal             *string           `json:"seal"`
	SealedBeforeData bool              `json:"sealed_before_data"`
	Looks            int               `json:"looks"`
	Rows             Rows              `json:"rows"`
	Claims           []json.RawMessage `json:"claims"`
}

// Rows says where the rows of the spot files went.
type Rows struct {
	Read        int `json:"read"`
	Used        int `json:"used"`
	Merged      int `json:"merged"`
	OutOfScope  int `json:"out_of_scope"`
	Quarantined int `json:"quarantined"`
}

// Stage makes the stage.
func Stage(p Params) pipeline.Stage {
	return pipeline.Stage{
		Name: "report", Version: 9, Params: p,
		Needs: []string{"blocks", "cells", "differences", "dwells", "intake.json", "lobes", "paths", "quarantine", "stations", "sweeps", "trial.json", "verdicts"},
		Makes: []pipeline.Output{{Name: FileVerdicts}, {Name: FileText}, {Name: FileAnswers}, {Name: FilePage}},
		Run: func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) {
			doc, intake, err := p.document(in)
			if err != nil {
				return nil, err
			}
			text, err := json.MarshalIndent(doc, "", "  ")
			if err != nil {
				return nil, fmt.Errorf("writing %s: %w", FileVerdicts, err)
			}
			answers, plain, err := p.text(in, doc, intake)
			if err != nil {
				return nil, fmt.Errorf("writing %s: %w", FileText, err)
			}
			page, err := p.page(in, doc, intake)
			if err != nil {
				return nil, fmt.Errorf("writing %s: %w", FilePage, err)
			}
			return &pipeline.Result{Files: map[string][]byte{FileVerdicts: append(text, '\n'), FileText: plain, FileAnswers: answers, FilePage: page}}, nil
		},
	}
}

func (p Params) document(in *pipeline.Input) (*Document, *account.Intake, error) {
	var intake account.Intake
	if err := json.Unmarshal(in.File("intake.json"), &intake); err != nil {
		return nil, nil, fmt.Errorf("reading intake.json: %w", err)
	}
	doc := &Document{Format: 1, Experiment: p.Title, Looks: p.Looks, Claims: []json.RawMessage{},
		Rows: Rows{intake.Read, intake.Used, intake.Merged, intake.OutOfScope, intake.Quarantined}}
	if p.Seal != "" {
		doc.Seal = &p.Seal
	}
	for r := table.NewReader(in.Table("verdicts")); r.Next(); {
		doc.Claims = append(doc.Claims, json.RawMessage(r.Str("detail")))
	}
	doc.SealedBeforeData = p.sealedInTime(in.Table("dwells"))
	return doc, &intake, nil
}

// sealedInTime tells whether the seal was made before the first dwell.
func (p Params) sealedInTime(dwells arrow.Record) bool {
	r := table.NewReader(dwells)
	return p.Seal != "" && p.SealFits && r.Next() && p.SealedMs < r.Time("start").UnixMilli()
}

// decode reads the entries in the form in which people are told of them.
func (d *Document) decode() ([]entry, error) {
	out := make([]entry, len(d.Claims))
	for i, raw := range d.Claims {
		if err := json.NewDecoder(bytes.NewReader(raw)).Decode(&out[i]); err != nil {
			return nil, err
		}
	}
	return out, nil
}
