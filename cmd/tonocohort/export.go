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
	var columns, dataset, by string
	cmd := &cobra.Command{
		Use:     "export RESULTS TABLE",
		GroupID: "statistics",
		Short:   "Print one table as CSV, or write it as partitioned Parquet",
		Long: `Prints a table of RESULTS/tables as CSV: a header line, numbers with as many
digits as they need to come back equal, empty cells where a value is missing.
Waves are samples separated by blanks.

Person-level tables are restricted: what is printed here stays with the study.

--partitioned DIR writes the table as a data set of several Parquet files in its
place, which DuckDB, Spark and Arrow read as one table: a folder COLUMN=VALUE for
each value of the column that --by names (__HIVE_DEFAULT_PARTITION__ where it is
missing), or without --by the folders part=1, part=2, … of about a million rows.
The column stands in the folders' names alone then: have the reader take it as
text, or a code such as 01 becomes a number.

--columns picks columns and their order; the shell completes their names.
--for-spreadsheet puts an apostrophe before text that a spreadsheet would run as
a formula. The file is then for looking at, not for a program.`,
		Example: `  tonocohort export RESULTS summary > summary.csv
  tonocohort export RESULTS subject_visits --columns subject_id,age_years,central_pp_mmhg | head
  tonocohort export RESULTS recordings --partitioned DIR --by device_id
  duckdb -c "SELECT count(*) FROM read_parquet('DIR/**/*.parquet', hive_partitioning = true, hive_types_autocast = false)"`,
		Args: exactly("RESULTS", "TABLE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Columns = listed(columns)
			switch {
			case dataset != "":
				if o.Columns != nil || o.ForSpreadsheet {
					return usageError(errors.New("--partitioned takes no --columns and no --for-spreadsheet"))
				}
				return exportDataset(cmd, args[0], args[1], dataset, by)
			case by != "":
				return usageError(errors.New("--by needs --partitioned DIR"))
			}
			err := pipeline.Export(args[0], args[1], cmd.OutOrStdout(), o)
			if err != nil {
				return whyNotExported(err)
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
	cmd.Flags().StringVar(&dataset, "partitioned", "", "folder to make, for a data set of several Parquet files")
	cmd.Flags().StringVar(&by, "by", "", "column by which the data set is divided; without it by rows")
	return cmd
}

// exportDataset writes a table as a partitioned data set.
func exportDataset(cmd *cobra.Command, results, table, out, by string) error {
	done, err := pipeline.Partition(cmd.Context(), results, table, out, by)
	if errors.Is(err, pipeline.ErrBundleExists) {
		return usageError(err)
	}
	if err != nil {
		return cannot("export "+results, whyNotExported(err))
	}
	fmt.Fprintf(cmd.ErrOrStderr(), "%d rows in %d files in %s, which stay with the study\n", done.Rows, done.Files, out)
	return nil
}

// whyNotExported says which names there are in place of one that is not there.
func whyNotExported(err error) error {
	var unknown *pipeline.UnknownNameError
	if errors.As(err, &unknown) {
		return unknownName(unknown.What, unknown.Name, unknown.Known)
	}
	return err
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
