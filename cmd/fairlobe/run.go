package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/spf13/cobra"

	"fairlobe/experiments/looks"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/manifest"
	"fairlobe/pipeline/store"
	"fairlobe/pipeline/table"
	"fairlobe/stages"
)

type runOptions struct {
	out, store string
	json, csv  bool
	jobs       jobs
	why        bool
	noColor    bool
}

func runCommand(std streams) *cobra.Command {
	var opt runOptions
	cmd := &cobra.Command{
		Use:   "run EXPERIMENT",
		Short: "Tables, verdicts and report; only what changed is computed",
		Long:  runLong,
		Args:  oneExperiment,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runRun(cmd.Context(), args[0], opt, std)
		},
	}
	f := cmd.Flags()
	f.StringVar(&opt.out, "out", "", "`folder` of the outputs (default: NAME.out beside NAME.toml)")
	f.StringVar(&opt.store, "store", "", "`folder` of what earlier runs computed (default: inside the outputs)")
	f.BoolVar(&opt.json, "json", false, "print verdicts.json on standard output, and nothing else there")
	f.BoolVar(&opt.csv, "csv", false, "write each table as CSV too")
	f.Var(&opt.jobs, "jobs", "how many stages run at a time, at most 1024 (default: one for each processor)")
	f.BoolVar(&opt.why, "why", false, "tell of each stage whether it was run, and which line of its key changed")
	f.BoolVar(&opt.noColor, "no-color", false, "no bold letters (so does the environment variable NO_COLOR)")
	return cmd
}

// jobs is a number of stages at a time; 0 is one for each processor.
type jobs int

const maxJobs = 1024

func (j *jobs) String() string { return "" }       // the default is told in words
func (j *jobs) Type() string   { return "number" } // its name in the help

// Set takes a number from the command line.
func (j *jobs) Set(text string) error {
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > maxJobs {
		return fmt.Errorf("it is a number from 1 to %d", maxJobs)
	}
	*j = jobs(n)
	return nil
}

// folder describes the output folder.
func folder() pipeline.Folder {
	return pipeline.Folder{Marker: ".fairlobe", Text: "fairlobe output folder, format 1\n", Manifest: "manifest.json"}
}

func runRun(ctx context.Context, path string, opt runOptions, std streams) error {
	o, err := open(path)
	if err != nil {
		return err
	}
	if err := o.needSeed(); err != nil {
		return err
	}
	dir := opt.out
	if dir == "" {
		dir = filepath.Join(o.exp.Dir, o.exp.Name+".out")
	}
	if err := o.keepApart(dir); err != nil {
		return err
	}
	if err := folder().Claim(dir); err != nil {
		return err
	}
	keep := opt.store
	if keep == "" {
		keep = filepath.Join(dir, "store")
	}
	st, err := store.Open(keep)
	if err != nil {
		return err
	}
	bar := newProgress(std.err)
	defer bar.clear()
	done, looked, err := o.compute(ctx, dir, pipeline.Options{Store: st, Jobs: int(opt.jobs), Salt: salt(), Progress: bar.show})
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := o.record(done, looked); err != nil {
		return err
	}
	files, err := outputs(done, o, opt.csv)
	if err != nil {
		return err
	}
	if _, err := pipeline.Publish(dir, files, folder()); err != nil {
		return err
	}
	bar.clear()
	return o.tell(done, dir, opt, std)
}

// look is what the ledger says of this run.
type look struct {
	all   []looks.Look
	data  string
	n     int
	isNew bool
}

// compute runs the graph: first to the verdicts, whose data decide which look this is, and then to the documents. dir
// is the output folder.
func (o *opened) compute(ctx context.Context, dir string, opt pipeline.Options) (*pipeline.Outcome, look, error) {
	var l look
	data, err := stages.Find(o.exp)
	if err != nil {
		return nil, l, err
	}
	if l.all, err = looks.Read(looksPath(o.exp)); err != nil {
		return nil, l, err
	}
	trial := data.Trial(o.planned, o.standing, looks.First(l.all))
	if err := o.noOwnOutput(trial, dir); err != nil {
		return nil, l, err
	}
	first, err := runGraph(ctx, opt, trial)
	if err != nil {
		return nil, l, err
	}
	l.data = lookDigest(first)
	l.n, l.isNew = looks.Count(l.all, l.data)
	done, err := runGraph(ctx, opt, append(trial, data.Answers(o.planned, o.standing, l.n, "fairlobe "+version)))
	if err != nil {
		return nil, l, err
	}
	if lookDigest(done) != l.data {
		return nil, l, diag.List{{Pos: diag.Pos{File: o.exp.DataDir}, Msg: "the data changed during the run; nothing was written", Mend: "run again when nothing writes to them"}}
	}
	mergeReports(done, first)
	return done, l, nil
}

