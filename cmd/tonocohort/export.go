package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

func newExport() *cobra.Command {
	var o pipeline.ExportOptions
	var columns string
	cmd := &cobra.Command{
		Use:     "export RESULTS TABLE",
		GroupID: "statistics",
		Short:   "Print one table as CSV on standard output",
		Long: `Prints a table of RESULTS/tables as CSV: a header line, numbers with as many
digits as they need to come back equal, empty cells where a value is missing.
Waves are samples separated by blanks.

Person-level tables are restricted: what is printed here stays with the study.

--columns picks columns and their order; the shell completes their names.
--for-spreadsheet puts an apostrophe before text that a spreadsheet would run as
a formula. The file is then for looking at, not for a program.`,
		Example: `  tonocohort export RESULTS summary > summary.csv
  tonocohort export RESULTS subject_visits --columns subject_id,age_years,central_pp_mmhg | head`,
		Args: exactly("RESULTS", "TABLE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Columns = listed(columns)
			err := pipeline.Export(args[0], args[1], cmd.OutOrStdout(), o)
			var unknown *pipeline.UnknownNameError
			if errors.As(err, &unknown) {
				return unknownName(unknown.What, unknown.Name, unknown.Known)
			}
			if err != nil {
				return err
			}
			if m, unsealed := pipeline.ReadManifest(args[0]); unsealed != nil {
				fmt.Fprintf(cmd.ErrOrStderr(), "tonocohort: %s is not sealed: its run was stopped before the end\n", args[0])
			} else if about := pipeline.AboutShard(m); about != "" {
				fmt.Fprintf(cmd.ErrOrStderr(), "tonocohort: %s is %s\n", args[0], about)
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&columns, "columns", "", "names of columns, separated by commas; without it all")
	cmd.Flags().BoolVar(&o.ForSpreadsheet, "for-spreadsheet", false, "make text cells safe to open in a spreadsheet")
	return cmd
}

// listed takes a list of names apart; "" has none.
func listed(text string) []string {
	if text == "" {
		return nil
	}
	names := strings.Split(text, ",")
	for i := range names {
		names[i] = strings.TrimSpace(names[i])
	}
	return names
}
