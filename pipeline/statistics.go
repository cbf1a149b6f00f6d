package pipeline

import (
	"context"
	"fmt"
	"io"

	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

// computeStatistics reads the written person-level table back and summarises
// what stands there; then it makes the release of what passes disclosure.
func (r *run) computeStatistics(context.Context) error {
	root, err := store.OpenRoot(r.outDir)
	if err != nil {
		return err
	}
	defer root.Close()
	visits, err := readTable(root, tablePath("subject_visits"), schema.SubjectVisitsTable(r.study.Carried))
	if err != nil {
		return err
	}
	results := tabulate.Tables(visits, r.study.Settings, study.SettingsFile, "analysis")
	if schema.AnyStructural(results.Issues) {
		// The plan was judged before the run against the same columns.
		return fmt.Errorf("the plan of the statistics: %s", results.Issues[0])
	}
	r.issues = append(r.issues, onlyNew(results.Issues, r.study.Issues)...)
	flow := continued(r.tally.flow(r.study), results.Flow)
	r.summary = results.Summary
	for _, f := range []*schema.Frame{flow, results.Summary, results.Regression, results.Comparison} {
		out, err := writeTable(r.results, tablePath(f.Table.Name), f, r.tableMeta)
		if err != nil {
			return err
		}
		r.manifest.Outputs = append(r.manifest.Outputs, out)
	}
	if err := r.writeIssues(); err != nil {
		return err
	}
	r.tally.counts.Withdrawn = r.study.Withdrawn
	r.tally.counts.Issues = map[schema.Size]int{}
	for _, i := range r.issues {
		r.tally.counts.Issues[i.Size]++
	}
	r.manifest.Counts = r.tally.counts
	return r.release(flow, results)
}

// onlyNew drops issues that the check before the run has listed already.
func onlyNew(found, known []schema.Issue) []schema.Issue {
	seen := make(map[schema.Issue]bool, len(known))
	for _, i := range known {
		seen[i] = true
	}
	var fresh []schema.Issue
	for _, i := range found {
		if !seen[i] {
			fresh = append(fresh, i)
		}
	}
	return fresh
}

// continued puts the stages of the analysis behind those of the run.
func continued(first, second *schema.Frame) *schema.Frame {
	last := 0.0
	for _, order := range first.Numbers("order") {
		last = max(last, order)
	}
	shifted := schema.NewFrame(second.Table, second.N)
	shifted.Append(second)
	for row := range shifted.N {
		shifted.SetNumber(row, "order", last+second.Number(row, "order"))
	}
	first.Append(shifted)
	return first
}

// writeIssues keeps the list that was shown at the terminal.
func (r *run) writeIssues() error {
	schema.SortIssues(r.issues)
	out, err := writeFile(r.results, tablesFolder+"issues.txt", true, func(w io.Writer) error {
		for _, i := range r.issues {
			if _, err := fmt.Fprintf(w, "%s\t%s\t%s\n", i.Size, i.Code, i); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	r.manifest.Outputs = append(r.manifest.Outputs, out)
	return nil
}
