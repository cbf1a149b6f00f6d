package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"tonocohort/pipeline"
	"tonocohort/schema"
)

// voice is how much a command says on standard error.
type voice struct{ quiet, verbose bool }

func (v *voice) addTo(cmd *cobra.Command) {
	cmd.Flags().BoolVarP(&v.quiet, "quiet", "q", false, "no progress and no closing summary")
	cmd.Flags().BoolVarP(&v.verbose, "verbose", "v", false, "every step with its seconds, and every problem that was met")
}

func (v *voice) check() error {
	if v.quiet && v.verbose {
		return usageError(errors.New("--quiet and --verbose do not go together"))
	}
	return nil
}

// listen has the pipeline tell of its steps and its progress; the function that it
// returns ends the telling.
func (v *voice) listen(w io.Writer, o *pipeline.Options) (end func()) {
	bar := newProgress(w, v.quiet)
	o.Progress = bar.show
	started, step := time.Now(), ""
	ended := func() {
		if v.verbose && step != "" {
			bar.end()
			fmt.Fprintf(w, "%s: %.2f s\n", step, time.Since(started).Seconds())
		}
	}
	o.Step = func(name string) {
		ended()
		started, step = time.Now(), name
		bar.step(name)
	}
	return func() {
		ended()
		bar.end()
	}
}

// problems shows what was met on the way, if that was asked for.
func (v *voice) problems(w io.Writer, issues []schema.Issue) {
	if v.verbose {
		printIssues(w, issues, true)
	}
}

// onTerminal tells whether w is a terminal that moves its cursor.
func onTerminal(w io.Writer) bool {
	file, ok := w.(*os.File)
	return ok && term.IsTerminal(int(file.Fd())) && os.Getenv("TERM") != "dumb"
}

// painter colours words where w is a terminal and NO_COLOR (https://no-color.org)
// is not set. The words say the same without.
type painter bool

func paint(w io.Writer) painter { return painter(onTerminal(w) && os.Getenv("NO_COLOR") == "") }

// The colours are of the terminal's own palette, which its user has chosen.
const (
	bold   = "1"
	red    = "1;31"
	yellow = "33"
	faint  = "2"
)

func (p painter) as(how, text string) string {
	if !p {
		return text
	}
	return "\x1b[" + how + "m" + text + "\x1b[0m"
}

// size is the name of a fault's size, padded to a column.
func (p painter) size(s schema.Size) string {
	how := map[schema.Size]string{schema.SizeStructural: red, schema.SizeRecording: yellow, schema.SizeValue: yellow, schema.SizeNote: faint}[s]
	return p.as(how, fmt.Sprintf("%-10s", s))
}
