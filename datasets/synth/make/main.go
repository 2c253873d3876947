// Command make writes the data of the demonstration experiment, experiments/ridge-wire.toml, and its seal.
//
// Run it from the top folder of the project:
//
//	go run ./datasets/synth/make
//
// The same sources give the same bytes.
package main

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"fairlobe/datasets/synth"
	"fairlobe/experiments"
	"fairlobe/experiments/seal"
	"fairlobe/stages/schedule"
)

func main() {
	if err := run("."); err != nil {
		fmt.Fprintln(os.Stderr, "make:", err)
		os.Exit(1)
	}
}

// sealedAt is when the invented operator sealed the experiment: two days before the first session.
var sealedAt = time.Date(2026, 9, 10, 18, 0, 0, 0, time.UTC)

// run writes everything below the project's top folder. A seal of something else is left as it is, and that is
// an error: remove it, if the experiment was changed on purpose.
func run(top string) error {
	files, sealed, err := build(top)
	if err != nil {
		return err
	}
	for _, f := range files {
		if err := write(filepath.Join(top, filepath.FromSlash(f.Name)), f.Data); err != nil {
			return err
		}
	}
	return seal.Write(filepath.Join(top, "experiments", "ridge-wire"+seal.Suffix), sealed)
}

// build makes every data file, by name below the project's top folder, and the seal.
func build(top string) ([]synth.File, seal.Seal, error) {
	file := filepath.Join(top, "experiments", "ridge-wire.toml")
	experiment, findings := experiments.Load(file)
	if err := findings.Err(); err != nil {
		return nil, seal.Seal{}, fmt.Errorf("loading the experiment: %w", err)
	}
	drawn, err := schedule.Draw(plan(experiment))
	if err != nil {
		return nil, seal.Seal{}, fmt.Errorf("laying out %s: %w", file, err)
	}
	files, err := synth.RidgeWireFiles(planned(drawn))
	if err != nil {
		return nil, seal.Seal{}, fmt.Errorf("making the data: %w", err)
	}
	for i := range files {
		files[i].Name = "datasets/ridge-wire/" + files[i].Name
	}
	canonical, err := experiment.Canonical()
	if err != nil {
		return nil, seal.Seal{}, fmt.Errorf("sealing %s: %w", file, err)
	}
	sealed, err := seal.Make(canonical, drawn, experiment.Seed, sealedAt)
	if err != nil {
		return nil, seal.Seal{}, fmt.Errorf("sealing %s: %w", file, err)
	}
	return files, sealed, nil
}

func write(path string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("making the folder of %s: %w", path, err)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return nil
}

// plan tells package schedule what the experiment declares.
func plan(e *experiments.Experiment) schedule.Plan {
	s := e.Schedule
	p := schedule.Plan{
		Seed: e.Seed, Bands: s.Bands, Pattern: s.Pattern, Rotate: s.Rotate,
		DwellMs: ms(s.Dwell), SettleMs: ms(s.Settle), ArmChangeMs: ms(s.ArmChange), BandChangeMs: ms(s.BandChange),
		SlotMs: ms(e.Fixed.Slot),
	}
	for _, a := range e.Arms {
		p.Arms = append(p.Arms, a.Name)
	}
	for _, b := range s.Breaks {
		p.Breaks = append(p.Breaks, schedule.Break{AfterBlock: b.AfterBlock, LengthMs: ms(b.Length)})
	}
	for _, o := range s.Sessions {
		p.Sessions = append(p.Sessions, schedule.Session{StartMs: o.Start.UnixMilli(), Blocks: o.Blocks})
	}
	return p
}

func ms(d time.Duration) int64 { return d.Milliseconds() }

// planned gives the drawn dwells in the generator's form.
func planned(drawn []schedule.Dwell) []synth.Dwell {
	out := make([]synth.Dwell, len(drawn))
	for i, d := range drawn {
		out[i] = synth.Dwell{
			Session: d.Session, Band: d.Band, Block: d.Block, Position: d.Position, Arm: d.Arm,
			Start: d.Start, Settle: d.SettleEnd, End: d.End,
		}
	}
	return out
}
