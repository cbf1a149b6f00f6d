package pipeline

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"tonocohort/pipeline/report"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

// computeStatistics summarises what the written person-level tables say.
func (r *run) computeStatistics(context.Context) error {
	r.manifest.Counts = r.tally.counts
	r.manifest.Counts.Withdrawn = r.study.Withdrawn
	return r.fromWritten(r.study.Carried, r.study.OwnSets, r.tally.flow(r.study.Counts))
}

// fromWritten makes the statistics from the person-level tables that have been
// written; carried are the columns that the table of visits has of the study, own
// the published sets of its own.
func (o *output) fromWritten(carried []schema.Column, own []study.NamedFile, before *schema.Frame) error {
	root, err := store.OpenRoot(o.dir)
	if err != nil {
		return err
	}
	defer root.Close()
	table := schema.SubjectVisitsTable(carried)
	visits, done, err := lendTable(root, tablePath("subject_visits"), &table, lentMemory)
	if err != nil {
		return err
	}
	defer done()
	measured, doneMeasured, err := lendMeasured(root, visits)
	if err != nil {
		return err
	}
	defer doneMeasured()
	if err := o.keepOwnSets(own); err != nil {
		return err
	}
	return o.statistics(measured, before, study.SettingsFile, "analysis")
}

// statistics carries out the plan of the settings on the person-level tables,
// writes the tables of statistics, and makes the release of what passes
// disclosure. before is the flow up to the table of visits; file and section say
// where the plan stands.
func (o *output) statistics(measured tabulate.Measured, before *schema.Frame, file, section string) error {
	visits, err := classed(measured.Visits, o.manifest.Settings.Analysis.BPScheme)
	if err != nil {
		return err
	}
	measured.Visits = visits
	results := tabulate.Tables(visits, o.manifest.Settings, file, section, o.own...)
	if schema.AnyStructural(results.Issues) {
		// The plan was judged before, against the same columns.
		return fmt.Errorf("the plan of the statistics: %s", results.Issues[0])
	}
	results.Flow = continued(before, results.Flow)
	aside := []*schema.Frame{results.Precision, tabulate.Departures(visits)}
	if measured.Recordings != nil { // pooled studies have no recordings
		drift, drifting := tabulate.Drift(measured, o.manifest.Settings.Privacy)
		results.Issues = append(results.Issues, drifting...)
		results.Agreement = tabulate.Agreement(measured, o.manifest.Settings.Analysis)
		aside = append(aside, drift)
	}
	if err := o.addNew(results.Issues); err != nil {
		return err
	}
	o.summary = results.Summary
	sensitivity, seeds := tabulate.Sensitivity(measured, o.manifest.Settings, combineReadings)
	maps.Copy(o.manifest.Seeds, seeds)
	maps.Copy(o.manifest.Seeds, results.Seeds)
	persons := personsOf(measured, results.Agreement, o.manifest.Settings.Analysis)
	persons.Residuals = func(yield func(report.ModelResiduals) bool) {
		results.Residuals.Models()(func(m tabulate.ModelResiduals) bool { return yield(report.ModelResiduals(m)) })
	}
	if err := measured.Err(); err != nil {
		return err
	}
	if err := o.writeStatistics(results, append(aside, sensitivity)); err != nil {
		return err
	}
	if err := o.illustratePersons(persons); err != nil {
		return err
	}
	if err := o.writeIssues(); err != nil {
		return err
	}
	if err := o.countIssues(); err != nil {
		return err
	}
	departures, quality := tabulate.UsedVisits(visits)
	return o.release(visits, measured.Recordings, results, sensitivity, departures, quality)
}

// writeStatistics writes the tables of statistics, those of single persons among
// them, and what stands aside.
func (o *output) writeStatistics(results tabulate.Results, aside []*schema.Frame) error {
	for _, f := range results.Frames() {
		if err := o.write(f); err != nil {
			return err
		}
	}
	t := schema.ResidualsTable()
	residuals, err := writePieces(o.results, tablePath(t.Name), t, results.Residuals.Each, o.tableMeta)
	if err != nil {
		return err
	}
	o.manifest.Outputs = append(o.manifest.Outputs, residuals)
	for _, f := range slices.Concat(results.Restricted(), aside) {
		if err := o.write(f); err != nil {
			return err
		}
	}
	return nil
}

