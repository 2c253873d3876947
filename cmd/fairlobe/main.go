// Fairlobe runs reproducible antenna experiments for radio amateurs: see README.md, or `fairlobe help`.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
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
	statusInterrupted = 130
)

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

// run is the whole program but for the process.
func run(args []string, in io.Reader, out, errOut io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	root := rootCommand(streams{in, out, errOut})
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errOut)
	return status(root.ExecuteContext(ctx), errOut)
}

// streams are where a command reads and writes: results to out, everything else to err.
type streams struct {
	in  io.Reader
	out io.Writer
	err io.Writer
}

// usageError is a fault of the command line.
type usageError struct{ error }

// usage makes a fault of the command line.
func usage(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// status prints an error as its kind asks, and gives the exit status.
func status(err error, errOut io.Writer) int {
	var findings diag.List
	var wrongUse usageError
	switch {
	case err == nil:
		return statusDone
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(errOut, "fairlobe: interrupted; what was computed is kept, and the next run goes on from there")
		return statusInterrupted
	case errors.As(err, &findings):
		fmt.Fprintln(errOut, findings.Error())
		return statusFault
	case errors.As(err, &wrongUse), strings.HasPrefix(err.Error(), "unknown command"):
		fmt.Fprintf(errOut, "fairlobe: %v\n    mend: see fairlobe help\n", err)
		return statusUsage
	}
	fmt.Fprintf(errOut, "fairlobe: %v\n", err)
	if errors.Is(err, syscall.ENOSPC) {
		fmt.Fprintln(errOut, "    mend: the disk is full: make room, or name another place with --out and --store; earlier outputs are untouched")
	}
	return statusFault
}

func rootCommand(std streams) *cobra.Command {
	root := &cobra.Command{
		Use:           "fairlobe",
		Short:         "Compare wire antennas in the field, honestly",
		Long:          rootLong,
		Version:       version,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage("there is no command %q", args[0])
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	root.CompletionOptions.HiddenDefaultCmd = true
	root.AddCommand(newCommand(std), checkCommand(std), designCommand(std), runCommand(std))
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
