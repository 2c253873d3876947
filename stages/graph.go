// Package stages wires an experiment into a graph of stages. It translates and does not calculate: each stage gets a
// small set of plain values, so that a change of the experiment's title reruns no statistics.
package stages

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fairlobe/experiments"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/stages/dwells"
	"fairlobe/stages/internal/adif"
	"fairlobe/stages/judge"
	"fairlobe/stages/locate"
	"fairlobe/stages/paths"
	"fairlobe/stages/quarantine"
	"fairlobe/stages/reduce"
	"fairlobe/stages/report"
	"fairlobe/stages/schedule"
	"fairlobe/stages/spots"
	"fairlobe/stages/sweeps"
	"fairlobe/stages/trial"
)

// Tables are the outputs that a run writes as tables, in the order in which they are written.
func Tables() []string {
	return []string{"dwells", "spots", "stations", "receptions", "listening", "cells", "paths", "sweeps", "blocks", "differences", "lobes", "fits", "verdicts", "quarantine"}
}

// Documents are the outputs that a run writes beside the tables.
func Documents() []string { return []string{report.FileVerdicts, report.FileText, report.FilePage} }

// Data are the files that an experiment's patterns name at this moment.
type Data struct {
	exp    *experiments.Experiment
	spots  []spotFile
	sweeps []sweepFile
	log    string // the switch log, "" as long as there is none
	late   []int  // lines of the log with a drop entered after the first look
}

type spotFile struct {
	name   string
	number int // of its [[spots]] table
}

type sweepFile struct {
	name   string
	number int
}

// Find lists the files that the patterns of the experiment name. A pattern that names none is no fault: the data may
// not be there yet. A file that lies outside the data folder, through a link, is refused.
func Find(exp *experiments.Experiment) (*Data, error) {
	d := &Data{exp: exp}
	var faults diag.List
	for n, s := range exp.Spots {
		for _, name := range expand(exp, s.Files, fmt.Sprintf("spots[%d].files", n), &faults) {
			d.spots = append(d.spots, spotFile{name, n})
		}
	}
	for n, s := range exp.Sweeps {
		for _, name := range expand(exp, s.Files, fmt.Sprintf("sweeps[%d].files", n), &faults) {
			d.sweeps = append(d.sweeps, sweepFile{name, n})
		}
	}
	if exp.Switches != "" {
		if _, err := fs.Stat(os.DirFS(exp.DataDir), exp.Switches); !errors.Is(err, fs.ErrNotExist) {
			d.log = exp.Switches
		}
	}
	slices.SortFunc(d.spots, func(a, b spotFile) int { return cmp.Or(cmp.Compare(a.name, b.name), cmp.Compare(a.number, b.number)) })
	slices.SortFunc(d.sweeps, func(a, b sweepFile) int { return cmp.Or(cmp.Compare(a.name, b.name), cmp.Compare(a.number, b.number)) })
	return d, faults.Err()
}

// Files gives the names of the files that were found, each once, in the order of their names; log is "" without a switch log.
func (d *Data) Files() (spots, sweeps []string, log string) {
	for _, f := range d.spots {
		spots = append(spots, f.name)
	}
	for _, f := range d.sweeps {
		sweeps = append(sweeps, f.name)
	}
	return slices.Compact(spots), slices.Compact(sweeps), d.log
}

func expand(exp *experiments.Experiment, patterns []string, path string, faults *diag.List) []string {
	var out []string
	for _, pattern := range patterns {
		names, err := fs.Glob(os.DirFS(exp.DataDir), pattern)
		if err != nil {
			*faults = append(*faults, diag.Diag{Pos: exp.Pos(path), Msg: fmt.Sprintf("%q is not a pattern: %v", pattern, err), Mend: `write a name, or a pattern such as "spots/*.adi"`})
			continue
		}
		for _, name := range names {
			if info, err := fs.Stat(os.DirFS(exp.DataDir), name); err == nil && info.IsDir() {
				continue
			}
			if !staysInside(exp.DataDir, name) {
				*faults = append(*faults, diag.Diag{Pos: exp.Pos(path), Msg: fmt.Sprintf("%s leads out of the data folder", name), Mend: "put the file itself into the data folder"})
				continue
			}
			if !slices.Contains(out, name) {
				out = append(out, name)
			}
		}
	}
	return out
}