// lookDigest is the digest of what the judge reads: it tells one look from another, and does not move with the order of files.
func lookDigest(done *pipeline.Outcome) string {
	var all string
	for _, name := range []string{"receptions", "dwells", "listening", "late_receptions", "control_receptions"} {
		all += done.Digest(name)
	}
	return "sha256:" + store.Sum([]byte(all))
}

// runGraph runs stages. Findings get the paths of their files.
func runGraph(ctx context.Context, opt pipeline.Options, all []pipeline.Stage) (*pipeline.Outcome, error) {
	g, err := pipeline.NewGraph(all...)
	if err != nil {
		return nil, fmt.Errorf("joining the stages: %w", err)
	}
	done, err := pipeline.Run(ctx, g, opt)
	var findings diag.List
	if errors.As(err, &findings) {
		return nil, located(findings, all)
	}
	if err != nil {
		return nil, err
	}
	done.Notes = located(done.Notes, all)
	return done, nil
}

// mergeReports lets a stage that the first of two runs executed count as executed, for its reason.
func mergeReports(done, first *pipeline.Outcome) {
	ran := map[string]pipeline.StageReport{}
	for _, s := range first.Stages {
		if !s.Cached {
			ran[s.Name] = s
		}
	}
	for i, s := range done.Stages {
		if r, ok := ran[s.Name]; ok {
			done.Stages[i].Cached, done.Stages[i].Reason = false, r.Reason
		}
	}
}

// record adds this run to the ledger, if it is the first over these data and there are any.
func (o *opened) record(done *pipeline.Outcome, l look) error {
	line, err := o.lookOf(done, l)
	if err != nil || line == nil {
		return err
	}
	return looks.Append(looksPath(o.exp), l.all, *line)
}

// lookOf gives the line of the ledger that this run adds; nil if it adds none.
func (o *opened) lookOf(done *pipeline.Outcome, l look) (*looks.Look, error) {
	rec, err := done.Table("receptions")
	if err != nil {
		return nil, err
	}
	defer rec.Release()
	if !l.isNew || rec.NumRows() == 0 {
		return nil, nil
	}
	canonical, err := o.exp.Canonical()
	if err != nil {
		return nil, fmt.Errorf("writing the experiment in its canonical form: %w", err)
	}
	blocks, ps, err := summary(done)
	if err != nil {
		return nil, err
	}
	return &looks.Look{Time: time.Now().UTC(), Data: l.data, Experiment: "sha256:" + store.Sum(canonical), Blocks: blocks, P: ps}, nil
}

// summary gives the number of blocks and the p values, for the ledger.
func summary(done *pipeline.Outcome) (blocks int, ps string, err error) {
	rec, err := done.Table("verdicts")
	if err != nil {
		return 0, "", err
	}
	defer rec.Release()
	for r := table.NewReader(rec); r.Next(); {
		var e struct{ Blocks int }
		if err := json.Unmarshal([]byte(r.Str("detail")), &e); err != nil {
			return 0, "", fmt.Errorf("reading a verdict: %w", err)
		}
		blocks = max(blocks, e.Blocks)
		if !r.Null("p") {
			if ps != "" {
				ps += "; "
			}
			ps += fmt.Sprintf("%s/%s=%g", r.Str("claim"), r.Str("band"), r.Float("p"))
		}
	}
	return blocks, ps, nil
}

