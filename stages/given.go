package stages

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"fairlobe/experiments"
	"fairlobe/pipeline"
	"fairlobe/pipeline/store"
	"fairlobe/pipeline/table"
	"fairlobe/stages/handover"
	"fairlobe/stages/judge"
	"fairlobe/stages/locate"
	"fairlobe/stages/paths"
	"fairlobe/stages/quarantine"
	"fairlobe/stages/reduce"
	"fairlobe/stages/report"
	"fairlobe/stages/schedule"
	"fairlobe/stages/sweeps"
	"fairlobe/stages/trial"
)

// Given is a trial of which tables and accounts are there, in the form in which they leave the house, and no spot file:
// what stands in a bundle. Judge and report run over it as at home.
//
// A bundle is verified with Again: each file that it makes must be there, byte for byte. What can be made again: schedule.csv,
// verdicts.json, report.html, and of the tables that the judge makes (verdicts, blocks, differences, lobes ...) both files each, and
// the CSV of the tables that are given, from their Parquet files. Since nothing is left out of verdicts.json and the tables that it
// rests on, the identity of the bundle is confirmed by its own manifest (bag.Open has checked it) together with this comparison.
type Given struct {
	// Experiment is the experiment in its private form.
	Experiment *experiments.Experiment
	Planned    []schedule.Dwell
	Standing   handover.Standing
	// Tables are those that the judge does not make, by name; Release gives them back.
	Tables map[string]arrow.Record
	// Accounts are trial.json and intake.json.
	Accounts map[string][]byte
}

// SharedTables are the tables that leave the house, in the order in which they are written. Rows as they stand in files
// (spots, quarantine) stay there.
func SharedTables() []string {
	var out []string
	for _, name := range Tables() {
		switch name {
		case "spots", quarantine.Table:
		case reduce.TableReceptions:
			out = append(out, name, reduce.TableLate, reduce.TableControl)
		default:
			out = append(out, name)
		}
	}
	return out
}

// givenTables are those among them that the judge does not make, with their schemas.
func givenTables() []pipeline.Output {
	var all []pipeline.Output
	for _, s := range []pipeline.Stage{trial.Dwells(trial.Carried{}, ""), locate.Stage(locate.Params{}), reduce.Stage(reduce.Params{}),
		paths.Stage(paths.Params{}), sweeps.Stage(sweeps.Params{}, nil)} {
		all = append(all, s.Makes...)
	}
	return slices.DeleteFunc(all, func(o pipeline.Output) bool { return !slices.Contains(SharedTables(), o.Name) })
}

// judged are the tables that the judge makes.
func judged() []pipeline.Output { return judge.Stage(judge.Params{}).Makes }

// givenParams are those of the stage that gives what is there: the digests of all that.
type givenParams struct{ Digests []string }

// stage makes the stage that stands for everything before the judge.
func (g *Given) stage() pipeline.Stage {
	s := pipeline.Stage{Name: "given", Version: 1}
	var p givenParams
	for _, o := range givenTables() {
		s.Makes = append(s.Makes, o)
		p.Digests = append(p.Digests, o.Name+" "+table.Digest(g.Tables[o.Name]))
	}
	// What could not be used stays home.
	none := quarantine.Stage(nil).Makes[0]
	s.Makes = append(s.Makes, none)
	for _, name := range slices.Sorted(maps.Keys(g.Accounts)) {
		s.Makes = append(s.Makes, pipeline.Output{Name: name})
		p.Digests = append(p.Digests, name+" "+store.Sum(g.Accounts[name]))
	}
	s.Params = p
	s.Run = func(context.Context, *pipeline.Input) (*pipeline.Result, error) {
		res := &pipeline.Result{Tables: map[string]arrow.Record{none.Name: table.NewBuilder(none.Schema).Record()}, Files: maps.Clone(g.Accounts)}
		for _, o := range givenTables() {
			rec := g.Tables[o.Name]
			rec.Retain() // the runner releases what it gets
			res.Tables[o.Name] = rec
		}
		return res, nil
	}
	return s
}

// graph gives the stages: what is there, the judge, the report.
func (g *Given) graph() []pipeline.Stage {
	seal := Standing{State: g.Standing.SealState, Digest: g.Standing.Seal, Added: g.Standing.Added}
	if seal.State != judge.SealNone {
		seal.SealedAt = time.UnixMilli(g.Standing.SealedMs).UTC()
	}
	d := &Data{exp: g.Experiment}
	told := d.reporting(g.Planned, seal, g.Standing.Looks, g.Standing.Tool, "fairlobe receive --verify "+g.Standing.Name+".zip")
	told.Form = sharedForm
	return []pipeline.Stage{g.stage(), judge.Stage(d.judging(g.Planned, bandsOf(g.Experiment, g.Planned), seal)), report.Stage(told)}
}