// staysInside tells whether a file below the folder really lies there, links followed.
func staysInside(dir, name string) bool {
	root, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return false
	}
	real, err := filepath.EvalSymlinks(filepath.Join(dir, filepath.FromSlash(name)))
	if err != nil {
		return true // a link that leads nowhere: reading it will tell
	}
	rel, err := filepath.Rel(root, real)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}

// Plan gives what decides the schedule of an experiment that draws its own.
func Plan(exp *experiments.Experiment) schedule.Plan {
	s := exp.Schedule
	p := schedule.Plan{
		Seed: exp.Seed, Bands: s.Bands, DwellMs: s.Dwell.Milliseconds(), SettleMs: s.Settle.Milliseconds(),
		ArmChangeMs: s.ArmChange.Milliseconds(), BandChangeMs: s.BandChange.Milliseconds(), SlotMs: exp.Fixed.Slot.Milliseconds(),
		Pattern: s.Pattern, Rotate: s.Rotate,
	}
	for _, a := range exp.Arms {
		p.Arms = append(p.Arms, a.Name)
	}
	for _, b := range s.Breaks {
		p.Breaks = append(p.Breaks, schedule.Break{AfterBlock: b.AfterBlock, LengthMs: b.Length.Milliseconds()})
	}
	for _, o := range s.Sessions {
		p.Sessions = append(p.Sessions, schedule.Session{StartMs: o.Start.UnixMilli(), Blocks: o.Blocks})
	}
	return p
}

// Schedule gives the planned dwells: drawn from the seed, or read from the experiment's schedule file.
func Schedule(exp *experiments.Experiment) ([]schedule.Dwell, error) {
	if exp.Schedule.File == "" {
		return schedule.Draw(Plan(exp))
	}
	path := filepath.Join(exp.Dir, filepath.FromSlash(exp.Schedule.File))
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("reading the schedule: %w", err)
	}
	defer f.Close()
	dwells, list := schedule.ReadCSV(f, path, exp.Schedule.Settle.Milliseconds())
	if err := list.Err(); err != nil {
		return nil, err
	}
	return dwells, checkNames(exp, dwells, path)
}

// checkNames holds the arms of a schedule file against those of the experiment.
func checkNames(exp *experiments.Experiment, dwells []schedule.Dwell, file string) error {
	for _, d := range dwells {
		if _, ok := exp.Arm(d.Arm); !ok {
			return diag.List{{Pos: diag.Pos{File: file}, Msg: fmt.Sprintf("the schedule names arm %q, which the experiment does not have", d.Arm),
				Mend: "name the arms alike in both files", Related: []diag.Pos{exp.Pos("arm")}}}
		}
	}
	return nil
}

// Standing is what the seal says, for the judge.
type Standing struct {
	State    judge.SealState
	SealedAt time.Time
	Digest   string
	Added    []string // claims that are not in it
}

// Trial makes the graph from the files to the verdicts. planned are the dwells as Schedule gives them; firstLook is when
// the data were first looked at, zero if they were not.
func (d *Data) Trial(planned []schedule.Dwell, seal Standing, firstLook time.Time) []pipeline.Stage {
	bands := bandsOf(d.exp, planned)
	d.late = d.dropsAfter(firstLook)
	return append(d.Reading(planned),
		locate.Stage(locate.Params{Locator: d.exp.Station.Locator}),
		reduce.Stage(reduce.Params{Seed: d.exp.Seed, SlotMs: d.exp.Fixed.Slot.Milliseconds(), Sends: d.exp.Fixed.Sends}),
		paths.Stage(paths.Params{Locator: d.exp.Station.Locator}),
		judge.Stage(d.judging(planned, bands, seal)))
}