// outputs gathers the files of the output folder, the manifest last.
func outputs(done *pipeline.Outcome, o *opened, asCSV bool) ([]pipeline.File, error) {
	var files []pipeline.File
	for _, name := range stages.Tables() {
		data, err := done.Bytes(name)
		if err != nil {
			return nil, err
		}
		files = append(files, pipeline.File{Name: "tables/" + name + ".parquet", Data: data})
		if !asCSV {
			continue
		}
		text, err := stages.CSV(done, name)
		if err != nil {
			return nil, err
		}
		files = append(files, pipeline.File{Name: "tables/" + name + ".csv", Data: text})
	}
	for _, name := range stages.Documents() {
		data, err := done.Bytes(name)
		if err != nil {
			return nil, err
		}
		files = append(files, pipeline.File{Name: name, Data: data})
	}
	m := &manifest.Manifest{Format: 1, Tool: "fairlobe " + version, Go: runtime.Version(), Command: "fairlobe run " + o.exp.Name + ".toml", Inputs: done.Inputs}
	if o.exp.HasSeed {
		m.Seed = &o.exp.Seed
	}
	for _, s := range done.Stages {
		m.Stages = append(m.Stages, manifest.Stage{Name: s.Name, Version: s.Version, Key: s.Key})
	}
	for _, f := range files {
		m.Outputs = append(m.Outputs, manifest.File{Name: f.Name, Bytes: int64(len(f.Data)), SHA256: store.Sum(f.Data)})
	}
	text, err := m.Encode()
	if err != nil {
		return nil, fmt.Errorf("writing the manifest: %w", err)
	}
	return append(files, pipeline.File{Name: "manifest.json", Data: text}), nil
}

// tell prints the answers, and on standard error what else there is to know.
func (o *opened) tell(done *pipeline.Outcome, dir string, opt runOptions, std streams) error {
	for _, d := range slices.Concat(o.warnings, o.sealNotes(), done.Notes).Sort() {
		if d.Code == "no_log" && d.Pos.File == "" && o.exp.Switches != "" {
			continue // the experiment file's warning says it already, with its place
		}
		fmt.Fprintln(std.err, d)
	}
	tellStages(done, opt.why, std.err)
	name := "answers.txt"
	if opt.json {
		name = "verdicts.json"
	}
	text, err := done.Bytes(name)
	if err != nil {
		return err
	}
	if !opt.json && bold(std.out.out, opt.noColor) {
		text = embolden(text)
	}
	if _, err := std.out.Write(text); err != nil {
		return err
	}
	if !opt.json {
		fmt.Fprintf(std.out, "Written to %s: report.html, report.txt, verdicts.json, tables/, manifest.json\n", dir)
	}
	return nil
}

// tellStages says how many stages were run, and if asked, which and why.
func tellStages(done *pipeline.Outcome, why bool, out io.Writer) {
	for _, s := range done.Stages {
		switch {
		case why && s.Cached:
			fmt.Fprintf(out, "fairlobe: %s: as before\n", s.Name)
		case why:
			fmt.Fprintf(out, "fairlobe: %s: run, since %s\n", s.Name, s.Reason)
		}
	}
	n, of := done.Executed(), len(done.Stages)
	switch n {
	case 0:
		fmt.Fprintf(out, "fairlobe: nothing has changed: 0 of %d stages were run\n", of)
	case of:
		fmt.Fprintf(out, "fairlobe: %d of %d stages were run\n", n, of)
	default:
		fmt.Fprintf(out, "fairlobe: %d of %d stages were run, the others are as before\n", n, of)
	}
}

// bold tells whether letters may be bold: on a terminal that can, unless somebody said no.
func bold(out any, noColor bool) bool {
	f, ok := out.(*os.File)
	return ok && !noColor && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb" && isatty.IsTerminal(f.Fd())
}

// embolden marks the lines that hold verdicts: they stand at the left edge and end in capitals.
func embolden(text []byte) []byte {
	var out bytes.Buffer
	for line := range bytes.Lines(text) {
		i := bytes.LastIndex(line, []byte(": "))
		if i > 0 && line[0] != ' ' && bytes.Equal(line[i:], bytes.ToUpper(line[i:])) {
			fmt.Fprintf(&out, "\x1b[1m%s\x1b[0m\n", bytes.TrimRight(line, "\n"))
			continue
		}
		out.Write(line)
	}
	return out.Bytes()
}
