package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
	"tonocohort/schema"
)

func newInit() *cobra.Command {
	var o pipeline.DraftOptions
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "init DIR --from bids|wfdb|edf|csv FOLDER",
		GroupID: "study",
		Short:   "Draft a study folder from a folder of recordings",
		Long: `Makes the study folder DIR from the recordings in FOLDER, in which nothing is
written: study.yaml, the tables subjects, visits, cuff and recordings as far as
headers and side files fill them, and the recordings themselves under DIR/waves,
since no file of a study may lie outside it. What a person must still fill in is
printed and stands in DIR/fill-in.md.

  bids  *_physio.tsv.gz with its side files; participants.tsv becomes subjects
        and covariates, sessions become visits
  wfdb  records by their header (*.hea), with all segments
  edf   *.edf and *.bdf; names, dates and free text of the headers are not read
  csv   *.csv and *.csv.gz; delimiter and decimal sign are found and declared

--names tells who is who by the names of the files, without their ending:
{subject}, {visit} and {recording} stand for the parts, * for what does not
matter. A pattern that holds / is held against the path below FOLDER. Without it
each file is taken as a person of its own.

With --json: {"recordings": n, "files": n, "to_fill": [text], "counts": {size: n}}.`,
		Example: `  tonocohort init STUDY --from bids DATASET
  tonocohort init STUDY --from edf FOLDER --names '{subject}_{visit}_*'`,
		Args: exactly("DIR", "FOLDER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !slices.Contains(pipeline.DraftFormats(), o.From) {
				return usageError(fmt.Errorf("--from %q: one of %s", o.From, strings.Join(pipeline.DraftFormats(), ", ")))
			}
			drafted, err := pipeline.Draft(cmd.Context(), args[1], args[0], o)
			var wrong *pipeline.DraftError
			if errors.As(err, &wrong) {
				return usageError(err)
			}
			if err != nil {
				return err
			}
			if asJSON {
				return printJSON(cmd.OutOrStdout(), map[string]any{"recordings": drafted.Recordings, "files": drafted.Files,
					"to_fill": drafted.ToFill, "counts": countSizes(drafted.Issues)})
			}
			out := cmd.OutOrStdout()
			fmt.Fprintf(out, "drafted a study of %d recordings (%d files); still to fill in, also in %s:\n", drafted.Recordings, drafted.Files, pipeline.FillIn)
			for _, line := range drafted.ToFill {
				fmt.Fprintln(out, "  - "+line)
			}
			fmt.Fprintf(out, "as it stands, check finds: %s\nnext: tonocohort check %s\n", countLine(drafted.Issues), args[0])
			if schema.AnyStructural(drafted.Issues) {
				return &statusError{status: exitStructural}
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&o.From, "from", "", "what the folder holds: bids, wfdb, edf or csv")
	cmd.Flags().StringVar(&o.Names, "names", "", "how file names tell person, visit and recording")
	cmd.Flags().BoolVar(&o.Link, "link", false, "hard links in place of copies: no space is taken, but a change to one changes the other")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the list as JSON")
	return cmd
}
