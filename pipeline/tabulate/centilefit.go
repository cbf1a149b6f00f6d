package tabulate

import (
	"fmt"
	"math"

	"tonocohort/stats"
	"tonocohort/stats/centile"
)

// goodnessGroups is the number of age groups of the Q-tests where people allow.
const goodnessGroups = 10

// addGoodness writes what tells whether the centiles fit: the facts of the fit,
// the share of people below each centile, and, where every value has a z-score,
// the Q-tests and the groups of age behind them.
func (t CentileTables) addGoodness(s oneSex, f *fittedCentiles) {
	write := func(group string, deviate float64, r stats.Result, i stats.Interval) {
		if s.noInterval {
			i = stats.Interval{}
		}
		row := t.CentileFit.AddRow()
		t.CentileFit.SetText(row, "age_group", group)
		t.CentileFit.SetNumber(row, "deviate", deviate)
		s.fill(t.CentileFit, row, r, i)
	}
	for _, fact := range f.facts {
		fact.Method = f.name
		write(everyLevel, math.NaN(), fact, stats.Interval{})
	}
	for _, percent := range s.plan.Centiles {
		below, of := centile.ShareBelow(f.reference, s.ages, s.values, percent/100)
		r := stats.Result{Statistic: "share_below_" + centile.LevelName(percent/100), Estimate: float64(below) / float64(of), Method: f.name, Unit: "1"}
		write(everyLevel, math.NaN(), r, stats.Wilson(below, of, confidence))
	}
	z := make([]float64, len(s.values))
	for i, v := range s.values {
		z[i] = f.reference.Score(s.ages[i], v).Z
		if math.IsNaN(z[i]) {
			return // quantile_spline knows no z beyond its outermost curves
		}
	}
	groups, err := centile.Groups(s.ages, z, goodnessGroups)
	if err != nil {
		return // fewer people than are fitted
	}
	for _, q := range centile.QTests(groups, f.df) {
		method := fmt.Sprintf("%s; %d age groups (Royston and Wright 2000)", f.name, len(groups))
		note := ""
		if math.IsNaN(q.P) {
			note = "no degrees of freedom are left"
		}
		write(everyLevel, math.NaN(), stats.Result{Statistic: q.Name, Estimate: q.Statistic, Method: method, Unit: "1"}, stats.Interval{})
		write(everyLevel, math.NaN(), stats.Result{Statistic: q.Name + "_df", Estimate: q.Degrees, Method: method, Unit: "1"}, stats.Interval{})
		write(everyLevel, math.NaN(), stats.Result{Statistic: q.Name + "_p", Estimate: q.P, Method: method, Unit: "1", Note: note}, stats.Interval{})
	}
	for _, g := range groups {
		own := s
		own.values, own.missing = g.Z, 0
		addGroup(own, g, func(deviate float64, r stats.Result, i stats.Interval) {
			if s.noInterval {
				i = stats.Interval{}
			}
			row := t.CentileFit.AddRow()
			t.CentileFit.SetText(row, "age_group", fmt.Sprintf("%.0f-%.0f", math.Floor(g.AgeLow), math.Floor(g.AgeHigh)))
			t.CentileFit.SetNumber(row, "deviate", deviate)
			r.Method = f.name + r.Method
			own.fill(t.CentileFit, row, r, i)
		})
	}
}

// addGroup writes the moments of z in one group of age and its detrended normal
// quantiles, with the limits between which those of a normal sample lie.
func addGroup(s oneSex, g centile.AgeGroup, write func(deviate float64, r stats.Result, i stats.Interval)) {
	for _, m := range []struct {
		name  string
		value float64
	}{{"z_mean", g.Mean}, {"z_sd", g.SD}, {"z_skewness", g.Skewness}, {"z_kurtosis", g.Kurtosis}} {
		write(math.NaN(), stats.Result{Statistic: m.name, Estimate: m.value, Unit: "1"}, stats.Interval{})
	}
	for _, p := range g.Detrended([]float64{0.025, 0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95, 0.975}) {
		write(p.Deviate, stats.Result{Statistic: "detrended_quantile", Estimate: p.Difference, Method: "; z less deviate, quantile_type_9", Unit: "1"},
			stats.Interval{Low: -p.Limit, High: p.Limit, Level: confidence, Method: "limits of a normal sample, not of the estimate"})
	}
}