// Reading makes the stages that read all files and set the rows into the dwells, and no more.
func (d *Data) Reading(planned []schedule.Dwell) []pipeline.Stage {
	exp := d.exp
	bands := bandsOf(exp, planned)
	var stages []pipeline.Stage
	if exp.Schedule.File == "" {
		stages = append(stages, trial.Draw(Plan(exp)))
	} else {
		stages = append(stages, trial.Take(trial.Given{File: exp.Schedule.File, SettleMs: exp.Schedule.Settle.Milliseconds()},
			filepath.Join(exp.Dir, filepath.FromSlash(exp.Schedule.File))))
	}
	stages = append(stages, trial.Dwells(d.carried(), filepath.Join(exp.DataDir, filepath.FromSlash(d.log))))
	placing, reading := d.readers(bands)
	stages = append(stages, reading...)
	stages = append(stages, placing)
	measuring := d.analyser()
	refused := []string{sweeps.TableRefused}
	for _, s := range reading {
		refused = append(refused, s.Makes[1].Name)
	}
	slices.Sort(refused)
	return append(stages, measuring, quarantine.Stage(refused))
}

// Answers is the stage that writes the documents. looks counts the runs over different data so far, this one included;
// tool is the program's name and version.
func (d *Data) Answers(planned []schedule.Dwell, seal Standing, looks int, tool string) pipeline.Stage {
	return report.Stage(d.reporting(planned, seal, looks, tool, "fairlobe run "+d.exp.Name+".toml"))
}

// reporting gives the parameters of the report; repeat is the command that makes it again.
func (d *Data) reporting(planned []schedule.Dwell, seal Standing, looks int, tool, repeat string) report.Params {
	exp := d.exp
	p := report.Params{Title: exp.Title, Question: exp.Question, Seal: seal.Digest, SealFits: seal.State == judge.SealSame,
		Looks: looks, Repeat: repeat, Locator: exp.Station.Locator, Seed: exp.Seed, Tool: tool,
		Fixed: append([]string{"mode: " + exp.Fixed.Mode, "sends: " + exp.Fixed.Sends}, experiments.Lines(exp.Fixed.Variables, exp.Fixed.Other)...)}
	for _, arm := range exp.Arms {
		p.Arms = append(p.Arms, report.Arm{Name: arm.Name, Lines: experiments.Lines(arm.Variables, arm.Other)})
	}
	p.EndFed = endFed(exp)
	for _, name := range bandsOf(exp, planned) {
		lo, hi, _ := adif.BandEdges(name)
		p.Bands = append(p.Bands, report.Band{Name: name, FromMHz: lo, ToMHz: hi})
	}
	if !seal.SealedAt.IsZero() {
		p.SealedMs = seal.SealedAt.UnixMilli()
	}
	return p
}

// Cautions are the words on safety for the station of an experiment, as the report shows them.
func Cautions(exp *experiments.Experiment) []string { return report.Cautions(endFed(exp)) }

func endFed(exp *experiments.Experiment) bool {
	for _, arm := range exp.Arms {
		if at, known := exp.Number(arm.Name, "feed_at"); known && (at == 0 || at == 1) {
			return true
		}
	}
	return false
}

func bandsOf(exp *experiments.Experiment, planned []schedule.Dwell) []string {
	if exp.Schedule.File == "" {
		return exp.Schedule.Bands
	}
	var out []string
	for _, d := range planned {
		if !slices.Contains(out, d.Band) {
			out = append(out, d.Band)
		}
	}
	return out
}

