package main

import (
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

func newTables() *cobra.Command {
	var analysis, out string
	var quiet, replace, asJSON bool
	cmd := &cobra.Command{
		Use:     "tables RESULTS [--analysis FILE] [--out DIR]",
		GroupID: "statistics",
		Short:   "Statistics again, from the person-level tables alone",
		Long: `Carries out a plan on RESULTS/tables, without the study: what is read is
checked against RESULTS/manifest.json first. FILE holds the keys that study.yaml
has below analysis, or analysis itself; without --analysis the plan of the
results is carried out again. A published set of your own that the plan names (a
file that ends in .csv) is looked for beside FILE.

DIR (RESULTS-tables where it is not given) gets the tables of statistics, what
may be released, and a manifest that names RESULTS by its content digest. It
holds no person-level table.`,
		Example: `  tonocohort tables RESULTS --analysis plan.yaml --out PLAN
  tonocohort tables RESULTS`,
		Args: exactly("RESULTS"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				out = filepath.Clean(args[0]) + "-tables"
			}
			outcome, err := pipeline.Tables(cmd.Context(), args[0], analysis, out, pipeline.Options{Replace: replace, Version: version})
			return closeTables(cmd, outcome, err, out, quiet, asJSON)
		},
	}
	cmd.Flags().StringVar(&analysis, "analysis", "", "file with the plan")
	cmd.Flags().StringVar(&out, "out", "", "folder for the results (made if need be)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print what came out as JSON, as run does")
	cmd.Flags().BoolVar(&quiet, "quiet", false, "no closing summary")
	cmd.Flags().BoolVar(&replace, "replace", false, "write over finished results")
	return cmd
}

// closeTables says what a command that makes statistics from results has done,
// and finds its exit status.
func closeTables(cmd *cobra.Command, outcome *pipeline.Outcome, err error, out string, quiet, asJSON bool) error {
	var structural *pipeline.StructuralError
	var differs *pipeline.DifferenceError
	switch {
	case errors.As(err, &structural):
		printIssues(cmd.ErrOrStderr(), onlyStructural(structural.Issues), false)
		return &statusError{exitStructural, err}
	case errors.As(err, &differs):
		return &statusError{exitDifference, err}
	case errors.Is(err, pipeline.ErrSealed):
		return usageError(err)
	case err != nil:
		return err
	}
	if !quiet {
		printIssues(cmd.ErrOrStderr(), outcome.Issues, false)
		for _, line := range pipeline.Headlines(outcome.Summary) {
			fmt.Fprintln(cmd.ErrOrStderr(), line)
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "results in %s; release/ is for others, tables/ stays with the study\n", out)
		fmt.Fprintf(cmd.ErrOrStderr(), "next: open %s/release/report.html · tonocohort verify %s\n", out, out)
	}
	if asJSON {
		if err := printJSON(cmd.OutOrStdout(), reportOf(outcome, out)); err != nil {
			return err
		}
	}
	if outcome.Blocked != nil {
		return &statusError{exitDisclosure, outcome.Blocked}
	}
	return nil
}
