package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"fairlobe/pipeline"
	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/diag"
	"fairlobe/stages/planning"
)

// planOptions are the options of design that are on what the schedule can find.
type planOptions struct {
	pilot, curve string
	simulate     int
	stations     int
	search       bool // --simulate was given
}

// The trials that are simulated unless told otherwise, and the most.
const (
	usualSimulated = 40
	mostSimulated  = 10_000
)

// planFlags are the names of all flags of planOptions.
func planFlags() []string { return []string{"pilot", "curve", "simulate", "stations"} }

func (opt *planOptions) flags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&opt.pilot, "pilot", "", "take the noise from a former run's output `folder`")
	f.StringVar(&opt.curve, "curve", "", "draw power against blocks into this SVG `file`")
	f.IntVar(&opt.simulate, "simulate", usualSimulated, "simulate so `many` trials of each question; 0: none")
	f.IntVar(&opt.stations, "stations", 0, "how `many` stations you expect to hear you")
}

// check finds what is wrong on the command line before anything is read.
func (opt *planOptions) check(given func(flag string) bool, sealing bool) error {
	for _, flag := range planFlags() {
		if sealing && given(flag) {
			return usage("--%s does not go with --seal, which only fixes the schedule: plan first, then seal", flag)
		}
	}
	opt.search = given("simulate") && opt.simulate > 0
	switch {
	case opt.simulate < 0 || opt.simulate > mostSimulated:
		return usage("--simulate is %d; give 0 to %d", opt.simulate, mostSimulated)
	case given("stations") && (opt.stations < 1 || opt.stations > mostStations):
		return usage("--stations is %d; give 1 to %d", opt.stations, mostStations)
	case given("pilot") && opt.pilot == "":
		return usage("--pilot names no folder")
	case given("curve") && opt.curve == "":
		return usage("--curve names no file")
	}
	return nil
}

// describePlan prints what the schedule can find, and draws it.
func (o *opened) describePlan(ctx context.Context, opt planOptions, std streams) error {
	in := planning.Input{Experiment: o.exp, Planned: o.planned, Stations: opt.stations}
	if opt.pilot != "" {
		var err error
		if in.Pilot, err = planning.ReadPilot(os.DirFS(opt.pilot), opt.pilot, o.exp); err != nil {
			return err
		}
	}
	plan := planning.New(in)
	if opt.curve != "" {
		if err := writeCurve(opt.curve, plan.Curve(), std); err != nil {
			return err
		}
	}
	if opt.simulate > 0 {
		bar := newProgress(std.err)
		defer bar.clear()
		err := plan.Simulate(ctx, planning.Simulation{Trials: opt.simulate, Seed: o.exp.Seed, Search: opt.search,
			Progress: func(done int) {
				bar.show(pipeline.Event{Done: done, Total: len(plan.Questions), Stage: "simulating"})
			}})
		bar.clear()
		if err != nil {
			return err
		}
	}
	fmt.Fprintln(std.out)
	for _, line := range plan.Words() {
		if _, err := fmt.Fprintln(std.out, line); err != nil {
			return err
		}
	}
	return nil
}

// curveMark is in every picture that design writes: such a file may be written over.
var curveMark = []byte(`<title id="t">Power against blocks: `)

// writeCurve writes the picture; a file that is none of these pictures is left alone.
func writeCurve(path string, picture []byte, std streams) error {
	have, err := os.ReadFile(path)
	switch {
	case err == nil && !bytes.Contains(have, curveMark):
		return diag.List{{Pos: diag.Pos{File: path}, Msg: "the file exists and is no such picture; nothing was written", Mend: "name another file, or move this one away"}}
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("writing the picture: %w", err)
	}
	if err := atomicfile.WriteFile(path, picture, 0o644); err != nil {
		return fmt.Errorf("writing the picture: %w", err)
	}
	fmt.Fprintf(std.err, "fairlobe: wrote %s\n", path)
	return nil
}
