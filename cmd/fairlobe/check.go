package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/stages"
	"fairlobe/stages/judge"
)

func checkCommand(std streams) *cobra.Command {
	return &cobra.Command{
		Use:   "check EXPERIMENT",
		Short: "All that is wrong or doubtful, at file:line:column",
		Long:  checkLong,
		Args:  oneExperiment,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runCheck(cmd.Context(), args[0], std)
		},
	}
}

func runCheck(ctx context.Context, path string, std streams) error {
	o, err := open(path)
	if err != nil {
		return err
	}
	origin, err := o.readOrigin()
	if err != nil {
		return err
	}
	warnings := slices.Concat(o.warnings, o.sealNotes(), o.placeholders(), o.exp.Unnamed())
	if o.planned == nil {
		warnings = append(warnings, diag.Diag{Pos: o.exp.Pos("seed"), Severity: diag.Warning,
			Msg: "there is no seed yet, so the order of the arms is not drawn", Mend: "fairlobe design --seal " + shellWord(o.exp.File)})
	} else {
		notes, err := o.readData(ctx)
		if err != nil {
			return err
		}
		warnings = append(warnings, notes...)
	}
	if o.planned != nil {
		warnings = append(warnings, stages.Doubts(o.exp, o.planned)...)
	}
	warnings = warnings.Sort()
	for _, d := range warnings {
		fmt.Fprintln(std.err, d)
	}
	fmt.Fprintf(std.out, "%s: no faults%s\n", path, counted(len(warnings)))
	o.describe(std)
	if origin == nil {
		return nil
	}
	c, err := origin.Against(o.exp)
	if err != nil {
		return err
	}
	fmt.Fprintln(std.out)
	describeRepeat(std.out, origin, c, o.exp.Station.Locator == placeholderLocator)
	return nil
}

// counted says how many warnings there are.
func counted(n int) string {
	switch n {
	case 0:
		return ""
	case 1:
		return ", 1 warning"
	}
	return fmt.Sprintf(", %d warnings", n)
}

// placeholders warns of what `fairlobe new` wrote to be filled in.
func (o *opened) placeholders() diag.List {
	var out diag.List
	for _, one := range []struct{ key, have, placeholder, mend string }{
		{"station.call", o.exp.Station.Call, placeholderCall, "write your own call sign"},
		{"station.locator", o.exp.Station.Locator, placeholderLocator, "write your own locator, of six characters"},
	} {
		if one.have == one.placeholder {
			out = append(out, diag.Diag{Pos: o.exp.Pos(one.key), Severity: diag.Warning, Code: "placeholder",
				Msg: fmt.Sprintf("%s is still what fairlobe wrote", one.have), Mend: one.mend})
		}
	}
	return out
}

// readData reads all data files without judging, so that nothing of a result is seen.
func (o *opened) readData(ctx context.Context) (diag.List, error) {
	data, err := stages.Find(o.exp)
	if err != nil {
		return nil, err
	}
	done, err := runGraph(ctx, pipeline.Options{Salt: version}, data.Reading(o.planned))
	if err != nil {
		return nil, err
	}
	return done.Notes, nil
}

// describe tells how the arms differ, and what the seal says.
func (o *opened) describe(std streams) {
	if len(o.exp.Arms) > 1 {
		fmt.Fprintln(std.out, "\nThe arms differ in:")
		differences := o.exp.Differences()
		for _, d := range differences {
			derived := ""
			if d.Derived {
				derived = "  (follows from the others)"
			}
			fmt.Fprintf(std.out, "  %s %s%s\n", d, d.Unit, derived)
		}
		if len(differences) == 0 {
			fmt.Fprintln(std.out, "  nothing that is declared")
		}
	}
	fmt.Fprintln(std.out)
	o.describeSeal(std)
}

// describeSeal says whether the experiment is sealed, and what has changed since.
func (o *opened) describeSeal(std streams) {
	switch o.standing.State {
	case judge.SealNone:
		fmt.Fprintf(std.out, "Not sealed. Before the trial: fairlobe design --seal %s\n", shellWord(o.exp.File))
	case judge.SealSame:
		fmt.Fprintf(std.out, "Sealed at %s, unchanged since:\n  %s\n", o.standing.SealedAt.Format("2006-01-02 15:04Z"), o.standing.Digest)
	default:
		fmt.Fprintf(std.out, "Sealed at %s, and changed since:\n  %s\n", o.standing.SealedAt.Format("2006-01-02 15:04Z"), strings.Join(o.changed, "\n  "))
	}
}
