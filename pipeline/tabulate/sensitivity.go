package tabulate

import (
	"errors"
	"iter"
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// CuffRule combines the readings of a visit, in their order, by a named rule.
type CuffRule func(systolic, diastolic []float64, rule string) (sbp, dbp float64)

// variant is the primary model with one choice changed.
type variant struct {
	choice, value string
	visits        *schema.Frame // of changed values; the primary's where none change
	model         schema.Model
	keep          func(row int) bool // rows that are in; nil: all
	note          string
	err           error // why it cannot be made
}

// Sensitivity fits the primary model again under each declared choice, from the
// tables of the same run, and says how far its headline coefficient moves. The
// frame is empty where no model is declared; seeds names the random streams that
// were used.
func Sensitivity(measured Measured, settings schema.Settings, combine CuffRule) (frame *schema.Frame, seeds map[string]string) {
	frame, seeds = schema.NewFrame(schema.SensitivityTable(), 0), map[string]string{}
	plan := settings.Analysis
	models := schema.ResolveModels(plan.Models)
	if len(models) == 0 {
		return frame, seeds
	}
	primary := models[0]
	if at := slices.IndexFunc(models, func(m schema.Model) bool { return m.Name == plan.Sensitivity.Model }); at >= 0 {
		primary = models[at]
	}
	g := grid{measured: measured, settings: settings, combine: combine, frame: frame, seeds: seeds}
	base := g.fit(variant{choice: "primary", visits: measured.Visits, model: primary})
	g.write(base, base)
	for v := range g.variants(primary) {
		g.write(g.fit(v), base)
	}
	return frame, seeds
}

// grid fits and writes the variants.
type grid struct {
	measured Measured
	settings schema.Settings
	combine  CuffRule
	frame    *schema.Frame
	seeds    map[string]string
}

// answer is the headline coefficient of one variant.
type answer struct {
	variant
	attempt
	row  regress.Coefficient
	term coefficient
}

// variants makes the declared choices one after the other, in the order of the
// settings: each may have columns of its own, which go when its model is fitted.
func (g grid) variants(primary schema.Model) iter.Seq[variant] {
	s := g.settings.Analysis.Sensitivity
	choices := []struct {
		name   string
		values []string
		change func(v *variant)
	}{
		{"calibration", s.Calibration, func(v *variant) { v.visits, v.err = g.calibrated(primary.Outcome, v.value) }},
		{"estimator", s.Estimator, func(v *variant) { v.visits, v.note, v.err = g.estimated(primary.Outcome, v.value) }},
		{"cuff_rule", s.CuffRule, func(v *variant) { v.visits, v.note, v.err = g.recuffed(primary, v.value) }},
		{"quality", s.Quality, func(v *variant) { v.keep, v.err = g.graded(v.value) }},
		{"departures", s.Departures, func(v *variant) { v.keep, v.err = g.departed(v.value) }},
		{"missing", s.Missing, func(v *variant) { v.model, v.err = otherwiseMissing(primary, v.value) }},
	}
	return func(yield func(variant) bool) {
		for _, c := range choices {
			for _, value := range c.values {
				v := variant{choice: c.name, value: value, visits: g.measured.Visits, model: primary}
				c.change(&v)
				if !yield(v) {
					return
				}
			}
		}
	}
}

// otherwiseMissing is the model with another way of meeting missing values.
func otherwiseMissing(m schema.Model, method string) (schema.Model, error) {
	if method == schema.ChainedEquations && m.MeasurementError != nil {
		return m, errors.New("errors in a column are corrected on complete cases only")
	}
	if method == schema.CompleteCase {
		m.Missing = nil
	} else if !m.Imputes() {
		m.Missing = &schema.MissingSettings{}
	}
	return schema.ResolveModels([]schema.Model{m})[0], nil
}

// graded keeps visits of at least a grade.
func (g grid) graded(lowest string) (func(row int) bool, error) {
	grades := []string{"unusable", "doubtful", "usable"}
	if slices.Index(grades, lowest) < slices.Index(grades, g.settings.Quality.MinGrade) {
		return nil, errors.New("the run left out grades below " + g.settings.Quality.MinGrade + ": they are not among its values")
	}
	cells := g.measured.Visits.Labels("quality")
	return func(row int) bool { return slices.Index(grades, cells.At(row)) >= slices.Index(grades, lowest) }, nil
}

// departed keeps visits without a departure from the protocol, or all.
func (g grid) departed(choice string) (func(row int) bool, error) {
	if choice == "in" {
		if g.settings.Protocol.OnDeparture == "exclude" {
			return nil, errors.New("the run left departures out: they are not among its values")
		}
		return nil, nil
	}
	cells := g.measured.Visits.Numbers("departure_count")
	return func(row int) bool { return cells[row] == 0 }, nil
}

// fit fits one variant from its values on: visits, sets and rows are chosen anew.
func (g grid) fit(v variant) answer {
	a := answer{variant: v}
	if v.err != nil {
		a.attempt.refused = v.err.Error()
		a.attempt.f = fitted{model: v.model, outcome: outcome{column: g.measured.Visits.Column(v.model.Outcome)}}
		return a
	}
	plan := g.settings.Analysis
	c := newCohort(v.visits, plan, newFlow(), &reporter{})
	sets := c.sets(plan, newFlow())
	rows := sets[slices.IndexFunc(sets, func(s set) bool { return s.name == v.model.Set })].rows
	if v.keep != nil {
		rows = slices.DeleteFunc(slices.Clone(rows), func(row int32) bool { return !v.keep(int(row)) })
	}
	m := newModeller(c, g.settings)
	m.study += "/sensitivity"
	a.attempt = m.attempt(v.model, rows, len(rows), v.note)
	for name, from := range m.seeds {
		g.seeds["sensitivity to "+v.choice+" "+v.value+": "+name] = from
	}
	if a.refused != "" {
		return a
	}
	table, _ := a.r.table(a.r.main.name)
	for j, k := range a.p.design.columns {
		wanted := plan.Sensitivity.Term == k.name || plan.Sensitivity.Term == "" && k.name != regress.Intercept
		if wanted {
			a.row, a.term = table[j], k
			return a
		}
	}
	a.refused = "the model has no coefficient " + plan.Sensitivity.Term
	return a
}

// write writes one row.
func (g grid) write(a, base answer) {
	row := g.frame.AddRow()
	term := a.term.name
	if term == "" {
		term = base.term.name
	}
	for column, text := range map[string]string{"set": a.f.model.Set, "variable": a.f.model.Outcome, "model": a.f.model.Name, "term": term, "choice": a.choice, "value": a.value} {
		g.frame.SetText(row, column, text)
	}
	if a.refused != "" {
		writeResult(g.frame, row, stats.Result{Statistic: "estimate", Estimate: math.NaN(), N: a.f.n, Missing: a.f.missing, Method: a.f.model.Kind, Unit: unitOf(a.f.outcome.column.Unit), Note: "not fitted: " + a.refused}, stats.Interval{})
		return
	}
	g.frame.SetNumber(row, "se", a.row.SE)
	g.frame.SetNumber(row, "shift", a.row.Estimate-base.row.Estimate)
	g.frame.SetNumber(row, "shift_in_se", (a.row.Estimate-base.row.Estimate)/base.row.SE)
	writeResult(g.frame, row, stats.Result{Statistic: "estimate", Estimate: a.row.Estimate, N: a.f.n, Missing: a.f.missing,
		Method: a.r.method + "; errors " + a.r.main.name, Unit: a.term.unit, Note: join(a.f.note, a.term.note)}, intervalOf(a.row))
}
