package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os/signal"

	"github.com/spf13/cobra"

	"relaysweep/catalog"
	"relaysweep/sweep"
)

// version is what --version prints and the manifest records.
const version = "0.1.0"

// The exit codes.
const (
	exitDone        = 0
	exitFailed      = 1
	exitWrong       = 2 // the spec, a catalog or the command line is wrong
	exitNothing     = 3 // done, but nothing meets the requirements
	exitInterrupted = 130
)

// errNothing tells that a run is done but nothing meets the requirements.
var errNothing = errors.New("nothing meets the requirements")

// usageError is a wrong command line.
type usageError struct{ error }

// run carries out a command line and returns the exit code. Results go to
// stdout, progress and messages to stderr.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	ignoreFileLimit()
	stderr = &shared{w: stderr}
	ctx, stop := signal.NotifyContext(ctx, stopSignals()...)
	defer stop()
	// The first signal ends the work in good order; from then on another one
	// ends the process at once.
	context.AfterFunc(ctx, stop)
	root := newRoot()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	var faults catalog.Faults
	var usage usageError
	var changed *sweep.ChangedError
	var interrupted *interruptedError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errNothing):
		return exitNothing
	case errors.Is(err, errWrongTables):
		return exitWrong
	case errors.As(err, &interrupted):
		fmt.Fprintf(stderr, "relaysweep: %v\n", err)
		return exitInterrupted
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		fmt.Fprintln(stderr, "relaysweep: interrupted, nothing was written\n    the same command starts again")
		return exitInterrupted
	case errors.As(err, &faults):
		fmt.Fprintln(stderr, faults)
		fmt.Fprintln(stderr, faultCount(len(faults)))
		return exitWrong
	case errors.As(err, &changed):
		fmt.Fprintf(stderr, "relaysweep: %v\n", err)
		return exitWrong
	case errors.As(err, &usage):
		fmt.Fprintf(stderr, "relaysweep: %v\n    relaysweep --help tells what can be said\n", err)
		return exitWrong
	}
	fmt.Fprintf(stderr, "relaysweep: %v\n", err)
	return exitFailed
}

func faultCount(n int) string {
	if n == 1 {
		return "relaysweep: 1 fault, nothing was run"
	}
	return fmt.Sprintf("relaysweep: %d faults, nothing was run", n)
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "relaysweep",
		Short: "find the shortest train of stock lenses for a viewer with a movable mask",
		Long: `relaysweep reads a job (a TOML spec and tables of stock lenses), searches all
trains of single lenses and stacks that the job allows, checks the shortest by
exact rays, and writes a ranked table of designs and how far it is proven that
nothing shorter exists.

Exit codes: 0 done, 1 failed, 2 the spec, a catalog or the command line is
wrong, 3 done but nothing meets the requirements, 130 interrupted.

` + cautions,
		Version:       versionText(),
		SilenceUsage:  true,
		SilenceErrors: true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			return noCommand(cmd, args[0])
		},
		SuggestionsMinimumDistance: 2,
		RunE:                       func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetFlagErrorFunc(flagError)
	root.SetHelpCommand(newHelpCommand())
	root.AddCommand(newRunCommand(), newMergeCommand(), newCheckCommand(), newShowCommand(), newCompareCommand(), newReportCommand(), newSetpointsCommand(),
		newToleranceCommand(), newCalibrateCommand(), newInitCommand(), newCatalogCommand())
	root.SetVersionTemplate("{{.Version}}")
	completeArguments(root)
	return root
}

// oneArgument demands exactly one argument and says what it is.
func oneArgument(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != 1 {
			return usageError{fmt.Errorf("%s takes one argument, %s; found %d", cmd.Name(), what, len(args))}
		}
		return nil
	}
}

// cautions are told in full once a run, in the help and in the report.
const cautions = `Cautions
  A relay of short lenses focuses sunlight and lasers on the eye and on what
  stands at its image planes: never point it at the sun or into a beam. Laser
  and lamp safety follow IEC 60825-1 and IEC 62471 and local rules, judged by
  someone qualified. The stage moves by itself: keep fingers clear, and stop it
  before the mask can touch a lens. Round or pad every edge near the eye, where
  a slip or a knock would hurt. Whoever wears such a viewer sees from a displaced
  viewpoint through a narrowed field: use it seated; no driving, no walking, no
  tools. The numbers are design figures, not a safety assessment.
`

// cautionLine stands for the cautions wherever else designs are shown.
const cautionLine = "Cautions: never at the sun or into a beam; fingers off the moving stage; seated use only. In full: relaysweep help\n"