func (d *Data) carried() trial.Carried {
	exp := d.exp
	c := trial.Carried{
		SlotMs: exp.Fixed.Slot.Milliseconds(), SettleMs: exp.Schedule.Settle.Milliseconds(), Sends: exp.Fixed.Sends, Log: d.log,
		CheckOrder: exp.Schedule.File != "" && exp.Schedule.Order == "random", LateDrops: d.late,
	}
	for n, s := range exp.Schedule.Sessions {
		for _, arm := range exp.Arms {
			if number, ok := s.Erection[arm.Name]; ok {
				c.Erections = append(c.Erections, trial.Erection{Session: n + 1, Arm: arm.Name, Number: number})
			}
		}
	}
	return c
}

// readers makes one reading stage for each spot file, and the stage that places their rows.
func (d *Data) readers(bands []string) (placing pipeline.Stage, reading []pipeline.Stage) {
	exp := d.exp
	p := spots.Params{Calls: exp.Station.Calls(), Bands: bands, Mode: exp.Fixed.Mode, SlotMs: exp.Fixed.Slot.Milliseconds(), Sends: exp.Fixed.Sends, Control: controlCall(exp)}
	for _, f := range d.spots {
		src := exp.Spots[f.number]
		file := spots.File{Name: f.name, Format: src.Format, SeenFrom: src.SeenFrom, Number: f.number,
			Form: spots.Form{Columns: columns(src.Table), Delimiter: src.Table.Delimiter, Header: src.Table.Header, TimeLayout: src.Table.TimeLayout}}
		reading = append(reading, spots.Read(file, filepath.Join(exp.DataDir, filepath.FromSlash(f.name))))
		p.Files = append(p.Files, spots.Source{Name: f.name, Rows: file.Rows(), Refused: file.Refused(), TimeIs: src.TimeIs, Background: src.Role == "background"})
	}
	return spots.Place(p), reading
}

func columns(t experiments.TableForm) []spots.Column {
	var out []spots.Column
	for name, c := range t.Columns {
		out = append(out, spots.Column{Name: name, Columns: c.Columns, Unit: c.Unit, Value: c.Value})
	}
	slices.SortFunc(out, func(a, b spots.Column) int { return cmp.Compare(a.Name, b.Name) })
	return out
}

func (d *Data) analyser() pipeline.Stage {
	var p sweeps.Params
	var paths []string
	for _, f := range d.sweeps {
		src := d.exp.Sweeps[f.number]
		file := sweeps.File{Name: f.name, Arm: src.Arm, Plane: src.At, Format: src.Format, Delimiter: src.Table.Delimiter, Header: src.Table.Header}
		file.Z0Ohm, file.Feedline = src.Z0Ohm, feedline(d.exp, src.Arm)
		for _, c := range columns(src.Table) {
			file.Columns = append(file.Columns, sweeps.Column(c))
		}
		p.Files = append(p.Files, file)
		paths = append(paths, filepath.Join(d.exp.DataDir, filepath.FromSlash(f.name)))
	}
	return sweeps.Stage(p, paths)
}

// feedline gives an arm's feedline; nil if its length or its loss is not declared.
func feedline(exp *experiments.Experiment, arm string) *sweeps.Feedline {
	length, known := exp.Number(arm, "feedline_length_m")
	a, _ := exp.Arm(arm)
	for _, v := range append(slices.Clone(a.Variables), exp.Fixed.Variables...) {
		if loss, ok := v.Value.(experiments.Loss); ok && known {
			return &sweeps.Feedline{LengthM: length, LossDBPer100m: loss.DB, AtMHz: loss.AtMHz, VelocityFactor: loss.VelocityFactor, Z0Ohm: loss.Z0Ohm}
		}
	}
	return nil
}

// dropsAfter gives the lines of the log with a drop that was entered after the first look. A log that can't be read has
// none: its stage tells what is wrong with it.
func (d *Data) dropsAfter(firstLook time.Time) []int {
	if d.log == "" || firstLook.IsZero() {
		return nil
	}
	f, err := os.Open(filepath.Join(d.exp.DataDir, filepath.FromSlash(d.log)))
	if err != nil {
		return nil
	}
	defer f.Close()
	events, list := dwells.ReadLog(f, d.log)
	if list.Err() != nil {
		return nil
	}
	_, after := dwells.BeforeLook(events, firstLook)
	var lines []int
	for _, e := range after {
		if e.Kind == dwells.Drop {
			lines = append(lines, e.Line)
		}
	}
	return lines
}

