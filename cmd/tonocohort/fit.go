package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
	"tonocohort/schema"
)

func newFit() *cobra.Command {
	var out string
	var all, quiet bool
	var o pipeline.FitOptions
	cmd := &cobra.Command{
		Use:     "fit PAIRS --out FILE.json",
		GroupID: "study",
		Short:   "Derive a transfer function from central and peripheral pairs",
		Long: `Reads a csv of paired recordings, averages the beats of both sides, and derives
the transfer function from the artery to the aorta: modulus and phase by
frequency with a confidence band, coherence between subjects, tubes fitted to it,
and a validation in which every subject is estimated by what the others gave.

PAIRS has the columns pair_id, subject_id, central_file, peripheral_file,
sampling_hz (empty where the files say it) and artery (radial or brachial), and
may have central_channel, peripheral_channel, central_artery (aortic or carotid),
format, unit (mmHg, or au with dbp_mmhg and map_mmhg) and simultaneous (yes or
no): tonocohort schema pairs describes them. Files are relative to its folder.

Writes FILE.json, which a study names with
  central: {method: transfer_table, transfer_file: FILE.json}
and beside it a figure (.svg) and a report with the validation (.md). None of the
three names a person or a file.

At least 5 subjects are needed, as fewer leave nobody to validate on; bands,
standard errors and limits of agreement stand from 10 on. A pair is left out
where a recording cannot be read, is flat or unusable, where rates or heart rates
differ, pressures are implausible or the channels look swapped; each is shown
with its reason, and the exit status is then 3.`,
		Example: `  tonocohort fit pairs.csv --out clinic.json
  tonocohort fit pairs.csv --out clinic.json --source "Clinic X, catheter laboratory" --folds 5`,
		Args: exactly("PAIRS"),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case out == "":
				return usageError(errors.New("missing --out FILE.json"))
			case o.Folds < 0 || o.Folds == 1:
				return usageError(fmt.Errorf("--folds %d: at least 2, or 0 for the default", o.Folds))
			}
			o.Version = version
			return runFit(cmd, args[0], out, o, all, quiet)
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "file for the transfer function; its name ends in .json")
	cmd.Flags().IntVar(&o.Folds, "folds", 0, "folds of the validation; 0: ten, or one per subject where there are fewer")
	cmd.Flags().StringVar(&o.Source, "source", "", "who measured the pairs; stands beside every value made with the function")
	cmd.Flags().BoolVar(&o.Replace, "replace", false, "write over existing files")
	cmd.Flags().BoolVar(&all, "all", false, "print every problem on its own line")
	cmd.Flags().BoolVar(&quiet, "quiet", false, "no closing summary")
	return cmd
}

// runFit derives and tells what came out.
func runFit(cmd *cobra.Command, pairs, out string, o pipeline.FitOptions, all, quiet bool) error {
	outcome, err := pipeline.Fit(cmd.Context(), pairs, out, o)
	var structural *pipeline.StructuralError
	switch {
	case errors.As(err, &structural):
		printIssues(cmd.ErrOrStderr(), structural.Issues, all)
		return &statusError{exitStructural, errors.New("no transfer function: nothing was written")}
	case errors.Is(err, pipeline.ErrFileExists), errors.Is(err, pipeline.ErrFileName), errors.Is(err, pipeline.ErrNoFile):
		return usageError(err)
	case err != nil:
		return err
	}
	printIssues(cmd.ErrOrStderr(), outcome.Issues, all)
	if !quiet {
		fitSummary(cmd.ErrOrStderr(), outcome, out)
	}
	if c := outcome.Transfer.Counts.Pairs; c.Used < c.Found {
		return &statusError{status: exitPartly}
	}
	return nil
}

// fitSummary sets the derived function beside the published tube.
func fitSummary(w io.Writer, o *pipeline.FitOutcome, out string) {
	c := o.Transfer.Counts
	fmt.Fprintf(w, "pairs: %d found, %d used, %d excluded, %d failed; %d subjects\n", c.Pairs.Found, c.Pairs.Used, c.Pairs.Excluded, c.Pairs.Failed, c.Subjects)
	fmt.Fprintf(w, "out-of-fold errors, %d folds of whole subjects, and those of the published tube (bias ± SD):\n", o.Transfer.Folds)
	for _, v := range []string{"central_sbp_mmhg", "central_pp_mmhg", "augmentation_index_pct", "wave_rmse_mmhg"} {
		own, published := errorOf(o.Transfer, "transfer_table", v), errorOf(o.Transfer, "tube_constant", v)
		if own != nil && published != nil {
			fmt.Fprintf(w, "  %-24s %+.1f ± %.1f   published tube %+.1f ± %.1f %s\n", v, own.Bias, own.SD, published.Bias, published.SD, own.Unit)
		}
	}
	for _, name := range o.Files {
		fmt.Fprintln(w, "wrote", filepath.Join(filepath.Dir(out), name))
	}
	fmt.Fprintln(w, schema.Caution)
}

func errorOf(t *schema.Transfer, method, variable string) *schema.TransferError {
	for i := range t.Validated {
		if e := &t.Validated[i]; e.Method == method && e.Variable == variable {
			return e
		}
	}
	return nil
}
