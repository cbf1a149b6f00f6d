package main

import (
	"errors"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

func newPool() *cobra.Command {
	var o pipeline.PoolOptions
	var out string
	var quiet, asJSON bool
	cmd := &cobra.Command{
		Use:     "pool RESULTS… --out DIR",
		GroupID: "statistics",
		Short:   "Several studies in one set of tables, and who may be in them twice",
		Long: `Puts the person-level tables of several results folders into one. Ids become
study/id, and the column study, the first stratum, says whose a person is.
Columns that came with the persons must be of one kind and unit where several
studies have them. Calibration and estimator must agree, or be allowed to differ
(--allow-different), and any other setting that differs is noted.

The plan is FILE's (--analysis), or the one that all the studies had.

The table likely_same lists ids that are likely one person: of the same sex,
birth date or age, height, and with near-equal waves. It is restricted, and for a
person to judge. With a single RESULTS it lists those within one study.`,
		Example: `  tonocohort pool NORTH SOUTH --out BOTH
  tonocohort export BOTH likely_same`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageError(errors.New("missing RESULTS"))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				return usageError(errors.New("missing --out DIR"))
			}
			o.Version = version
			outcome, err := pipeline.Pool(cmd.Context(), args, out, o)
			return closeTables(cmd, outcome, err, out, quiet, asJSON)
		},
	}
	cmd.Flags().StringVar(&o.Analysis, "analysis", "", "file with the plan")
	cmd.Flags().StringVar(&out, "out", "", "folder for the results (made if need be)")
	cmd.Flags().BoolVar(&o.AllowDifferent, "allow-different", false, "pool studies of different calibration or estimator, and note it")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print what came out as JSON, as run does")
	cmd.Flags().BoolVar(&quiet, "quiet", false, "no closing summary")
	cmd.Flags().BoolVar(&o.Replace, "replace", false, "write over finished results")
	return cmd
}
