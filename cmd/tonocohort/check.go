package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
	"tonocohort/schema"
)

func newCheck() *cobra.Command {
	var asJSON, all bool
	var recordings recordingsOption
	cmd := &cobra.Command{
		Use:     "check STUDY",
		GroupID: "study",
		Short:   "Judge every input and show all problems at once; compute nothing",
		Long: `Reads study.yaml, the tables and every recording, and prints each problem as
file:row:column, value, rule and hint. Rows are counted as an editor counts
lines, the header being line 1. Problems of the same kind are shown together
unless --all is given.

Sizes of fault: structural (nothing would run), value (it becomes missing or its
row is left out), recording (it is left out), note (something was assumed).

With --json: {"issues": [{size, file, row, column, name, value, code, message,
hint, subject_id, visit_id, recording_id}], "counts": {size: n}}.`,
		Example: `  tonocohort check STUDY
  tonocohort check STUDY --json | jq '.issues[] | select(.size=="structural")'`,
		Args: exactly("STUDY"),
		RunE: func(cmd *cobra.Command, args []string) error {
			storage, done, err := recordings.open(cmd.Context())
			if err != nil {
				return err
			}
			defer done()
			issues, err := pipeline.Check(cmd.Context(), args[0], storage)
			if err != nil {
				return err
			}
			if asJSON {
				if err := printIssuesJSON(cmd.OutOrStdout(), issues); err != nil {
					return err
				}
			} else {
				printIssues(cmd.OutOrStdout(), issues, all)
				fmt.Fprintln(cmd.OutOrStdout(), countLine(issues))
			}
			if schema.AnyStructural(issues) {
				return &statusError{status: exitStructural}
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the list as JSON")
	cmd.Flags().BoolVar(&all, "all", false, "print every problem on its own line")
	recordings.addTo(cmd)
	return cmd
}

func printIssuesJSON(out io.Writer, issues []schema.Issue) error {
	report := struct {
		Issues []schema.Issue      `json:"issues"`
		Counts map[schema.Size]int `json:"counts"`
	}{issues, countSizes(issues)}
	if report.Issues == nil {
		report.Issues = []schema.Issue{}
	}
	return printJSON(out, report)
}

func countSizes(issues []schema.Issue) map[schema.Size]int {
	counts := map[schema.Size]int{}
	for _, i := range issues {
		counts[i.Size]++
	}
	return counts
}

func countLine(issues []schema.Issue) string {
	n := countSizes(issues)
	if len(issues) == 0 {
		return "No problems found."
	}
	return fmt.Sprintf("%d structural, %d value, %d recording faults; %d notes.",
		n[schema.SizeStructural], n[schema.SizeValue], n[schema.SizeRecording], n[schema.SizeNote])
}
