package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
	"tonocohort/pipeline/simulate"
)

func newDemo() *cobra.Command {
	var subjects, jobs int
	var seed string
	var say voice
	cmd := &cobra.Command{
		Use:     "demo DIR",
		GroupID: "study",
		Short:   "Simulate a cohort into DIR/study and run it into DIR/results",
		Long: `Makes a cohort of invented people by a physical model (each with arteries of
their own), writes it as a study folder with everything that goes wrong in a real
one, runs it, and prints how far the estimates are from the simulated truth.
The truth stands in DIR/truth.csv; the run never reads it.

The people are invented; nothing here is anybody's.`,
		Example: `  tonocohort demo quay
  tonocohort demo quay --subjects 2000 --seed another`,
		Args: exactly("DIR"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := say.check(); err != nil {
				return err
			}
			dir := args[0]
			if subjects < 20 {
				return usageError(fmt.Errorf("--subjects %d: at least 20", subjects))
			}
			studyDir, results, truth := filepath.Join(dir, "study"), filepath.Join(dir, "results"), filepath.Join(dir, "truth.csv")
			if _, err := os.Stat(studyDir); err == nil {
				return usageError(fmt.Errorf("%s exists already: give another folder, or remove it", studyDir))
			}
			if err := simulate.Write(studyDir, truth, simulate.Options{Subjects: subjects, Seed: seed}); err != nil {
				return err
			}
			if !say.quiet {
				fmt.Fprintf(cmd.ErrOrStderr(), "simulated %d invented people into %s\n", subjects, studyDir)
			}
			if _, err := runStudy(cmd, studyDir, results, pipeline.Options{Jobs: jobs, Version: version}, say); err != nil {
				return err
			}
			recovered, err := pipeline.Recover(results, truth)
			if err != nil {
				return err
			}
			fmt.Fprintln(cmd.OutOrStdout(), "Recovered error, estimate − simulated truth (the people are invented):")
			for _, line := range recovered {
				fmt.Fprintln(cmd.OutOrStdout(), "  "+line)
			}
			return nil
		},
	}
	cmd.Flags().IntVar(&subjects, "subjects", 600, "number of invented people")
	cmd.Flags().StringVar(&seed, "seed", "quay", "any word; the same word makes the same cohort")
	cmd.Flags().IntVar(&jobs, "jobs", 0, "recordings worked on at once; 0: one per core")
	say.addTo(cmd)
	return cmd
}
