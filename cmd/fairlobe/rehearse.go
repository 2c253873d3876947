package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"fairlobe/datasets/rehearsal"
	"fairlobe/experiments"
	"fairlobe/pipeline"
	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/manifest"
	"fairlobe/pipeline/store"
	"fairlobe/stages"
	"fairlobe/stages/schedule"
)

type rehearseOptions struct {
	truth         []string
	scenario      string
	seed          uint64
	hasSeed       bool
	stations      int
	mishaps       bool
	out, dataOnly string
	many          manyOptions
}

// unsealedSeed is the seed of a rehearsal when neither the experiment nor the command line gives one.
const unsealedSeed = 1

// mostStations bounds what one computer invents in a reasonable time.
const mostStations = 2000

func rehearseCommand(std streams) *cobra.Command {
	var opt rehearseOptions
	cmd := &cobra.Command{
		Use:   "rehearse EXPERIMENT",
		Short: "Invented reports with a known truth, through the whole pipeline",
		Long:  rehearseLong(),
		Args:  oneExperiment,
		RunE: func(cmd *cobra.Command, args []string) error {
			opt.hasSeed = cmd.Flags().Changed("seed")
			if cmd.Flags().Changed("stations") && opt.stations == 0 {
				return usage("--stations is 0; give 1 to %d", mostStations)
			}
			if err := opt.checkMany(cmd.Flags().Changed); err != nil {
				return err
			}
			return runRehearse(cmd.Context(), args[0], opt, std)
		},
	}
	f := cmd.Flags()
	f.StringArrayVar(&opt.truth, "truth", nil, "what is true, in `words`; may be given several times")
	f.StringVar(&opt.scenario, "scenario", rehearsal.UsualScenario, "which difficulty the invented world has")
	f.Uint64Var(&opt.seed, "seed", 0, "`number` that all invented things come from (default: the experiment's)")
	f.IntVar(&opt.stations, "stations", 0, "how `many` stations there are (default: the scenario's number)")
	f.BoolVar(&opt.mishaps, "mishaps", false, "things go wrong, and files hold rows of no use")
	f.StringVar(&opt.out, "out", "", "`folder` of the rehearsal (default: NAME.rehearsal beside NAME.toml)")
	f.StringVar(&opt.dataOnly, "data-only", "", "write only the data, into this new or empty `folder`")
	f.IntVar(&opt.many.trials, "trials", 0, "simulate so `many` trials and count, instead of one with its files")
	f.IntVar(&opt.many.blocks, "blocks", 0, "how `many` blocks a band each of the trials has (default: the experiment's)")
	f.StringSliceVar(&opt.many.kinds, "claims", nil, "ask in the trials only claims of these `kinds`, with commas (default: all)")
	f.BoolVar(&opt.many.look, "look-each-block", false, "judge open trials after every block, and stop when it looks good")
	f.IntVar(&opt.many.jobs, "jobs", 0, "how `many` trials run at a time (default: as many as processors)")
	f.BoolVar(&opt.many.json, "json", false, "print the counts of the trials as JSON")
	f.BoolVar(&opt.many.markdown, "markdown", false, "print the counts of the trials as a table in Markdown")
	return cmd
}

func rehearseLong() string {
	var out strings.Builder
	out.WriteString(`Carries out the experiment in an invented world, in which you say what is true
of the arms, and writes what you would then have: reports, sweeps and switch
log, in the forms that the experiment file declares. Then it does with them what
run does, and sets the truth beside the verdicts. So you see before the outing
whether the trial can answer, and whether the forms are right.

    fairlobe rehearse ridge-wire.toml --truth "20m: high +2.5 dB"

--truth takes [BAND:] ARM PART[, PART]... or [BAND:] none. A PART is one of

    +2.5 dB                  all round
    lobe 3 dB toward 300     3 dB more toward 300 degrees, 3 dB less behind
    two lobes 4 dB along 30  4 dB more toward 30 and 210, 4 dB less across

Without BAND it is true on all bands. What is not said is 0 dB all round. The
arms' declared powers are real. The impedance of each arm is invented.

Everything stands in the new folder NAME.rehearsal: a copy of the experiment
file, with "Rehearsal: " before its title, the data, truth.txt, a seal as if
made before the first dwell, and the outputs of run. Your own experiment, its
data and its count of looks are not touched. The order of the arms is the
experiment's; where it has no seed yet it is drawn from that of the rehearsal.
--mishaps lets things go wrong as they do in the field.

SCENARIOS
`)
	names, what := rehearsal.Scenarios()
	for i, name := range names {
		say(&out, fmt.Sprintf("    %-12s ", name), strings.Repeat(" ", 17), what[i])
	}
	out.WriteString(manyLong)
	out.WriteString(`
EXIT STATUS
    0    done, whatever the verdicts
    1    experiment file at fault, a folder in the way, or the machine failed
    2    the command line is wrong, also a --truth that can't be read
    130  interrupted`)
	return out.String()
}

