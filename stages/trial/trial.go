// Package trial makes the stages that turn the plan into what was carried out: the schedule, drawn from the seed or
// read from a file, and the dwells, moved and dropped by the switch log.
//
// The rules stand in packages schedule and dwells; here they meet the tables.
package trial

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/table"
	"fairlobe/stages/dwells"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/schedule"
)

// Names of the stages' outputs.
const (
	FileSchedule = "schedule.csv"
	TableDwells  = "dwells"
	FileTrial    = "trial.json"
)

// Draw makes the stage that draws the schedule from the seed.
func Draw(p schedule.Plan) pipeline.Stage {
	return pipeline.Stage{
		Name: "schedule", Version: 1, Params: p, Makes: []pipeline.Output{{Name: FileSchedule}},
		Run: func(context.Context, *pipeline.Input) (*pipeline.Result, error) {
			planned, err := schedule.Draw(p)
			if err != nil {
				return nil, err
			}
			return asFile(planned)
		},
	}
}

// Given are the parameters of a schedule that comes from a file.
type Given struct {
	File     string
	SettleMs int64
}

// Take makes the stage that reads the schedule from a file, found at path.
func Take(p Given, path string) pipeline.Stage {
	return pipeline.Stage{
		Name: "schedule", Version: 1, Params: p,
		Sources: []pipeline.Source{{Name: p.File, Path: path}},
		Makes:   []pipeline.Output{{Name: FileSchedule}},
		Run: func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) {
			src, err := in.Open(p.File)
			if err != nil {
				return nil, err
			}
			defer src.Close()
			planned, list := schedule.ReadCSV(src, p.File, p.SettleMs)
			if err := list.Err(); err != nil {
				return nil, err
			}
			return asFile(planned)
		},
	}
}

func asFile(planned []schedule.Dwell) (*pipeline.Result, error) {
	var out bytes.Buffer
	if err := schedule.WriteCSV(&out, planned); err != nil {
		return nil, err
	}
	return &pipeline.Result{Files: map[string][]byte{FileSchedule: out.Bytes()}}, nil
}

// Carried are the parameters of the stage of the dwells.
type Carried struct {
	SlotMs, SettleMs int64
	Sends            string
	Log              string // name of the switch log, "" without one
	// Erections gives, for each session in order, the number of each arm's putting-up. A missing arm has the number 1:
	// what nobody declared must not make a verdict stronger.
	Erections  []Erection
	CheckOrder bool // the order comes from a file and is said to be random
	// LateDrops are the lines of the log with a drop that was entered after the first look at the data.
	LateDrops []int
}

// Erection is one putting-up of one arm in one session.
type Erection struct {
	Session int
	Arm     string
	Number  int
}

// Dwells makes the stage of the dwells; path is where the log lies.
func Dwells(p Carried, path string) pipeline.Stage {
	s := pipeline.Stage{
		Name: "dwells", Version: 5, Params: p, Needs: []string{FileSchedule},
		Makes: []pipeline.Output{{Name: TableDwells, Schema: datasets.Dwells()}, {Name: FileTrial}},
		Run:   func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) { return p.run(in) },
	}
	if p.Log != "" {
		s.Sources = []pipeline.Source{{Name: p.Log, Path: path}}
	}
	return s
}

func (p Carried) run(in *pipeline.Input) (*pipeline.Result, error) {
	planned, list := schedule.ReadCSV(bytes.NewReader(in.File(FileSchedule)), FileSchedule, p.SettleMs)
	if err := list.Err(); err != nil {
		return nil, err
	}
	if err := schedule.CheckSlots(planned, p.SlotMs, p.Sends, diag.Pos{File: FileSchedule}).Err(); err != nil {
		return nil, err
	}
	events, err := p.events(in)
	if err != nil {
		return nil, err
	}
	out, late, notes := p.apply(planned, events)
	if err := notes.Err(); err != nil {
		return nil, err
	}
	told := p.facts(planned, out, notes)
	told.Late = late
	facts, err := json.Marshal(told)
	if err != nil {
		return nil, err
	}
	return &pipeline.Result{
		Tables: map[string]arrow.Record{TableDwells: p.encode(out)},
		Files:  map[string][]byte{FileTrial: facts},
		Notes:  notes,
	}, nil
}

