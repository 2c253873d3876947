package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/binary"
	"fmt"
	"os"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"fairlobe/experiments"
	"fairlobe/experiments/seal"
	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/diag"
	"fairlobe/stages"
	"fairlobe/stages/judge"
	"fairlobe/stages/schedule"
)

type designOptions struct {
	seal  bool
	files designFiles
	plan  planOptions
}

func designCommand(std streams) *cobra.Command {
	var opt designOptions
	cmd := &cobra.Command{
		Use:   "design EXPERIMENT",
		Short: "The schedule and what it can find; --seal fixes it",
		Long:  designLong,
		Args:  oneExperiment,
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := opt.plan.check(cmd.Flags().Changed, opt.seal); err != nil {
				return err
			}
			return runDesign(cmd.Context(), args[0], opt, std)
		},
	}
	cmd.Flags().BoolVar(&opt.seal, "seal", false, "write NAME.seal.json; draws the seed if the file has none")
	opt.files.flags(cmd)
	opt.plan.flags(cmd)
	return cmd
}

func runDesign(ctx context.Context, path string, opt designOptions, std streams) error {
	o, err := open(path)
	if err != nil {
		return err
	}
	if !o.exp.HasSeed && opt.seal && o.standing.State == judge.SealNone {
		if o, err = drawSeed(o.exp, std); err != nil {
			return err
		}
	}
	if err := o.needSeed(); err != nil {
		return err
	}
	notes := o.sealNotes()
	if opt.seal { // the seal holds call and place, so filling them in afterwards would break it
		notes = append(notes, o.placeholders()...)
	}
	for _, d := range slices.Concat(o.warnings, notes, stages.Doubts(o.exp, o.planned)).Sort() {
		fmt.Fprintln(std.err, d)
	}
	if err := schedule.CheckSlots(o.planned, o.exp.Fixed.Slot.Milliseconds(), o.exp.Fixed.Sends, o.exp.Pos("schedule.dwell_min")).Err(); err != nil {
		return err
	}
	o.describeSchedule(std)
	if err := o.writeFiles(opt.files, std); err != nil {
		return err
	}
	if opt.seal {
		return o.makeSeal(std)
	}
	fmt.Fprintln(std.out)
	o.describeSeal(std)
	return o.describePlan(ctx, opt.plan, std)
}

// drawSeed takes a seed from the system and writes it into the experiment file, behind the smallest difference, which
// every file has. All else in the file stays as it is.
func drawSeed(exp *experiments.Experiment, std streams) (*opened, error) {
	seed, err := systemSeed()
	if err != nil {
		return nil, err
	}
	text, err := os.ReadFile(exp.File)
	if err != nil {
		return nil, fmt.Errorf("reading the experiment file: %w", err)
	}
	info, err := os.Stat(exp.File)
	if err != nil {
		return nil, fmt.Errorf("reading the experiment file: %w", err)
	}
	text = insertLine(text, exp.Pos("smallest_difference_db").Line, fmt.Sprintf("seed = %d", seed))
	if err := atomicfile.WriteFile(exp.File, text, info.Mode().Perm()); err != nil {
		return nil, fmt.Errorf("writing the seed into %s: %w", exp.File, err)
	}
	fmt.Fprintf(std.err, "fairlobe: drew the seed %d and wrote it into %s\n", seed, exp.File)
	return open(exp.File)
}

// systemSeed draws 53 bits: every program reads them back exactly.
func systemSeed() (uint64, error) {
	var raw [8]byte
	if _, err := rand.Read(raw[:]); err != nil {
		return 0, fmt.Errorf("drawing a seed: %w", err)
	}
	return binary.LittleEndian.Uint64(raw[:]) >> 11, nil
}

