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
func (m *modeller) coefficients(f fitted, d design, r result) {
	table, fmi := r.table(r.main.name)
	errors := make([][]regress.Coefficient, len(r.all))
	for i, e := range r.all {
		errors[i], _ = r.table(e.name)
	}
	var standardised []float64
	if r.least != nil && !r.imputed() {
		standardised = r.least.StandardisedCoefficients()
	}
	method := r.method + "; errors " + r.main.name
	varying := r.least == nil || r.imputed() || r.main.name == clusterCR2 || r.main.name == schema.DesignErrors
	for j, k := range d.columns {
		why := join(k.note, whyMissing(r.solution, j, table[j]))
		m.write(f, k.name, stats.Result{Statistic: "estimate", Estimate: table[j].Estimate, Method: method, Unit: k.unit, Note: why}, intervalOf(table[j]))
		if math.IsNaN(table[j].SE) { // nor has it what rests on its error
			k.note = why
		}
		m.errors(f, k, r, j, errors)
		if degrees := table[j].DF; varying {
			m.write(f, k.name, stats.Result{Statistic: "df", Estimate: finite(degrees), Method: "errors " + r.main.name, Unit: "1", Note: infiniteNote(degrees)}, stats.Interval{})
		}
		m.write(f, k.name, stats.Result{Statistic: "p_value", Estimate: table[j].P, Method: method + "; " + testOf(table[j].DF) + ", two-sided", Unit: "1", Note: k.note}, stats.Interval{})
		if fmi != nil {
			m.write(f, k.name, stats.Result{Statistic: "missing_information", Estimate: fmi[j], Method: "fraction (Barnard and Rubin 1999)", Unit: "1", Note: k.note}, stats.Interval{})
		}
		if standardised != nil && k.name != regress.Intercept {
			m.write(f, k.name, stats.Result{Statistic: "standardised", Estimate: standardised[j], Method: r.method, Unit: "SD per SD", Note: k.note}, stats.Interval{})
		}
		if ratio := r.binaryScale(); ratio != "" && k.name != regress.Intercept {
			e := regress.Ratios(table[j : j+1])[0]
			m.write(f, k.name, stats.Result{Statistic: ratio, Estimate: e.Estimate, Method: method, Unit: "1" + perPart(k.unit), Note: why}, intervalOf(e))
		}
	}
	for _, k := range d.absent {
		m.write(f, k.name, stats.Result{Statistic: "estimate", Estimate: math.NaN(), Method: r.method, Unit: k.unit, Note: k.note}, stats.Interval{})
	}
}

// errors writes every standard error of one coefficient.
func (m *modeller) errors(f fitted, k coefficient, r result, j int, tables [][]regress.Coefficient) {
	for i, e := range r.all {
		note := k.note
		if m.c.repeated && e.name != r.main.name && (e.name == schema.ClassicalErrors || e.name == schema.HC3Errors) {
			note = join(note, "takes visits of one person for independent")
		}
		m.write(f, k.name, stats.Result{Statistic: "se_" + e.name, Estimate: tables[i][j].SE, Method: r.method + "; errors " + e.name, Unit: k.unit, Note: note}, stats.Interval{})
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
