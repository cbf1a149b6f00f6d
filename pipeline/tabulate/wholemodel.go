package tabulate

import (
	"fmt"
	"math"

	"tonocohort/stats"
	"tonocohort/stats/impute"
	"tonocohort/stats/regress"
)

// whole writes what belongs to the model as a whole; the warnings stand with
// its rank. Of imputed data these are means over the copies, but for R², which
// is pooled.
func (m *modeller) whole(f fitted, p problem, r result) {
	rows := []stats.Result{}
	add := func(name string, of func(s solution) float64, unit, method string) {
		rows = append(rows, stats.Result{Statistic: name, Estimate: finite(r.mean(of)), Unit: unit, Method: method})
	}
	switch {
	case r.least != nil:
		m.determination(f, r)
		add("residual_sd", func(s solution) float64 { return s.least.ResidualSD }, unitOf(f.unit), r.method)
		if !r.imputed() {
			add("model_f", func(s solution) float64 { return s.least.F }, "1", "F of all terms, classical")
			add("model_p", func(s solution) float64 { return s.least.P }, "1", "F of all terms, classical")
		}
		if !r.imputed() && p.weights == nil {
			add("aic", func(s solution) float64 { return s.least.AIC() }, "1", "normal errors, whose variance counts as a parameter; comparable among models of one outcome on the same rows")
		}
	case r.quantile != nil:
		add("objective", func(s solution) float64 { return s.quantile.Objective }, unitOf(f.unit), r.method+": sum of weighted absolute residuals")
		add("unique", func(s solution) float64 { return zeroOne(s.quantile.Unique, false) }, "1", "1: no other coefficients are as good; 0: others are")
	case r.binary != nil:
		add("events", func(solution) float64 { return stats.Sum(p.y) }, "1", "count")
		add("separated_rows", func(s solution) float64 { return float64(len(s.binary.Separated)) }, "1", "rows whose outcome is predicted perfectly")
		if r.binary.Family == regress.LogisticFamily {
			add("log_likelihood", func(s solution) float64 { return s.binary.LogLikelihood }, "1", r.method)
		}
	case r.mixed != nil:
		m.components(f, r)
	}
	add("residual_df", func(s solution) float64 { return float64(s.DF) }, "1", "count")
	rows = append(rows, stats.Result{Statistic: "rank", Estimate: float64(r.Rank), Unit: "1", Method: "scaled orthogonal decomposition", Note: warningText(r.solution)})
	add("condition_number", func(s solution) float64 { return s.ConditionNumber }, "1", "columns at unit length (Belsley, Kuh and Welsch 1980)")
	for _, row := range rows {
		m.write(f, "", row, stats.Interval{})
	}
	if r.least != nil && !r.imputed() {
		m.specification(f, r.least)
	}
}

// determination writes the share of variance that the terms explain; of imputed
// data it is pooled on the scale of the multiple correlation.
func (m *modeller) determination(f fitted, r result) {
	if !r.imputed() {
		m.write(f, "", stats.Result{Statistic: "r_squared", Estimate: r.least.R2, Unit: "1", Method: r.method}, stats.Interval{})
		m.write(f, "", stats.Result{Statistic: "r_squared_adjusted", Estimate: r.least.R2Adjusted, Unit: "1", Method: r.method}, stats.Interval{})
		return
	}
	each := make([]float64, len(r.copies))
	for i, s := range r.copies {
		each[i] = s.least.R2
	}
	p, err := impute.PoolR2(each, f.n, confidence)
	if err != nil {
		p.Estimate, p.Low, p.High = math.NaN(), math.NaN(), math.NaN()
	}
	m.write(f, "", stats.Result{Statistic: "r_squared", Estimate: p.Estimate, Unit: "1", Method: r.method + " (Harel 2009)"},
		stats.Interval{Low: p.Low, High: p.High, Level: confidence, Method: "of the multiple correlation, Fisher's scale"})
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
func (m *modeller) components(f fitted, r result) {
	square := "(" + unitOf(f.unit) + ")^2"
	by := f.model.ClusterColumn()
	row := func(statistic string, of func(fit *regress.MixedFit) float64, unit, method, note string) (stats.Result, float64) {
		v := r.mean(func(s solution) float64 { return of(s.mixed) })
		return stats.Result{Statistic: statistic, Estimate: v, Unit: unit, Method: method, Note: note}, v
	}
	plain := func(statistic string, of func(fit *regress.MixedFit) float64, unit, method, note string) {
		one, _ := row(statistic, of, unit, method, note)
		m.write(f, "", one, stats.Interval{})
	}
	variance := func(statistic, note string, of, error func(fit *regress.MixedFit) float64) {
		one, v := row(statistic, of, square, "restricted likelihood", note)
		half := stats.NormalQuantile((1+confidence)/2) * r.mean(func(s solution) float64 { return error(s.mixed) })
		interval := stats.Interval{Low: max(0, v-half), High: v + half, Level: confidence, Method: "normal, large-sample"}
		if r.imputed() {
			interval = stats.Interval{}
		}
		m.write(f, "", one, interval)
	}
	plain("clusters", func(x *regress.MixedFit) float64 { return float64(x.Groups) }, "1", "count", "")
	variance("variance_between", "between the levels of "+by, func(x *regress.MixedFit) float64 { return x.Between }, func(x *regress.MixedFit) float64 { return x.BetweenSE })
	variance("variance_within", "within a level of "+by, func(x *regress.MixedFit) float64 { return x.Within }, func(x *regress.MixedFit) float64 { return x.WithinSE })
	plain("icc", func(x *regress.MixedFit) float64 { return x.ICC }, "1", "between / (between + within)", "correlation of two rows of one "+by+", given the terms")
	if !r.imputed() {
		plain("no_between_p", func(x *regress.MixedFit) float64 { return x.NoBetween.P }, "1", "restricted likelihood ratio, half at zero", fmt.Sprintf("likelihood ratio %.6g", r.mixed.NoBetween.Statistic))
	}
	plain("log_likelihood", func(x *regress.MixedFit) float64 { return x.LogLikelihood }, "1", "restricted likelihood", "")
}
