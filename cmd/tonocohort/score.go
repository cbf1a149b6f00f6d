package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
	"tonocohort/schema"
)

func newScore() *cobra.Command {
	var out string
	var all bool
	cmd := &cobra.Command{
		Use:     "score RESULTS NEW.csv [--out FILE]",
		GroupID: "statistics",
		Short:   "Turn new persons' values into z-scores and centiles",
		Long: `Reads the reference centiles of RESULTS (its table centile_parameters, checked
against the manifest; a release that stands alone will do) and the values of
NEW.csv, and prints a row for each person, variable and reference: z, the standard
normal deviate of the value among people of the same sex and age, and centile_pct,
the percent of such people below it.

NEW.csv is UTF-8 with a header line and has the columns sex, age_years,
calibration, central_method and at least one variable of the references, as
central_pp_mmhg; it may have subject_id. What it has beside these is not used.

A score is empty, and the note says why, outside the fitted ages, for another sex
than the fitted, and beyond the outermost curves of quantile_spline. If one value
has another calibration or estimator than its reference, all are refused.

The columns of the output: tonocohort schema scores.`,
		Example: `  tonocohort score RESULTS NEW.csv > scores.csv
  tonocohort score RESULTS NEW.csv --out scores.csv
  tonocohort score RESULTS/release NEW.csv --out scores.csv`,
		Args: exactly("RESULTS", "NEW.csv"),
		RunE: func(cmd *cobra.Command, args []string) error {
			scored, err := pipeline.Score(args[0], args[1], out, cmd.OutOrStdout())
			var structural *pipeline.StructuralError
			var differs *pipeline.DifferenceError
			switch {
			case errors.As(err, &structural):
				printIssues(cmd.ErrOrStderr(), structural.Issues, all)
				return &statusError{exitStructural, errors.New("nothing was scored and nothing was written")}
			case errors.As(err, &differs):
				return &statusError{exitDifference, err}
			case errors.Is(err, pipeline.ErrFileExists), errors.Is(err, pipeline.ErrNoFile), errors.Is(err, pipeline.ErrNoFolder), errors.Is(err, pipeline.ErrNoReference):
				return usageError(err)
			case err != nil:
				return err
			}
			printIssues(cmd.ErrOrStderr(), scored.Issues, all)
			if len(scored.Unused) > 0 {
				fmt.Fprintln(cmd.ErrOrStderr(), "columns not used:", strings.Join(scored.Unused, ", "))
			}
			fmt.Fprintf(cmd.ErrOrStderr(), "%d rows, %d with a score\n%s\n", scored.Rows, scored.Scores, schema.Caution)
			return nil
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "file for the scores; without it they go to standard output")
	cmd.Flags().BoolVar(&all, "all", false, "print every problem on its own line")
	return cmd
}
