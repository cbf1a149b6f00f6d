package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

// sheetsFlags are the options of the sheets command as they are given.
type sheetsFlags struct {
	pipeline.SheetsOptions
	merge        string
	serve, quiet bool
	recordings   recordingsOption
}

func newSheets() *cobra.Command {
	var f sheetsFlags
	cmd := &cobra.Command{
		Use:     "sheets RESULTS [--study STUDY]",
		GroupID: "review",
		Short:   "A book of recordings to read over, with accept and reject by key",
		Long: `Writes a book of HTML pages, one sheet a recording: the trace with each beat
accepted or rejected and why, beats over each other with their average, the
recorded and the aortic wave on one axis, values with 95 % intervals, the other
recordings of the visit beside it, the grade with its reasons, and who has read it.
RESULTS hold average waves alone: traces are read from STUDY, each only if its
digest is the one in the manifest. The book holds single persons: it stays with the
study. It is written to --out (RESULTS-sheets), never into RESULTS.

Which recordings: --quality, --reason, --id, --centre, --operator, --device, each a
list separated by commas, --unread, and --sample 10% (by a hash of the recording's
id, for you as for anyone); all that are given must hold. No script, server or
network is needed to read. In a browser with script: j next, k previous, a accept,
r reject, n reason, u undo, d download.

What is decided becomes reviews.csv (recording_id, decision, reason, reader,
read_on), and the next run takes it up, both verdicts in its table reviews:

--merge FILE   puts a downloaded file beside what the study's reviews table has:
               of one recording and reader the new row replaces the old one.
               Makes no book
--serve        serves the book to this machine alone, at an address with a
               secret in it, and writes each verdict into the reviews table at
               once; the book is removed at Ctrl-C unless --out names a folder
--reviews FILE writes to FILE in place of the study's own table`,
		Example: `  tonocohort sheets RESULTS --study STUDY --quality doubtful
  tonocohort sheets RESULTS --study STUDY --reason rhythm,few_beats --centre north
  tonocohort sheets RESULTS --study STUDY --merge ~/Downloads/reviews.csv
  tonocohort sheets RESULTS --study STUDY --quality doubtful --unread --serve`,
		Args: exactly("RESULTS"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var err error
			if f.Only.Sample, err = share(f.Only.SampleText); err != nil {
				return usageError(err)
			}
			if err := f.usage(); err != nil {
				return usageError(err)
			}
			return whyNoSheets(cmd, f.Study, f.run(cmd, args[0]))
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&f.Study, "study", "", "the study folder that RESULTS were made from")
	f.recordings.addTo(cmd)
	flags.StringVar(&f.KeyFile, "key-file", "", "secret behind keyed pseudonyms and dates")
	flags.StringVar(&f.Out, "out", "", "folder of the book (RESULTS-sheets)")
	flags.StringSliceVar(&f.Only.Grades, "quality", nil, "grades: usable, doubtful, unusable")
	flags.StringSliceVar(&f.Only.Reasons, "reason", nil, "why the grade was lowered, or the recording left out")
	flags.StringSliceVar(&f.Only.IDs, "id", nil, "recordings or persons, by their ids in RESULTS")
	flags.StringSliceVar(&f.Only.Centres, "centre", nil, "centres")
	flags.StringSliceVar(&f.Only.Operators, "operator", nil, "who took the recording, by the id in RESULTS")
	flags.StringSliceVar(&f.Only.Devices, "device", nil, "devices")
	flags.BoolVar(&f.Only.Unread, "unread", false, "what nobody has read yet")
	flags.StringVar(&f.Only.SampleText, "sample", "", "share of the recordings, as 10% or 0.1")
	flags.IntVar(&f.PerPage, "per-page", 20, "recordings on a page")
	flags.BoolVar(&f.serve, "serve", false, "serve the book to this machine and write verdicts in place")
	flags.StringVar(&f.Reviews, "reviews", "", "write verdicts to this file, not to the study's table")
	flags.StringVar(&f.merge, "merge", "", "put a downloaded file of verdicts into the reviews table")
	flags.BoolVar(&f.quiet, "quiet", false, "no progress")
	return cmd
}

func (f *sheetsFlags) usage() error {
	for _, g := range f.Only.Grades {
		if g != "usable" && g != "doubtful" && g != "unusable" {
			return fmt.Errorf("--quality %s: usable, doubtful or unusable", g)
		}
	}
	filtered := f.Only.Sample > 0 || f.Only.Unread
	for _, list := range [][]string{f.Only.Grades, f.Only.Reasons, f.Only.IDs, f.Only.Centres, f.Only.Operators, f.Only.Devices} {
		filtered = filtered || len(list) > 0
	}
	switch {
	case f.PerPage < 1:
		return fmt.Errorf("--per-page %d: one or more", f.PerPage)
	case f.KeyFile != "" && f.Study == "":
		return errors.New("--key-file goes with --study")
	case f.recordings.url != "" && (f.Study == "" || f.merge != ""):
		return errors.New("--recordings goes with --study, and with a book")
	case f.merge != "" && (f.serve || filtered || f.Out != ""):
		return errors.New("--merge makes no book: no other option goes with it than --study, --key-file and --reviews")
	case (f.merge != "" || f.serve) && f.Study == "" && f.Reviews == "":
		return errors.New("nowhere to write verdicts: give --study STUDY or --reviews FILE")
	case f.Reviews != "" && f.merge == "" && !f.serve:
		return errors.New("--reviews goes with --serve or --merge")
	}
	return nil
}

func (f *sheetsFlags) run(cmd *cobra.Command, results string) error {
	var reviews *pipeline.ReviewsFile
	if f.merge != "" || f.serve {
		var err error
		if reviews, err = pipeline.OpenReviews(cmd.Context(), results, f.SheetsOptions); err != nil {
			return err
		}
	}
	if f.merge != "" {
		if err := pipeline.MergeReviews(reviews, f.merge); err != nil {
			return err
		}
		f.wrote(cmd, reviews)
		return nil
	}
	switch {
	case f.Out != "":
	case f.serve:
		dir, err := os.MkdirTemp("", "tonocohort-sheets-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		f.Out = dir
	default:
		f.Out = strings.TrimRight(filepath.Clean(results), string(filepath.Separator)) + "-sheets"
	}
	if err := f.write(cmd, results); err != nil || !f.serve {
		return err
	}
	if err := f.serveBook(cmd, reviews); err != nil && !errors.Is(err, context.Canceled) {
		return err
	}
	f.wrote(cmd, reviews)
	return nil
}

// write makes the book and says what came of it.
func (f *sheetsFlags) write(cmd *cobra.Command, results string) error {
	storage, done, err := f.recordings.open(cmd.Context())
	if err != nil {
		return err
	}
	defer done()
	f.Storage = storage
	bar := newProgress(cmd.ErrOrStderr(), f.quiet)
	f.Show = func(done, total int) { bar.show(pipeline.Progress{Done: done, Total: total}) }
	book, err := pipeline.MakeSheets(cmd.Context(), results, f.SheetsOptions)
	bar.end()
	if err != nil {
		return err
	}
	out := cmd.ErrOrStderr()
	for _, note := range book.Notes {
		fmt.Fprintln(out, "tonocohort:", note)
	}
	if !f.quiet {
		fmt.Fprintf(out, "%d recordings on %d pages, %d with their trace\n", book.Recordings, book.Pages, book.Traces)
	}
	if !f.serve {
		fmt.Fprintf(cmd.OutOrStdout(), "%s\n", filepath.Join(f.Out, "index.html"))
		if !f.quiet {
			fmt.Fprintln(out, "restricted: the book holds single persons and stays with the study")
		}
	}
	return nil
}

func (f *sheetsFlags) wrote(cmd *cobra.Command, reviews *pipeline.ReviewsFile) {
	fmt.Fprintln(cmd.ErrOrStderr(), reviews)
	if hint := reviews.Hint(); hint != "" && f.Reviews == "" {
		fmt.Fprintln(cmd.ErrOrStderr(), hint)
	}
}

// whyNoSheets gives an error of the command its exit status.
func whyNoSheets(cmd *cobra.Command, studyDir string, err error) error {
	var usage *pipeline.SheetsUsageError
	var structural *pipeline.StructuralError
	var key *pipeline.KeyError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &usage):
		return usageError(usage)
	case errors.As(err, &structural), errors.As(err, &key):
		return whyNotRun(cmd, studyDir, err)
	}
	return cannot("make sheets", err)
}
