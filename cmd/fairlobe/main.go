// Fairlobe runs reproducible antenna experiments for radio amateurs: see README.md, or `fairlobe help`.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"fairlobe/pipeline/diag"
)

// Exit statuses.
const (
	statusDone        = 0
	statusFault       = 1 // the experiment file, data, log or bundle is at fault, or the machine failed
	statusUsage       = 2 // the command line is wrong, nothing was read
	statusOther       = 3 // other bytes came out than those that were there
	statusInterrupted = 130
)

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

// run is the whole program but for the process.
func run(args []string, in io.Reader, out, errOut io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
	screen := &screen{out: out}
	root := rootCommand(streams{in, screen, errOut})
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(screen)
	root.SetErr(errOut)
	cmd, err := root.ExecuteContextC(ctx)
	if err == nil {
		err = screen.err
	}
	return status(err, cmd, errOut)
}

// streams are where a command reads and writes: results to out, everything else to err.
type streams struct {
	in  io.Reader
	out *screen
	err io.Writer
}

// screen is standard output. It keeps the first error, so that a pipe or a disk that takes no more ends in a status
// that tells, whichever command was printing.
type screen struct {
	out io.Writer
	err error
}

func (s *screen) Write(text []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	n, err := s.out.Write(text)
	if err != nil {
		s.err = diag.List{{Msg: fmt.Sprintf("fairlobe: standard output takes no more: %v", cause(err)),
			Mend: "send it somewhere else; the files that the command writes are whole"}}
	}
	return n, s.err
}

// usageError is a fault of the command line.
type usageError struct{ error }

// usage makes a fault of the command line.
func usage(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// status prints an error as its kind asks, and gives the exit status. cmd is the command that was asked for.
func status(err error, cmd *cobra.Command, errOut io.Writer) int {
	var findings diag.List
	var wrongUse usageError
	var other otherBytes
	switch {
	case err == nil:
		return statusDone
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(errOut, "fairlobe: interrupted"+kept(cmd))
		return statusInterrupted
	case errors.As(err, &findings):
		fmt.Fprintln(errOut, findings.Error())
		return statusFault
	case errors.As(err, &wrongUse):
		fmt.Fprintf(errOut, "fairlobe: %v\n    mend: see %s\n", err, helpFor(cmd))
		return statusUsage
	case errors.As(err, &other):
		fmt.Fprintln(errOut, other.text)
		return statusOther
	}
	fmt.Fprintf(errOut, "fairlobe: %v\n", err)
	if mend := mendFor(err); mend != "" {
		fmt.Fprintf(errOut, "    mend: %s\n", mend)
	}
	return statusFault
}

// kept says what an interrupted command has left.
func kept(cmd *cobra.Command) string {
	switch {
	case cmd != nil && cmd.Name() == "run":
		return "; what was computed is kept, and the next run goes on from there"
	case cmd != nil && cmd.Name() == "field":
		return "; the log has everything, and the same command goes on from there"
	case cmd != nil && slices.Contains([]string{"share", "receive", "pool"}, cmd.Name()):
		return "; nothing was written"
	}
	return ""
}

// helpFor is the command that shows the help of another.
func helpFor(cmd *cobra.Command) string {
	if !cmd.HasParent() || cmd.Name() == "help" {
		return "fairlobe help"
	}
	return "fairlobe help " + cmd.Name()
}

// mendFor says what to do where the machine failed.
func mendFor(err error) string {
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT), errors.Is(err, syscall.EFBIG):
		return "make room, or name another place with --out and --store; what was there before is untouched"
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return "give yourself the right to write there, or work in another folder (run has --out and --store)"
	}
	return ""
}

// cause is the innermost reason of an error, which names no file.
func cause(err error) error {
	for {
		inner := errors.Unwrap(err)
		if inner == nil {
			return err
		}
		err = inner
	}
}

func rootCommand(std streams) *cobra.Command {
	root := &cobra.Command{
		Use:           "fairlobe",
		Short:         "Compare wire antennas in the field, honestly",
		Long:          rootLong,
		Version:       version,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          func(cmd *cobra.Command, args []string) error { return noCommand(cmd, args) },
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error {
		words, _, number := strings.Cut(err.Error(), ": strconv.")
		if number {
			words += ": that is no number it can take"
		}
		return usageError{errors.New(words)}
	})
	root.CompletionOptions.DisableDefaultCmd = true
	root.SuggestionsMinimumDistance = 2
	root.SetUsageTemplate(usageTemplate)
	root.SetHelpCommand(helpCommand())
	root.AddCommand(newCommand(std), checkCommand(std), designCommand(std), rehearseCommand(std), fieldCommand(std),
		runCommand(std), shareCommand(std), receiveCommand(std), poolCommand(std))
	root.AddCommand(topics()...)
	return root
}

// oneExperiment asks for exactly one operand.
func oneExperiment(cmd *cobra.Command, args []string) error {
	if len(args) != 1 {
		return usage("%s wants one experiment file, %d were given", cmd.Name(), len(args))
	}
	return nil
}

// noCommand is the fault of a first word that names no command.
func noCommand(root *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	near := ""
	if names := root.SuggestionsFor(args[0]); len(names) > 0 {
		near = "; did you mean " + strings.Join(names, " or ")
	}
	return usage("there is no command %q%s", args[0], near)
}