// sharedForm tells the reader of a report what was taken out before.
const sharedForm = "handed over: call signs of stations are keyed hashes, their bearings are rounded to 1 degree and their " +
	"distances to 10 km, the own place is known to its 4-character square; locators, notes and names of files were left out"

// Again runs judge and report and gives all files of the payload that can be made again, by name.
func (g *Given) Again(ctx context.Context, jobs int) (map[string][]byte, error) {
	done, err := g.run(ctx, jobs)
	if err != nil {
		return nil, err
	}
	return g.made(done)
}

func (g *Given) run(ctx context.Context, jobs int) (*pipeline.Outcome, error) {
	graph, err := pipeline.NewGraph(g.graph()...)
	if err != nil {
		return nil, fmt.Errorf("joining the stages: %w", err)
	}
	return pipeline.Run(ctx, graph, pipeline.Options{Jobs: jobs})
}

func (g *Given) made(done *pipeline.Outcome) (map[string][]byte, error) {
	out := map[string][]byte{}
	planned, err := scheduleFile(g.Planned)
	if err != nil {
		return nil, err
	}
	out[handover.FileSchedule] = planned
	for _, name := range []string{report.FileVerdicts, report.FilePage} {
		if out[name], err = done.Bytes(name); err != nil {
			return nil, err
		}
	}
	for _, o := range judged() {
		if out[handover.Parquet(o.Name)], err = done.Bytes(o.Name); err != nil {
			return nil, err
		}
	}
	for _, name := range SharedTables() {
		if out[handover.CSV(name)], err = CSV(done, name); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func scheduleFile(planned []schedule.Dwell) ([]byte, error) {
	var out bytes.Buffer
	if err := schedule.WriteCSV(&out, planned); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// CSV writes a table of a run as text.
func CSV(done *pipeline.Outcome, name string) ([]byte, error) {
	rec, err := done.Table(name)
	if err != nil {
		return nil, err
	}
	defer rec.Release()
	var out bytes.Buffer
	if err := table.WriteCSV(&out, rec); err != nil {
		return nil, fmt.Errorf("writing table %s as CSV: %w", name, err)
	}
	return out.Bytes(), nil
}

// designIn reads the experiment of a payload and the schedule beside it. A file that is missing, broken, or not what the
// seed draws is a diag.List with its name.
func designIn(file handover.Files) (*experiments.Experiment, []schedule.Dwell, error) {
	text, err := file.Want(handover.FileExperiment)
	if err != nil {
		return nil, nil, err
	}
	exp, list := experiments.Parse("data/"+handover.FileExperiment, text, func(name string) ([]byte, error) { return file.Want(name) })
	if err := list.Err(); err != nil {
		return nil, nil, err
	}
	text, err = file.Want(handover.FileSchedule)
	if err != nil {
		return nil, nil, err
	}
	planned, list := schedule.ReadCSV(bytes.NewReader(text), "data/"+handover.FileSchedule, exp.Schedule.Settle.Milliseconds())
	if err := list.Err(); err != nil {
		return nil, nil, err
	}
	if exp.Schedule.File != "" {
		return exp, planned, checkNames(exp, planned, "data/"+handover.FileSchedule)
	}
	if !exp.HasSeed {
		return nil, nil, handover.Fault(handover.FileExperiment,
			fmt.Errorf("the experiment has no seed, so nothing says in which order its arms came"))
	}
	drawn, err := schedule.Draw(Plan(exp))
	if err != nil {
		return nil, nil, handover.Fault(handover.FileExperiment, err)
	}
	again, err := scheduleFile(drawn)
	if err != nil {
		return nil, nil, err
	}
	if !bytes.Equal(again, text) {
		return nil, nil, handover.Fault(handover.FileSchedule, fmt.Errorf("this is not the schedule that the seed of the experiment draws"))
	}
	return exp, drawn, nil
}

// givenIn reads a payload; see Given. A file that is missing or has another form is a diag.List with its name. Release gives the
// tables back.
func givenIn(file handover.Files) (g *Given, err error) {
	g = &Given{Tables: map[string]arrow.Record{}}
	defer func() {
		if err != nil {
			g.Release()
			g = nil
		}
	}()
	if g.Experiment, g.Planned, err = designIn(file); err != nil {
		return g, err
	}
	text, err := file.Want(handover.FileStanding)
	if err != nil {
		return g, err
	}
	if g.Standing, err = handover.ReadStanding(text); err != nil {
		return g, handover.Fault(handover.FileStanding, err)
	}
	if g.Accounts, err = file.Accounts(); err != nil {
		return g, err
	}
	for _, o := range givenTables() {
		rec, err := file.Table(memory.NewGoAllocator(), o)
		if err != nil {
			return g, err
		}
		g.Tables[o.Name] = rec
	}
	return g, handover.CheckTables(g.Tables)
}

// Release gives the tables back.
func (g *Given) Release() {
	for _, rec := range g.Tables {
		rec.Release()
	}
	g.Tables = nil
}
