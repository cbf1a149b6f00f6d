// Package tabulate computes the statistics of a study's plan from the
// person-level table alone: one row per subject and visit, whatever columns it
// has. What is summarised is what stands in that table, so that a reader who
// has the table and the plan can repeat every number.
//
// Who is counted: rows whose status is used; of these the visit that the plan
// names, so that a second visit is never a second person; of these the rows
// that fulfil every rule of an analysis set. A missing value fulfils no rule.
// Each step is a stage of the participant flow.
//
// Every statistic carries its set, its stratum, how many observations entered
// and how many were missing, and the names of its methods. An interval that
// does not exist is missing with a note; it is never replaced by another kind.
// The brachial twin of a central variable is described beside it, because what
// central pressure adds is only seen against the cuff.
//
// How good the measurements are (Agreement, Drift, Departures) is computed from
// the other person-level tables, as Measured lists them.
//
// The order of rows follows the plan and the declared levels, never the order
// in which people were enrolled.
package tabulate

import (
	"maps"
	"slices"

	"tonocohort/schema"
	"tonocohort/schema/published"
)

// confidence is the level of every interval.
const confidence = 0.95

// everyone is the analysis set without a rule; it exists in every plan.
const everyone = "all"

// Results are the tables of statistics, and what a reader must know about them.
// Flow continues the participant flow from subject_visits on; its order counts
// from 1 within its unit.
type Results struct {
	Characteristics *schema.Frame
	Summary         *schema.Frame
	Regression      *schema.Frame
	Comparison      *schema.Frame
	Flow            *schema.Frame
	People          People // who stands behind the statistics: for disclosure control, never written
	Issues          []schema.Issue
	Further
	ModelTables
	CentileTables
}

// Further are the tables that are written where the plan or the data ask for
// them; the others are always there.
type Further struct {
	Change       *schema.Frame // empty where nobody was seen twice
	Standardised *schema.Frame // empty where the plan names no classes
	Precision    *schema.Frame // how many people a centile needs: about nobody
	Agreement    *schema.Frame // from Agreement; empty where nothing was measured twice
}

// frames lists the tables with people behind them that have rows.
func (f Further) frames() []*schema.Frame {
	var frames []*schema.Frame
	for _, frame := range []*schema.Frame{f.Change, f.Standardised, f.Agreement} {
		if frame != nil && frame.N > 0 {
			frames = append(frames, frame)
		}
	}
	return frames
}

// further computes them.
func further(c *cohort, plan schema.Analysis, sets []set) Further {
	return Further{Change: change(c, plan), Standardised: standardise(c, plan, sets), Precision: precision(plan.Precision)}
}

// Frames lists the tables in the order in which they are written.
func (r Results) Frames() []*schema.Frame {
	return append([]*schema.Frame{r.Flow, r.Characteristics, r.Summary, r.Regression, r.Comparison}, slices.Concat(r.Further.frames(), r.ModelTables.frames(), r.CentileTables.frames())...)
}

// Tables computes the statistics of settings.Analysis from a subject_visits
// frame. With a structural issue, as Check finds them, the tables are empty.
// File and section name the place of the plan in issues: study.yaml, analysis.
// own are published sets of the study itself, by the name of their file.
func Tables(visits *schema.Frame, settings schema.Settings, file, section string, own ...published.Set) Results {
	plan := settings.Analysis
	r := Results{Issues: Check(plan, visits.Table.Columns, file, section, own...)}
	if schema.AnyStructural(r.Issues) {
		plan.Strata = nil
		r.Characteristics = schema.NewFrame(schema.CharacteristicsTable(""), 0)
		r.Summary = schema.NewFrame(schema.SummaryTable(nil), 0)
		r.Regression = schema.NewFrame(schema.RegressionTable(), 0)
		r.Comparison = schema.NewFrame(schema.ComparisonTable(), 0)
		r.Flow = schema.NewFrame(schema.FlowTable(), 0)
		return r
	}
	report := reporter{file: file, section: section}
	flow := newFlow()
	c := newCohort(visits, plan, flow, &report)
	sets := c.sets(plan, flow)
	r.Further = further(c, plan, sets)
	r.Characteristics = characterise(c, plan, sets)
	r.Summary = summarise(c, plan, sets)
	c.rested()
	r.Regression, r.ModelTables = fitModels(c, settings, sets)
	r.Comparison = compare(c, settings, sets, own, &report)
	r.CentileTables = fitCentiles(c, plan, sets)
	r.People = c.people(plan, sets) // when all else that is by person has gone
	r.Flow = flow.frame
	r.Issues = append(r.Issues, report.issues...)
	schema.SortIssues(r.Issues)
	return r
}

// setNames lists the analysis sets in the order of the tables: everyone first,
// then by name.
func setNames(plan schema.Analysis) []string {
	names := []string{everyone}
	for _, name := range slices.Sorted(maps.Keys(plan.Sets)) {
		if name != everyone {
			names = append(names, name)
		}
	}
	return names
}

// reporter collects issues about one file.
type reporter struct {
	file    string
	section string
	issues  []schema.Issue
}

func (r *reporter) path(name string) string {
	if r.section == "" {
		return name
	}
	return r.section + "." + name
}

func (r *reporter) fault(name, value, code, message, hint string) {
	r.add(schema.SizeStructural, name, value, code, message, hint)
}

func (r *reporter) note(name, value, code, message, hint string) {
	r.add(schema.SizeNote, name, value, code, message, hint)
}

func (r *reporter) add(size schema.Size, name, value, code, message, hint string) {
	issue := schema.Issue{Size: size, File: r.file, Name: r.path(name), Value: value, Code: code, Message: message, Hint: hint}
	if !slices.Contains(r.issues, issue) { // what holds for women and for men is said once
		r.issues = append(r.issues, issue)
	}
}
