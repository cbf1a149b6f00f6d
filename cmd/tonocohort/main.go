// Command tonocohort turns a study folder of cuff pressures and pulse
// recordings into central pressure tables, statistics and a manifest.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

// The exit statuses, the same for every command.
const (
	exitFinished    = 0
	exitInternal    = 1
	exitUsage       = 2
	exitPartly      = 3
	exitStructural  = 4
	exitDifference  = 5
	exitDisclosure  = 6
	exitShards      = 7
	exitInterrupted = 130
)

// statusError carries the exit status of a command that has already said why.
type statusError struct {
	status int
	err    error // nil: nothing more to say
}

func (e *statusError) Error() string {
	if e.err == nil {
		return fmt.Sprintf("exit status %d", e.status)
	}
	return e.err.Error()
}

func (e *statusError) Unwrap() error { return e.err }

func main() {
	// What a library logs about a file is none of a user's business, and may tell
	// of a person: everything that is said goes through Issues.
	log.SetOutput(io.Discard)
	pipeline.FollowHeapBudget()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// A second signal ends the program at once, as does a step that does not look
	// up in time: nothing is lost by it, since what is kept is written already.
	context.AfterFunc(ctx, func() {
		stop()
		time.Sleep(patience)
		fmt.Fprintln(os.Stderr, "tonocohort: interrupted; what was finished before is kept, and the same command goes on from there")
		os.Exit(exitInterrupted)
	})
	os.Exit(execute(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// patience is how long an interrupted command may take to end by itself.
const patience = 800 * time.Millisecond

// execute runs one command line and returns its exit status; results go to
// stdout, everything else to stderr.
func execute(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	var status *statusError
	var part *pipeline.ShardError
	switch {
	case err == nil:
		return exitFinished
	case errors.As(err, &status):
		if status.err != nil {
			complain(stderr, status.err)
		}
		return status.status
	case errors.Is(err, pipeline.ErrNoFolder) || errors.As(err, &part):
		complain(stderr, err)
		return exitUsage
	case errors.Is(err, context.Canceled):
		complain(stderr, interruption(err))
		return exitInterrupted
	default:
		complain(stderr, err)
		return exitInternal
	}
}

// complain says why a command did not end well.
func complain(stderr io.Writer, why any) {
	fmt.Fprintln(stderr, paint(stderr).as(red, "tonocohort:"), why)
}

// interruption says what an interruption leaves behind.
func interruption(err error) string {
	var stopped *pipeline.StoppedError
	if errors.As(err, &stopped) {
		return stopped.Error()
	}
	return "interrupted"
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "tonocohort",
		Short: "Central pressure for a whole cohort of pulse recordings",
		Long: `tonocohort reads a study folder (cuff pressures and pulse recordings by
applanation tonometry), works the pressure at the aortic root back from each
recording, and writes tables, stratified statistics, a regression, a comparison
with published values and a manifest from which all of it can be recomputed.

Research use only. Not a diagnosis: decisions belong to licensed clinicians and
local guidance.`,
		Example: `  tonocohort demo quay                     an invented cohort, and its results
  tonocohort check STUDY                   judge every input, compute nothing
  tonocohort run STUDY --out RESULTS       the main job`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usageError(fmt.Errorf("unknown command %q", args[0]))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.AddCommand(newDemo(), newInit(), newCheck(), newRun(), newMerge(), newEngines(), newFit(), newExport(), newFigures(), newTables(), newPool(), newPublished(), newScore(), newSchema(), newManual())
	root.AddCommand(reviewCommands()...)
	addHelp(root)
	addCompletion(root)
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError(err) })
	return root
}

// usageError marks a mistake on the command line.
func usageError(err error) error {
	text := strings.TrimSpace(err.Error())
	return &statusError{exitUsage, fmt.Errorf("%s (see tonocohort --help)", text)}
}

// exactly asks for the named arguments and says which one is missing.
func exactly(names ...string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) < len(names) {
			return usageError(fmt.Errorf("missing %s", names[len(args)]))
		}
		switch {
		case len(args) <= len(names):
		case len(names) == 0:
			return usageError(fmt.Errorf("unexpected %q: no argument is taken", args[0]))
		default:
			return usageError(fmt.Errorf("unexpected %q after %s", args[len(names)], names[len(names)-1]))
		}
		return nil
	}
}