// insertLine puts a line behind the line of that number, which counts from 1, with the line's own ending.
func insertLine(text []byte, after int, line string) []byte {
	lines := bytes.SplitAfter(text, []byte("\n"))
	ending := "\n"
	if bytes.HasSuffix(lines[after-1], []byte("\r\n")) {
		ending = "\r\n"
	}
	if !bytes.HasSuffix(lines[after-1], []byte("\n")) {
		line, ending = ending+line, ""
	}
	return bytes.Join(slices.Insert(lines, after, []byte(line+ending)), nil)
}

func (o *opened) describeSchedule(std streams) {
	s := schedule.Summarise(o.planned, o.exp.Fixed.Slot.Milliseconds(), o.exp.Fixed.Sends)
	fmt.Fprintf(std.out, "%s\n\n", o.exp.Title)
	fmt.Fprintln(std.out, "Sessions")
	for _, one := range s.Sessions {
		fmt.Fprintf(std.out, "  %d: %s to %s, %.1f h, %d dwells, %d arm changes\n", one.Session,
			one.Start.Format("2006-01-02 15:04Z"), clockAfter(one.Start, one.End), one.Hours, one.Dwells, one.ArmChanges)
	}
	fmt.Fprintln(std.out, "Bands")
	for _, b := range s.Bands {
		fmt.Fprintf(std.out, "  %s: %d blocks, %d dwells, %d slots to send in, at least %d in a dwell\n", b.Band, b.Blocks, b.Dwells, b.OwnSlots, b.FewestOwnSlots)
	}
	fmt.Fprintf(std.out, "In all: %.1f h\n  %.1f h in dwells (%.1f h of it sending, %.1f h settling), %.1f h changing\n", s.TotalHours,
		s.DwellHours, s.TransmitHours, s.SettleHours, s.ChangeHours)
	fmt.Fprintf(std.out, "Changes: %d of the arm, %d of the band\n", s.ArmChanges, s.BandChanges)
}

// clockAfter gives the end of a session, with its date if that is another day.
func clockAfter(start, end time.Time) string {
	if start.Format(time.DateOnly) == end.Format(time.DateOnly) {
		return end.Format("15:04Z")
	}
	return end.Format("2006-01-02 15:04Z")
}

func (o *opened) makeSeal(std streams) error {
	if o.standing.State == judge.SealSame {
		fmt.Fprintf(std.out, "\nSealed already, and unchanged since:\n%s\n", o.seal.Line())
		return nil
	}
	canonical, err := o.exp.Canonical()
	if err != nil {
		return fmt.Errorf("writing the experiment in its canonical form: %w", err)
	}
	s, err := seal.Make(canonical, o.planned, o.exp.Seed, time.Now())
	if err != nil {
		return err
	}
	if err := seal.Write(sealPath(o.exp), s); err != nil {
		return err
	}
	if s, err = seal.Read(sealPath(o.exp)); err != nil {
		return err
	}
	if first := o.planned[0].Start; !s.SealedAt.Before(first) {
		fmt.Fprintln(std.err, o.sealedLate(first))
	}
	fmt.Fprintf(std.out, "\nSealed: %s\nSend this line to someone before you start: only that proves the date.\n\n%s\n", sealPath(o.exp), s.Line())
	return nil
}

// sealedLate warns of a seal that is made behind the first dwell, as by a slip in the date: the start is sealed too.
func (o *opened) sealedLate(first time.Time) diag.Diag {
	at := o.exp.Pos("schedule.start")
	if at == o.exp.Pos("schedule") { // there are sessions instead, or a file
		at = o.exp.Pos("schedule.sessions[0].start")
	}
	return diag.Diag{Pos: at, Severity: diag.Warning, Code: "sealed_late",
		Msg:  fmt.Sprintf("by the schedule the first dwell began at %s: a seal made later does not prove the order", first.Format("2006-01-02 15:04Z")),
		Mend: fmt.Sprintf("if the date is a slip, and nothing was sent yet: delete %s, write the right start, and seal again", sealPath(o.exp))}
}