func (p Carried) events(in *pipeline.Input) ([]dwells.Event, error) {
	if p.Log == "" {
		return nil, nil
	}
	src, err := in.Open(p.Log)
	if err != nil {
		return nil, err
	}
	defer src.Close()
	events, list := dwells.ReadLog(src, p.Log)
	return events, list.Err()
}

// lastEvent is the time up to which the log speaks: later dwells can't be confirmed yet.
func lastEvent(events []dwells.Event) int64 {
	var last time.Time
	for _, e := range events {
		if e.Time.After(last) {
			last = e.Time
		}
	}
	if last.IsZero() {
		return 0
	}
	return last.UnixMilli()
}

func (p Carried) encode(out dwells.Outcome) arrow.Record {
	b := table.NewBuilder(datasets.Dwells())
	for _, d := range sortedByStart(out.Dwells) {
		var reason *string
		if d.Reason != "" {
			reason = &d.Reason
		}
		slots := 0
		if d.Kept {
			slots = schedule.CountOwn(d.Dwell, p.SlotMs, p.Sends)
		}
		b.Append(d.Session, d.Band, d.Block, d.Position, d.Arm, p.erection(d.Session, d.Arm), d.Start, d.SettleEnd, d.End,
			slots, d.Kept, reason, d.LateS, d.Confirmed)
	}
	return b.Record()
}

// sortedByStart puts the dwells into the order of the table: shifts and pauses may have moved them.
func sortedByStart(all []dwells.Applied) []dwells.Applied {
	out := slices.Clone(all)
	slices.SortStableFunc(out, func(a, b dwells.Applied) int {
		return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.Session, b.Session), cmp.Compare(a.Band, b.Band),
			cmp.Compare(a.Block, b.Block), cmp.Compare(a.Position, b.Position))
	})
	return out
}

func (p Carried) erection(session int, arm string) int {
	for _, e := range p.Erections {
		if e.Session == session && e.Arm == arm {
			return e.Number
		}
	}
	return 1
}

// facts gathers what the judge needs to know of the log.
func (p Carried) facts(planned []schedule.Dwell, out dwells.Outcome, notes diag.List) account.Trial {
	t := account.Trial{Ended: out.Ended, EndedEarly: out.EndedEarly, Losses: losses(out), Warnings: []account.Warning{}}
	numbers := map[string]map[int]bool{}
	for _, d := range planned {
		if numbers[d.Arm] == nil {
			numbers[d.Arm] = map[int]bool{}
		}
		numbers[d.Arm][p.erection(d.Session, d.Arm)] = true
	}
	for _, n := range numbers {
		t.OneErection = t.OneErection || len(n) < 2
	}
	if p.CheckOrder {
		if regular, why := schedule.PlainlyRegular(planned); regular {
			t.PlainlyRegular = why
		}
	}
	t.Warnings = append(condense(notes), p.lateSwitches(out.Dwells)...)
	t.Events = noted(out.Notes)
	return t
}

// noted passes on what the log notes.
func noted(notes []dwells.Event) []account.LogEvent {
	var out []account.LogEvent
	for _, n := range notes {
		e := account.LogEvent{Kind: n.Kind, Time: n.Time.UTC(), Session: n.Session, Band: n.Band, Block: n.Block, Arm: n.Arm, Note: n.Note}
		if n.HasValue {
			e.Value = &n.Value
		}
		out = append(out, e)
	}
	return out
}

// condense makes one warning of each kind of finding: the first, and how many more there are. Those of late changes are
// left out: lateSwitches tells them by band.
func condense(notes diag.List) []account.Warning {
	out := []account.Warning{}
	index, count := map[string]int{}, map[string]int{}
	for _, n := range notes {
		if n.Code == "" || n.Severity != diag.Warning || n.Code == dwells.CodeLateSwitch {
			continue
		}
		if count[n.Code]++; count[n.Code] == 1 {
			index[n.Code] = len(out)
			out = append(out, account.Warning{Code: n.Code, Text: n.Msg})
		}
	}
	for code, n := range count {
		if n > 1 {
			out[index[code]].Text += fmt.Sprintf(" (and %d more like it)", n-1)
		}
	}
	return out
}