func runRehearse(ctx context.Context, path string, opt rehearseOptions, std streams) error {
	if err := opt.check(); err != nil {
		return err
	}
	o, err := open(path)
	if err != nil {
		return err
	}
	if err := o.withSeed(&opt); err != nil {
		return err
	}
	truth, err := rehearsal.ParseTruth(o.exp, scheduledBands(o.planned), opt.truth)
	if err != nil {
		return usageError{err}
	}
	if opt.many.trials > 0 {
		return runMany(ctx, o.exp, truth, opt, std)
	}
	how := rehearsal.Options{Seed: opt.seed, Truth: truth, Scenario: opt.scenario, Stations: opt.stations, Mishaps: opt.mishaps}
	bar := newProgress(std.err)
	defer bar.clear()
	bar.show(pipeline.Event{Done: 0, Total: 2, Stage: "inventing"})
	invented, err := rehearsal.Invent(o.exp, o.planned, how)
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	bar.show(pipeline.Event{Done: 1, Total: 2, Stage: "writing"})
	if opt.dataOnly != "" {
		err := writeFresh(opt.dataOnly, invented.Files)
		bar.clear()
		if err == nil {
			fmt.Fprintf(std.out, "Wrote %d files into %s\n", len(invented.Files), opt.dataOnly)
		}
		return err
	}
	dir, err := o.publishRehearsal(invented, how, opt)
	bar.clear()
	if err != nil {
		return err
	}
	return o.runRehearsed(ctx, dir, invented, std)
}

// check finds what is wrong on the command line before anything is read.
func (opt rehearseOptions) check() error {
	names, _ := rehearsal.Scenarios()
	switch {
	case !slices.Contains(names, opt.scenario):
		return usage("there is no scenario %q; there are %s", opt.scenario, strings.Join(names, ", "))
	case opt.stations < 0 || opt.stations > mostStations:
		return usage("--stations is %d; give 1 to %d", opt.stations, mostStations)
	case opt.out != "" && opt.dataOnly != "":
		return usage("--out and --data-only are two ways; give one of them")
	}
	return nil
}

// withSeed settles the seed of the rehearsal, and draws the order of an experiment that has no seed from it.
func (o *opened) withSeed(opt *rehearseOptions) error {
	if !opt.hasSeed {
		opt.seed = unsealedSeed
		if o.exp.HasSeed {
			opt.seed = o.exp.Seed
		}
	}
	if o.planned != nil {
		return nil
	}
	o.exp.Seed, o.exp.HasSeed = opt.seed, true
	var err error
	if o.planned, err = stages.Schedule(o.exp); err != nil {
		return fmt.Errorf("making the schedule of %s: %w", o.exp.File, err)
	}
	return nil
}

// scheduledBands gives the bands of a schedule in the order in which they come.
func scheduledBands(planned []schedule.Dwell) []string {
	var out []string
	for _, d := range planned {
		if !slices.Contains(out, d.Band) {
			out = append(out, d.Band)
		}
	}
	return out
}

// rehearsalFolder describes the folder of a rehearsal.
func rehearsalFolder() pipeline.Folder {
	return pipeline.Folder{Marker: ".fairlobe", Text: "fairlobe rehearsal folder, format 1\n", Manifest: "manifest.json"}
}