// personFigures is where figures of single persons stand: with the restricted
// tables.
const personFigures = tablesFolder + figuresFolder

// figuresFolder is that of figures, with the restricted tables and in a release.
const figuresFolder = "figures/"

// personsOf gathers what figures of single persons are drawn from, but for the
// residuals.
func personsOf(m tabulate.Measured, agreement *schema.Frame, plan schema.Analysis) report.Persons {
	p := report.Persons{Agreement: agreement, Thresholds: plan.Threshold, ByAge: report.ByAge(tabulate.PulsePressureByAge(m.Visits, plan))}
	if m.Recordings != nil {
		for _, pairs := range tabulate.Replicates(m, plan) {
			p.Replicates = append(p.Replicates, report.Pairs(pairs))
		}
	}
	return p
}

// illustratePersons draws what stays with the study.
func (o *output) illustratePersons(p report.Persons) error {
	for _, d := range report.PersonFigures(p) {
		out, err := writeFile(o.results, personFigures+d.Name+".svg", true, d.File().WriteSVG)
		if err != nil {
			return err
		}
		o.manifest.Outputs = append(o.manifest.Outputs, out)
	}
	return nil
}

func (o *output) countIssues() error {
	o.manifest.Counts.Issues = map[schema.Size]int{}
	return o.issues.each(func(i schema.Issue) error {
		o.manifest.Counts.Issues[i.Size]++
		return nil
	})
}

// combineReadings combines the readings of a visit by a named rule.
func combineReadings(systolic, diastolic []float64, rule string) (sbp, dbp float64) {
	readings := make([]study.Reading, len(systolic))
	for i := range readings {
		readings[i] = study.Reading{Number: i + 1, SBP: systolic[i], DBP: diastolic[i], MAP: math.NaN(), Pulse: math.NaN()}
	}
	cuff, err := study.CombineCuff(readings, rule)
	if err != nil {
		return math.NaN(), math.NaN()
	}
	return cuff.SBP, cuff.DBP
}

// addNew adds the issues that the check before the run has not listed already, with
// their place.
func (o *output) addNew(found []schema.Issue) error {
	seen := make(map[schema.Issue]bool, len(found)) // of the found, which are few
	for _, i := range found {
		seen[placeless(i)] = false
	}
	err := o.issues.each(func(i schema.Issue) error {
		if _, twice := seen[placeless(i)]; twice {
			seen[placeless(i)] = true
		}
		return nil
	})
	if err != nil {
		return err
	}
	return o.issues.add(slices.DeleteFunc(slices.Clone(found), func(i schema.Issue) bool { return seen[placeless(i)] })...)
}

func placeless(i schema.Issue) schema.Issue {
	i.Row, i.Column = 0, 0
	return i
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

// writeIssues writes the list of what was met.
func (o *output) writeIssues() error {
	t, err := createTable(o.results, tablePath("issues"), schema.IssuesTable(), o.tableMeta)
	if err != nil {
		return err
	}
	defer t.abandon()
	const some = 1 << 10
	f := schema.NewFrame(schema.IssuesTable(), some)
	put := func() error {
		err := t.append(f)
		f.Clear()
		return err
	}
	err = o.issues.each(func(i schema.Issue) error {
		addIssue(f, i)
		if f.N == some {
			return put()
		}
		return nil
	})
	if err == nil {
		err = put()
	}
	if err != nil {
		return fmt.Errorf("%s: %w", t.path, err)
	}
	out, err := t.seal()
	if err != nil {
		return err
	}
	o.manifest.Outputs = append(o.manifest.Outputs, out)
	return nil
}

// addIssue adds a row to a table of issues.
func addIssue(f *schema.Frame, i schema.Issue) {
	row := f.AddRow()
	for _, cell := range []struct{ column, text string }{
		{"size", string(i.Size)}, {"code", i.Code}, {"file", i.File}, {"name", i.Name}, {"value", i.Value}, {"message", i.Message}, {"hint", i.Hint},
	} {
		f.SetText(row, cell.column, strings.ToValidUTF8(cell.text, "\uFFFD")) // a cell of a table need not be UTF-8
	}
	if i.Row > 0 {
		setInteger(f, row, "row", i.Row)
	}
	if i.Row > 0 && i.Column > 0 {
		setInteger(f, row, "column", i.Column)
	}
}