func (d *Data) judging(planned []schedule.Dwell, bands []string, seal Standing) judge.Params {
	exp := d.exp
	p := judge.Params{
		SmallestDB: exp.SmallestDB, CutDB: exp.Fixed.CutDB, Seed: exp.Seed, Stopping: exp.Schedule.Stopping, Seal: seal.State,
		OrderFile: exp.Schedule.File != "", OrderRandom: exp.Schedule.Order == "random",
		SharedCoin:     exp.Schedule.File == "" && exp.Schedule.Rotate == "bands within arm" && len(bands) > 1,
		SpotIntervalMs: exp.Schedule.SpotInterval.Milliseconds(), SlotMs: exp.Fixed.Slot.Milliseconds(),
	}
	if !seal.SealedAt.IsZero() {
		p.SealedMs = seal.SealedAt.UnixMilli()
	}
	p.Tuner, p.OneFeedline, p.Control = tuned(exp), oneFeedline(exp), exp.Control != nil
	for _, arm := range exp.Arms {
		if feedline(exp, arm.Name) != nil {
			p.LinesDeclared = append(p.LinesDeclared, arm.Name)
		}
	}
	for _, a := range exp.Arms {
		p.Arms = append(p.Arms, a.Name)
		watts, _ := exp.Number(a.Name, "power_w")
		p.ArmPowersW = append(p.ArmPowersW, watts)
	}
	for _, name := range bands {
		lo, hi, _ := adif.BandEdges(name)
		p.Bands = append(p.Bands, judge.Band{Name: name, FromMHz: lo, ToMHz: hi, Planned: plannedBlocks(planned, name)})
	}
	for _, c := range exp.Claims {
		on := c.Bands
		if len(on) == 0 {
			on = bands
		}
		p.Claims = append(p.Claims, judge.Claim{Name: c.Name, Kind: c.Kind, Arms: c.Arms, Direction: c.Direction, WithinKm: c.WithinKm, Bands: on,
			Added: slices.Contains(seal.Added, c.Name), Shape: c.Shape, TowardDeg: c.TowardDeg, Predicted: c.TowardPredicted, StepDB: c.StepDB, SmallestPoints: c.SmallestPoints, SWRAtMost: c.SWRAtMost, FromMHz: c.FromMHz, ToMHz: c.ToMHz})
	}
	return p
}

// controlCall is the call of the control station, "" without one.
func controlCall(exp *experiments.Experiment) string {
	if exp.Control == nil {
		return ""
	}
	return exp.Control.Call
}

// tuned tells whether a tuner is declared, for all arms or one.
func tuned(exp *experiments.Experiment) bool {
	for _, some := range variablesOf(exp) {
		for _, v := range some {
			if v.Name == "tuner" && v.Value != "none" {
				return true
			}
		}
	}
	return false
}

// oneFeedline tells whether nothing of the feedline is declared arm by arm.
func oneFeedline(exp *experiments.Experiment) bool {
	for _, some := range variablesOf(exp)[1:] {
		for _, v := range some {
			if strings.HasPrefix(v.Name, "feedline_") {
				return false
			}
		}
	}
	return true
}

// variablesOf gives the variables held the same, and then those of each arm.
func variablesOf(exp *experiments.Experiment) [][]experiments.Variable {
	all := [][]experiments.Variable{exp.Fixed.Variables}
	for _, a := range exp.Arms {
		all = append(all, a.Variables)
	}
	return all
}

func plannedBlocks(planned []schedule.Dwell, band string) int {
	type block struct{ session, number int }
	seen := map[block]bool{}
	for _, d := range planned {
		if d.Band == band {
			seen[block{d.Session, d.Block}] = true
		}
	}
	return len(seen)
}