// publishRehearsal writes the folder of the rehearsal and gives its path.
func (o *opened) publishRehearsal(invented *rehearsal.Rehearsal, how rehearsal.Options, opt rehearseOptions) (string, error) {
	dir := opt.out
	if dir == "" {
		dir = filepath.Join(o.exp.Dir, o.exp.Name+".rehearsal")
	}
	if err := o.keepApart(dir); err != nil {
		return "", err
	}
	command := opt.command(o.exp)
	made, err := invented.Folder(o.planned, how, command)
	if err != nil {
		return "", err
	}
	m := &manifest.Manifest{Format: 1, Tool: "fairlobe " + version, Go: runtime.Version(), Command: command, Seed: &how.Seed}
	var files []pipeline.File
	for _, f := range made {
		files = append(files, pipeline.File{Name: f.Name, Data: f.Data})
		m.Outputs = append(m.Outputs, manifest.File{Name: f.Name, Bytes: int64(len(f.Data)), SHA256: store.Sum(f.Data)})
	}
	text, err := m.Encode()
	if err != nil {
		return "", fmt.Errorf("writing the manifest: %w", err)
	}
	folder := rehearsalFolder()
	if _, err := pipeline.Publish(dir, append(files, pipeline.File{Name: folder.Manifest, Data: text}), folder); err != nil {
		return "", err
	}
	// Each rehearsal is a trial of its own: looks at an earlier one are none at this.
	if err := os.Remove(filepath.Join(dir, o.exp.Name+".looks.csv")); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("forgetting the looks at an earlier rehearsal: %w", err)
	}
	return dir, nil
}

// command is the command line that makes the rehearsal again, in the experiment's folder.
func (opt rehearseOptions) command(exp *experiments.Experiment) string {
	words := []string{"fairlobe", "rehearse", exp.Name + ".toml"}
	for _, t := range opt.truth {
		words = append(words, "--truth", strconv.Quote(t))
	}
	if opt.scenario != rehearsal.UsualScenario {
		words = append(words, "--scenario", opt.scenario)
	}
	if opt.hasSeed {
		words = append(words, "--seed", strconv.FormatUint(opt.seed, 10))
	}
	if opt.stations != 0 {
		words = append(words, "--stations", strconv.Itoa(opt.stations))
	}
	if opt.mishaps {
		words = append(words, "--mishaps")
	}
	return strings.Join(words, " ")
}

// runRehearsed runs the rehearsed experiment and sets the truth beside its verdicts.
func (o *opened) runRehearsed(ctx context.Context, dir string, invented *rehearsal.Rehearsal, std streams) error {
	path := filepath.Join(dir, o.exp.Name+".toml")
	if err := runRun(ctx, path, runOptions{}, std); err != nil {
		return err
	}
	verdicts, err := os.ReadFile(filepath.Join(dir, o.exp.Name+".out", "verdicts.json"))
	if err != nil {
		return fmt.Errorf("reading the verdicts of the rehearsal: %w", err)
	}
	lines, err := invented.Beside(verdicts)
	if err != nil {
		return err
	}
	fmt.Fprintf(std.out, "\nWhat was true, and what was found (%s has the truth in full)\n", filepath.Join(dir, rehearsal.TruthFile))
	for _, line := range lines {
		fmt.Fprintf(std.out, "  %s\n", line)
	}
	return nil
}

// writeFresh writes files into a new or empty folder, all of them or none.
func writeFresh(dir string, files []rehearsal.File) error {
	entries, err := os.ReadDir(dir)
	if len(entries) > 0 || err != nil && !errors.Is(err, fs.ErrNotExist) {
		return diag.List{{Pos: diag.Pos{File: dir}, Msg: "this is no empty folder; nothing was written", Mend: "choose an empty or new folder"}}
	}
	to, err := filepath.Abs(dir)
	if err != nil {
		return fmt.Errorf("finding %s: %w", dir, err)
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return fmt.Errorf("making the folder: %w", err)
	}
	temp, err := os.MkdirTemp(filepath.Dir(to), ".rehearsal-*")
	if err != nil {
		return fmt.Errorf("making the folder: %w", err)
	}
	defer os.RemoveAll(temp)
	for _, f := range files {
		name := filepath.Join(temp, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			return fmt.Errorf("writing %s: %w", f.Name, err)
		}
		if err := atomicfile.WriteFile(name, f.Data, 0o644); err != nil {
			return err
		}
	}
	if err := os.Chmod(temp, 0o755); err != nil {
		return fmt.Errorf("making the folder: %w", err)
	}
	if err := os.Remove(to); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("making the folder: %w", err)
	}
	if err := os.Rename(temp, to); err != nil {
		return fmt.Errorf("making the folder: %w", err)
	}
	return nil
}
