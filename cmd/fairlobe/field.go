package main

import (
	"context"
	"fmt"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/field"
	"fairlobe/stages/judge"
	"fairlobe/stages/schedule"
)

type fieldOptions struct {
	session                     int
	from                        string
	blind, blindKey, transcribe bool
}

// fieldClock is what tells the time in the field. Something comes from tick whenever the screen is to be looked at again.
type fieldClock struct {
	now  func() time.Time
	tick <-chan time.Time
}

func fieldCommand(std streams) *cobra.Command {
	var opt fieldOptions
	cmd := &cobra.Command{
		Use:   "field EXPERIMENT",
		Short: "Keeps the trial: what to connect when; logs what was done",
		Long:  fieldLong,
		Args:  oneExperiment,
		RunE: func(cmd *cobra.Command, args []string) error {
			ticker := time.NewTicker(250 * time.Millisecond)
			defer ticker.Stop()
			return runField(cmd.Context(), args[0], opt, std, fieldClock{time.Now, ticker.C})
		},
	}
	cmd.Flags().IntVar(&opt.session, "session", 0, "take session `N`; else the one that is on or next")
	cmd.Flags().StringVar(&opt.from, "from", "", "start the session late: `now`, at the next slot edge")
	cmd.Flags().BoolVar(&opt.blind, "blind", false, "show coded names of the arms")
	cmd.Flags().BoolVar(&opt.blindKey, "blind-key", false, "print which code is which arm, for the helper at the switch")
	cmd.Flags().BoolVar(&opt.transcribe, "transcribe", false, "ask for what was written on paper")
	return cmd
}

func (opt fieldOptions) check() error {
	switch {
	case opt.from != "" && opt.from != "now":
		return usage("--from takes the word now, and not %q", opt.from)
	case opt.session < 0:
		return usage("--session takes a number from 1 upwards")
	case opt.transcribe && opt.from != "":
		return usage("--transcribe writes down what was done, and --from now begins: take one of them")
	case opt.blindKey && (opt.blind || opt.transcribe || opt.from != "" || opt.session != 0):
		return usage("--blind-key prints the list and does nothing else: give it alone")
	}
	return nil
}

func runField(ctx context.Context, path string, opt fieldOptions, std streams, at fieldClock) error {
	if err := opt.check(); err != nil {
		return err
	}
	o, err := open(path)
	if err != nil {
		return err
	}
	if err := o.needSeed(); err != nil {
		return err
	}
	codes, err := o.codes(opt)
	if err != nil {
		return err
	}
	if opt.blindKey {
		for _, c := range codes {
			fmt.Fprintf(std.out, "%s  %s\n", c.Shown, c.Arm)
		}
		return nil
	}
	if err := o.readyForTheField(std); err != nil {
		return err
	}
	log, err := field.OpenLog(filepath.Join(o.exp.DataDir, filepath.FromSlash(o.exp.Switches)))
	if err != nil {
		return err
	}
	defer log.Close() // every line is on the disk already
	trial := field.Trial{Planned: o.planned, SlotMs: o.exp.Fixed.Slot.Milliseconds(), SettleMs: o.exp.Schedule.Settle.Milliseconds(),
		Sends: o.exp.Fixed.Sends, Codes: codes}
	if log.Told != "" {
		fmt.Fprintf(std.err, "fairlobe: %s\n", trial.Hide(log.Told))
	}
	session, told, err := trial.Choose(log, field.Choice{Session: opt.session, FromNow: opt.from == "now", Past: opt.transcribe}, at.now())
	if err != nil {
		return err
	}
	if opt.transcribe {
		paper, err := field.NewPaper(trial, log, session)
		if err != nil {
			return err
		}
		return askPaper(ctx, paper, told, std, at)
	}
	keeper, err := field.NewKeeper(trial, log, session)
	if err != nil {
		return err
	}
	if opt.from == "now" {
		told = append(told, keeper.StartNow(at.now())...)
	}
	return keepField(ctx, keeper, append(told, keeper.Begin(at.now())...), std, at)
}

// codes are the coded names of the arms, nil if names are shown.
func (o *opened) codes(opt fieldOptions) ([]field.Code, error) {
	if !opt.blind && !opt.blindKey {
		return nil, nil
	}
	if !o.exp.HasSeed {
		return nil, diag.List{{Pos: o.exp.Pos("seed"), Msg: "the coded names are drawn from the seed, and the experiment has none",
			Mend: "add a line such as seed = 4012558071 before the seal is made, or leave out --blind"}}
	}
	var arms []string
	for _, a := range o.exp.Arms {
		arms = append(arms, a.Name)
	}
	return field.Blind(arms, o.exp.Seed), nil
}

// readyForTheField refuses what would be carried out in vain, and warns of what would prove less.
func (o *opened) readyForTheField(std streams) error {
	exp := o.exp
	if exp.Switches == "" {
		return diag.List{{Pos: exp.Pos("log.switches"), Msg: "the experiment names no switch log to write to",
			Mend: "add [log] with switches = \"log/switches.csv\""}}
	}
	if err := schedule.CheckSlots(o.planned, exp.Fixed.Slot.Milliseconds(), exp.Fixed.Sends, exp.Pos("schedule.dwell_min")).Err(); err != nil {
		return err
	}
	switch o.standing.State {
	case judge.SealOrder:
		return diag.List{{Pos: exp.Pos("seed"), Msg: "the order of the arms is not the one that was sealed: its verdict would be refused",
			Mend: "take the experiment back to what was sealed", Related: []diag.Pos{{File: sealPath(exp)}}}}
	case judge.SealNone:
		fmt.Fprintln(std.err, diag.Diag{Pos: exp.Pos("fairlobe"), Severity: diag.Warning, Code: "not_sealed",
			Msg: "the experiment is not sealed: nothing will prove that the order was drawn before the data", Mend: "fairlobe design --seal " + shellWord(exp.File)})
	}
	for _, d := range o.sealNotes() {
		fmt.Fprintln(std.err, d)
	}
	return nil
}
