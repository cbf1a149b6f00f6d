package tabulate

import (
	"fmt"
	"math"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// coefficients writes each coefficient with its interval and every standard
// error.
func (m *modeller) coefficients(f fitted, d design, s solution) {
	table := s.CoefficientTable(s.main.Covariance, confidence)
	var standardised []float64
	if s.least != nil {
		standardised = s.least.StandardisedCoefficients()
	}
	for j, k := range d.columns {
		m.write(f, k.name, stats.Result{Statistic: "estimate", Estimate: table[j].Estimate, Method: s.method + "; errors " + s.main.name, Unit: k.unit, Note: join(k.note, whyMissing(s, j, table[j]))},
			intervalOf(table[j]))
		m.errors(f, k, s, j)
		if degrees := table[j].DF; s.least == nil || s.main.name == clusterCR2 || s.main.name == schema.DesignErrors {
			m.write(f, k.name, stats.Result{Statistic: "df", Estimate: finite(degrees), Method: "errors " + s.main.name, Unit: "1", Note: infiniteNote(degrees)}, stats.Interval{})
		}
		m.write(f, k.name, stats.Result{Statistic: "p_value", Estimate: table[j].P, Method: s.method + "; errors " + s.main.name + "; " + testOf(table[j].DF) + ", two-sided", Unit: "1", Note: k.note}, stats.Interval{})
		if standardised != nil && k.name != regress.Intercept {
			m.write(f, k.name, stats.Result{Statistic: "standardised", Estimate: standardised[j], Method: s.method, Unit: "SD per SD", Note: k.note}, stats.Interval{})
		}
		if ratio := s.binaryScale(); ratio != "" && k.name != regress.Intercept {
			e := regress.Ratios(table[j : j+1])[0]
			m.write(f, k.name, stats.Result{Statistic: ratio, Estimate: e.Estimate, Method: s.method + "; errors " + s.main.name, Unit: "1" + perPart(k.unit), Note: join(k.note, whyMissing(s, j, table[j]))}, intervalOf(e))
		}
	}
	for _, k := range d.absent {
		m.write(f, k.name, stats.Result{Statistic: "estimate", Estimate: math.NaN(), Method: s.method, Unit: k.unit, Note: k.note}, stats.Interval{})
	}
}

// errors writes every standard error of one coefficient.
func (m *modeller) errors(f fitted, k coefficient, s solution, j int) {
	for _, e := range s.all {
		note := k.note
		if m.c.repeated && e.name != s.main.name && (e.name == schema.ClassicalErrors || e.name == schema.HC3Errors) {
			note = join(note, "takes visits of one person for independent")
		}
		m.write(f, k.name, stats.Result{Statistic: "se_" + e.name, Estimate: math.Sqrt(e.Matrix[j][j]), Method: s.method + "; errors " + e.name, Unit: k.unit, Note: note}, stats.Interval{})
	}
}

// whyMissing says why a coefficient or its error is missing.
func whyMissing(s solution, j int, e regress.Coefficient) string {
	switch {
	case s.Aliased[j]:
		return "aliased: the terms before it determine it, so it is not estimated"
	case math.IsNaN(e.Estimate):
		return "separation: the outcome is predicted perfectly along it, so it has no finite estimate"
	case math.IsNaN(e.SE) && s.main.name == schema.HC3Errors:
		return "no " + s.main.name + " error: single rows determine it (leverage 1)"
	case math.IsNaN(e.SE):
		return "no " + s.main.name + " error"
	}
	return ""
}

func intervalOf(e regress.Coefficient) stats.Interval {
	method := stats.MethodT
	if math.IsInf(e.DF, 1) {
		method = "normal"
	}
	return stats.Interval{Low: e.Low, High: e.High, Level: confidence, Method: method}
}

func testOf(degrees float64) string {
	if math.IsInf(degrees, 1) {
		return "normal"
	}
	return "t"
}

// finite is missing where v is infinite.
func finite(v float64) float64 {
	if math.IsInf(v, 0) {
		return math.NaN()
	}
	return v
}

func infiniteNote(v float64) string {
	if math.IsInf(v, 0) {
		return "infinite: large-sample statistics"
	}
	return ""
}

// perPart is what stands behind the outcome in the unit of a coefficient.
func perPart(unit string) string {
	for i := range unit {
		if len(unit) > i+5 && unit[i:i+5] == " per " {
			return unit[i:]
		}
	}
	return ""
}

// whole writes what belongs to the model as a whole; the warnings stand with
// its rank.
func (m *modeller) whole(f fitted, p problem, s solution) {
	rows := []stats.Result{}
	add := func(name string, v float64, unit, method string) {
		rows = append(rows, stats.Result{Statistic: name, Estimate: finite(v), Unit: unit, Method: method})
	}
	switch {
	case s.least != nil:
		add("r_squared", s.least.R2, "1", s.method)
		add("r_squared_adjusted", s.least.R2Adjusted, "1", s.method)
		add("residual_sd", s.least.ResidualSD, unitOf(f.unit), s.method)
		add("model_f", s.least.F, "1", "F of all terms, classical")
		add("model_p", s.least.P, "1", "F of all terms, classical")
	case s.quantile != nil:
		add("objective", s.quantile.Objective, unitOf(f.unit), s.method+": sum of weighted absolute residuals")
		add("unique", zeroOne(s.quantile.Unique, false), "1", "1: no other coefficients are as good; 0: others are")
	case s.binary != nil:
		add("events", stats.Sum(p.y), "1", "count")
		add("separated_rows", float64(len(s.binary.Separated)), "1", "rows whose outcome is predicted perfectly")
		if s.binary.Family == regress.LogisticFamily {
			add("log_likelihood", s.binary.LogLikelihood, "1", s.method)
		}
	case s.mixed != nil:
		m.components(f, s.mixed)
	}
	add("residual_df", float64(s.DF), "1", "count")
	rows = append(rows, stats.Result{Statistic: "rank", Estimate: float64(s.Rank), Unit: "1", Method: "scaled orthogonal decomposition", Note: warningText(s)})
	add("condition_number", s.ConditionNumber, "1", "columns at unit length (Belsley, Kuh and Welsch 1980)")
	for _, r := range rows {
		m.write(f, "", r, stats.Interval{})
	}
	if s.least != nil {
		m.specification(f, s.least)
	}
}

// warningText joins the messages of the warnings, each once.
func warningText(s solution) string {
	note := ""
	seen := map[string]bool{}
	for _, list := range [][]regress.Warning{s.Warnings, s.main.Warnings} {
		for _, w := range list {
			if text := w.Code + ": " + w.Message; !seen[text] {
				seen[text] = true
				note = join(note, text)
			}
		}
	}
	return note
}

// components writes the variance components of a random intercept.
func (m *modeller) components(f fitted, fit *regress.MixedFit) {
	square := "(" + unitOf(f.unit) + ")^2"
	by := f.model.ClusterColumn()
	interval := func(v, se float64) stats.Interval {
		z := stats.NormalQuantile((1 + confidence) / 2)
		return stats.Interval{Low: max(0, v-float64(z*se)), High: v + float64(z*se), Level: confidence, Method: "normal, large-sample"}
	}
	for _, r := range []struct {
		stats.Result
		stats.Interval
	}{
		{stats.Result{Statistic: "clusters", Estimate: float64(fit.Groups), Unit: "1", Method: "count"}, stats.Interval{}},
		{stats.Result{Statistic: "variance_between", Estimate: fit.Between, Unit: square, Method: "restricted likelihood", Note: "between the levels of " + by}, interval(fit.Between, fit.BetweenSE)},
		{stats.Result{Statistic: "variance_within", Estimate: fit.Within, Unit: square, Method: "restricted likelihood", Note: "within a level of " + by}, interval(fit.Within, fit.WithinSE)},
		{stats.Result{Statistic: "icc", Estimate: fit.ICC, Unit: "1", Method: "between / (between + within)", Note: "correlation of two rows of one " + by + ", given the terms"}, stats.Interval{}},
		{stats.Result{Statistic: "no_between_p", Estimate: fit.NoBetween.P, Unit: "1", Method: "restricted likelihood ratio, half at zero", Note: fmt.Sprintf("likelihood ratio %.6g", fit.NoBetween.Statistic)}, stats.Interval{}},
		{stats.Result{Statistic: "log_likelihood", Estimate: fit.LogLikelihood, Unit: "1", Method: "restricted likelihood"}, stats.Interval{}},
	} {
		m.write(f, "", r.Result, r.Interval)
	}
}

// absences writes how many rows of the set each column of the model lacks.
func (m *modeller) absences(f fitted, w completeness, total int) {
	for _, a := range w.absent {
		r := stats.Result{Statistic: "missing", Estimate: float64(a.n), Unit: "1", Method: fmt.Sprintf("count among %d rows", total), Note: a.note}
		m.write(f, a.column, r, stats.Interval{})
	}
}

// refuse writes the one row of a model that could not be fitted.
func (m *modeller) refuse(f fitted, why string) {
	m.write(f, "", stats.Result{Statistic: "estimate", Estimate: math.NaN(), Method: f.model.Kind, Unit: unitOf(f.unit), Note: why}, stats.Interval{})
}

func (m *modeller) write(f fitted, term string, r stats.Result, i stats.Interval) {
	r.N, r.Missing = f.n, f.missing
	r.Note = join(f.note, r.Note)
	row := m.frame.AddRow()
	m.frame.SetText(row, "set", f.model.Set)
	m.frame.SetText(row, "variable", f.model.Outcome)
	m.frame.SetText(row, "model", f.model.Name)
	m.frame.SetText(row, "term", term)
	writeResult(m.frame, row, r, i)
}
