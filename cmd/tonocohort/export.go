package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

func newExport() *cobra.Command {
	var spreadsheet bool
	cmd := &cobra.Command{
		Use:     "export RESULTS TABLE",
		GroupID: "statistics",
		Short:   "Print one table as CSV on standard output",
		Long: `Prints a table of RESULTS/tables as CSV: a header line, numbers with as many
digits as they need to come back equal, empty cells where a value is missing.
Waves are samples separated by blanks.

Person-level tables are restricted: what is printed here stays with the study.

--for-spreadsheet puts an apostrophe before text that a spreadsheet would run as
a formula. The file is then for looking at, not for a program.

` + exitHelp,
		Example: `  tonocohort export RESULTS summary > summary.csv
  tonocohort export RESULTS subject_visits | head`,
		Args: exactly("RESULTS", "TABLE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			err := pipeline.Export(args[0], args[1], cmd.OutOrStdout(), spreadsheet)
			if known, ok := pipeline.UnknownTable(err); ok {
				return unknownTable(args[1], known)
			}
			if err == nil && !pipeline.Sealed(args[0]) {
				fmt.Fprintf(cmd.ErrOrStderr(), "tonocohort: %s is not sealed: its run was stopped before the end\n", args[0])
			}
			return err
		},
	}
	cmd.Flags().BoolVar(&spreadsheet, "for-spreadsheet", false, "make text cells safe to open in a spreadsheet")
	return cmd
}
