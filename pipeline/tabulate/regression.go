package tabulate

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// arithmeticFit is the share of variance from which on a fit is an identity and
// not a finding.
const arithmeticFit = 1 - 1e-10

// modeller writes the regression table.
type modeller struct {
	c     *cohort
	frame *schema.Frame
}

// fitted is a model on one outcome, with what all its rows share.
type fitted struct {
	model   schema.Model
	outcome schema.Column
	n       int // complete rows
	missing int // rows of the set that are not
	note    string
}

// fitModels fits every declared model, and beside a central outcome the same
// terms on its brachial twin.
func fitModels(c *cohort, plan schema.Analysis, sets []set) *schema.Frame {
	m := modeller{c: c, frame: schema.NewFrame(schema.RegressionTable(), 0)}
	for _, model := range plan.Models {
		rows := sets[slices.IndexFunc(sets, func(s set) bool { return s.name == setOf(model) })].rows
		complete := m.fit(model, rows, len(rows), "")
		twin, ok := brachialTwin(model.Outcome)
		if !ok || !c.frame.Has(twin) {
			continue
		}
		central := model.Outcome
		model.Outcome = twin
		note := "brachial twin of " + central + ", on the same rows"
		if slices.Contains(model.Terms, twin) {
			m.refuse(fitted{model: model, outcome: c.frame.Column(twin), n: len(complete), missing: len(rows) - len(complete), note: note},
				"not fitted: "+twin+" is a term of the model")
			continue
		}
		m.fit(model, complete, len(rows), note)
	}
	return m.frame
}

// fit fits one model by least squares on the complete ones of rows and returns
// these. Of total rows of the set the others count as missing.
func (m *modeller) fit(model schema.Model, rows []int, total int, note string) []int {
	f := fitted{model: model, outcome: m.c.frame.Column(model.Outcome), note: note}
	var terms []term
	for _, name := range model.Terms {
		terms = append(terms, m.c.term(name))
	}
	complete, unknown := m.complete(model.Outcome, terms, rows)
	f.n, f.missing = len(complete), total-len(complete)
	f.note = join(f.note, unknown)
	f.note = join(append([]string{f.note}, arithmetic(model)...)...)
	d := newDesign(terms, f.outcome, complete)
	if d.refused == "" && len(complete) <= len(d.columns) {
		d.refused = fmt.Sprintf("%d complete rows are too few for %d coefficients", len(complete), len(d.columns))
	}
	if d.refused != "" {
		m.refuse(f, "not fitted: "+d.refused)
		return complete
	}
	y := make([]float64, len(complete))
	cells := m.c.frame.Numbers(model.Outcome)
	for i, row := range complete {
		y[i] = cells[row]
	}
	fit, err := regress.OLS(d.matrix, y, nil)
	if err != nil {
		m.refuse(f, "not fitted: "+err.Error())
		return complete
	}
	if fit.R2 > arithmeticFit {
		f.note = join(f.note, "the terms make the outcome by arithmetic: the fit is exact")
	}
	main, all, err := m.errorEstimates(f, fit, complete)
	if err != nil {
		m.refuse(f, "not fitted: "+err.Error())
		return complete
	}
	m.coefficients(f, d, fit, main, all)
	m.whole(f, fit, append(slices.Clone(fit.Warnings), main.Warnings...))
	return complete
}

// complete returns the rows with outcome and every term, and a note on terms
// whose answer unknown counted as missing.
func (m *modeller) complete(outcome string, terms []term, rows []int) (complete []int, note string) {
	y := m.c.frame.Numbers(outcome)
	unknown := make([]int, len(terms))
	for _, row := range rows {
		whole := !math.IsNaN(y[row])
		for i, t := range terms {
			if t.numbers == nil && t.factor.label(row) == unknownLevel {
				unknown[i]++
			}
			whole = whole && !t.missing(row)
		}
		if whole {
			complete = append(complete, row)
		}
	}
	for i, n := range unknown {
		if n > 0 {
			note = join(note, fmt.Sprintf("%s unknown counted as missing: %d", terms[i].name, n))
		}
	}
	return complete, note
}

// errorEstimate is a covariance with the name it has in the table.
type errorEstimate struct {
	name string
	*regress.Covariance
}

// errorEstimates returns the estimate that makes the intervals and all those
// that are reported, in the order of their rows. Where persons stand in several
// rows the intervals are clustered by subject, whatever the model declares.
func (m *modeller) errorEstimates(f fitted, fit *regress.Fit, complete []int) (errorEstimate, []errorEstimate, error) {
	var all []errorEstimate
	for _, e := range []struct{ name, kind string }{{classicalErrors, regress.Classical}, {hc3Errors, regress.HC3}} {
		c, err := fit.Covariance(e.kind)
		if err != nil {
			return errorEstimate{}, nil, err
		}
		all = append(all, errorEstimate{e.name, c})
	}
	main := all[slices.IndexFunc(all, func(e errorEstimate) bool { return e.name == errorsOf(f.model) })]
	if m.c.repeated {
		cluster := make([]int, len(complete))
		for i, row := range complete {
			cluster[i] = m.c.subject[row]
		}
		c, err := fit.ClusterCovariance(regress.CR2, cluster)
		if err != nil {
			return errorEstimate{}, nil, err
		}
		main = errorEstimate{"cluster_cr2", c}
		all = append(all, main)
	}
	return main, all, nil
}

// coefficients writes each coefficient with its interval and every standard
// error.
func (m *modeller) coefficients(f fitted, d design, fit *regress.Fit, main errorEstimate, all []errorEstimate) {
	table := fit.CoefficientTable(main.Covariance, confidence)
	for j, k := range d.columns {
		note := k.note
		switch {
		case fit.Aliased[j]:
			note = join(note, "aliased: the terms before it determine it, so it is not estimated")
		case math.IsNaN(table[j].SE):
			note = join(note, "no "+main.name+" error: single rows determine it (leverage 1)")
		}
		m.write(f, k.name, stats.Result{Statistic: "estimate", Estimate: table[j].Estimate, Method: "least_squares; errors " + main.name, Unit: k.unit, Note: note},
			stats.Interval{Low: table[j].Low, High: table[j].High, Level: confidence, Method: stats.MethodT})
		for _, e := range all {
			note := k.note
			if m.c.repeated && e.name != main.name {
				note = join(note, "takes visits of one person for independent")
			}
			se := math.Sqrt(e.Matrix[j][j])
			m.write(f, k.name, stats.Result{Statistic: "se_" + e.name, Estimate: se, Method: "least_squares; errors " + e.name, Unit: k.unit, Note: note}, stats.Interval{})
		}
	}
	for _, k := range d.absent {
		m.write(f, k.name, stats.Result{Statistic: "estimate", Estimate: math.NaN(), Method: "least_squares", Unit: k.unit, Note: k.note}, stats.Interval{})
	}
}

// whole writes what belongs to the model as a whole; the warnings stand with
// its rank.
func (m *modeller) whole(f fitted, fit *regress.Fit, warnings []regress.Warning) {
	note := ""
	for _, w := range warnings {
		note = join(note, w.Message)
	}
	for _, s := range []stats.Result{
		{Statistic: "r_squared", Estimate: fit.R2, Unit: "1", Method: "least_squares"},
		{Statistic: "r_squared_adjusted", Estimate: fit.R2Adjusted, Unit: "1", Method: "least_squares"},
		{Statistic: "residual_sd", Estimate: fit.ResidualSD, Unit: f.outcome.Unit, Method: "least_squares"},
		{Statistic: "residual_df", Estimate: float64(fit.DF), Unit: "1", Method: "count"},
		{Statistic: "rank", Estimate: float64(fit.Rank), Unit: "1", Method: "scaled orthogonal decomposition", Note: note},
		{Statistic: "condition_number", Estimate: fit.ConditionNumber, Unit: "1", Method: "columns at unit length (Belsley, Kuh and Welsch 1980)"},
	} {
		m.write(f, "", s, stats.Interval{})
	}
}

// refuse writes the one row of a model that could not be fitted.
func (m *modeller) refuse(f fitted, why string) {
	m.write(f, "", stats.Result{Statistic: "estimate", Estimate: math.NaN(), Method: "least_squares", Unit: f.outcome.Unit, Note: why}, stats.Interval{})
}

func (m *modeller) write(f fitted, term string, r stats.Result, i stats.Interval) {
	r.N, r.Missing = f.n, f.missing
	r.Note = join(f.note, r.Note)
	row := m.frame.AddRow()
	m.frame.SetText(row, "set", setOf(f.model))
	m.frame.SetText(row, "variable", f.model.Outcome)
	m.frame.SetText(row, "model", f.model.Name)
	m.frame.SetText(row, "term", term)
	writeResult(m.frame, row, r, i)
}
