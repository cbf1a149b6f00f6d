package report

import (
	"fmt"
	"iter"
	"math"
	"slices"

	"tonocohort/pipeline/report/figure"
	"tonocohort/schema"
	"tonocohort/stats"
)

// Persons is what figures of single persons are drawn from: person-level tables
// and full statistics, which stay with the study.
type Persons struct {
	Residuals  iter.Seq[ModelResiduals] // of each declared model; nil: none
	Agreement  *schema.Frame            // nil where nothing was measured twice
	Replicates []Pairs
	ByAge      ByAge
	Thresholds map[string]float64 // of outcomes, by variable
}

// ByAge is a variable of each person over age. Sex is a place in Sexes, −1 where it
// was not recorded; numbers that are missing are NaN.
type ByAge struct {
	Variable, Unit string
	Sexes          []string
	Sex            []int8
	Age, Value     []float64
}

// ModelResiduals are the residuals of one model, by row.
type ModelResiduals struct {
	Set, Variable, Model                     string
	Persons                                  int
	Observed, Fitted, Residual, Standardised []float64 // Standardised: NaN where a row has none
}

// Pairs are two recordings of a visit, one pair per person.
type Pairs struct {
	Variable, Unit string
	First, Second  []float64
}

// personsMark says of a figure that it stays with the study.
const personsMark = "RESTRICTED: shows single persons. Stays with the study; not for others."

// PersonFigures draws what only single persons show: how far replicates lie apart
// over their size, and what the models leave of each person. Rows of a table are
// points; nobody is named. First of all stands the variable itself, over age.
func PersonFigures(p Persons) []Drawing {
	list := append(p.byAge(), p.replicates()...)
	if p.Residuals != nil {
		list = append(list, p.residuals()...)
	}
	taken := map[string]int{}
	for _, d := range list {
		d.Mark = personsMark
		if taken[d.Name]++; taken[d.Name] > 1 { // two names can be one in the letters of a file name
			d.Name = fmt.Sprintf("%s_%d", d.Name, taken[d.Name])
		}
	}
	return list
}

// how says what stands for a person, or for a visit where persons have several.
func how(n int, what string) string {
	if n <= figure.MostPoints {
		return fmt.Sprintf("Circles: %d %s.", n, what)
	}
	return fmt.Sprintf("Squares: %d %s, in each square as many as its area says; one alone is a small square.", n, what)
}

// replicates draws the differences of two recordings of a visit over their mean,
// with bias and limits of agreement (Bland and Altman 1999).
func (p Persons) replicates() []Drawing {
	var list []Drawing
	for _, pairs := range p.Replicates {
		cloud := figure.Cloud{}
		for i, first := range pairs.First {
			if second := pairs.Second[i]; !math.IsNaN(first) && !math.IsNaN(second) {
				cloud.X, cloud.Y = append(cloud.X, (first+second)/2), append(cloud.Y, second-first)
			}
		}
		if len(cloud.X) == 0 || p.Agreement == nil {
			continue
		}
		at := newLookup(p.Agreement, "variable", "comparison", "statistic")
		for _, level := range []struct{ statistic, label string }{{"upper_limit", "upper limit"}, {"bias", "bias"}, {"lower_limit", "lower limit"}} {
			if row := at.row(pairs.Variable, "replicates", level.statistic); row >= 0 && !p.Agreement.Missing(row, "estimate") {
				cloud.Levels = append(cloud.Levels, figure.LevelLine{At: p.Agreement.Number(row, "estimate"), Label: level.label, Main: level.statistic == "bias"})
			}
		}
		cloud.Title = fmt.Sprintf("n = %d persons", len(cloud.X))
		name := Label(pairs.Variable, "")
		c := figure.Scatter{Name: fileName("replicates", pairs.Variable), Title: name + ": two recordings of a visit",
			Desc:   "Differences of the first two recordings of a visit over their mean, one point per person.",
			XLabel: "Mean of both, " + axisLabel(pairs.Variable, pairs.Unit), YLabel: "Second less first (" + pairs.Unit + ")", Panels: []figure.Cloud{cloud}}
		list = append(list, Drawing{c.Draw(), how(len(cloud.X), "persons") + " Lines: mean difference and 95 % limits of agreement (mean ± 1.96 SD). Two recordings of a visit share its cuff readings."})
	}
	return list
}

// residuals draws, for each model of a number, residuals over fitted values, and
// the detrended normal quantiles of the standardised ones.
func (p Persons) residuals() []Drawing {
	var list []Drawing
	for k := range p.Residuals {
		if !slices.ContainsFunc(k.Observed, func(v float64) bool { return v != 0 && v != 1 }) { // two lines of points tell nothing
			continue
		}
		fitted, residual := k.Fitted, k.Residual
		standardised := slices.DeleteFunc(k.Standardised, math.IsNaN)
		what := "persons"
		if k.Persons < len(fitted) {
			what = "visits"
		}
		unit := unitOfName(k.Variable)
		title := fmt.Sprintf("n = %d %s", len(fitted), what)
		about := fmt.Sprintf("Model “%s” of %s, analysis set %s", k.Model, Label(k.Variable, ""), k.Set)
		scatter := figure.Scatter{Name: fileName("residuals", k.Variable, k.Model), Title: about + ": residuals", Desc: "Residuals over fitted values, one point a row of the model.",
			XLabel: "Fitted " + axisLabel(k.Variable, unit), YLabel: "Observed less fitted (" + unit + ")",
			Panels: []figure.Cloud{{Title: title, X: fitted, Y: residual, Levels: []figure.LevelLine{{At: 0, Label: "0", Main: true}}}}}
		list = append(list, Drawing{scatter.Draw(), how(len(fitted), what) + " A funnel tells of unequal variance, a bow of a term that is missing."})
		if d, ok := detrended(about, fileName("quantiles", k.Variable, k.Model), what, standardised); ok {
			list = append(list, d)
		}
	}
	return list
}

// detrended draws how far the sorted values lie above the normal deviates of their
// ranks, at Blom's (i − 3/8)/(n + 1/4), with the pointwise limits of van Buuren and
// Fredriks 2001 (Stat Med 20:1259-77).
func detrended(about, name, what string, values []float64) (Drawing, bool) {
	n := float64(len(values))
	if len(values) < 10 {
		return Drawing{}, false
	}
	slices.Sort(values)
	cloud := figure.Cloud{Title: fmt.Sprintf("n = %d %s", len(values), what)}
	for i, v := range values {
		z := stats.NormalQuantile((float64(i+1) - 0.375) / (n + 0.25))
		cloud.X, cloud.Y = append(cloud.X, z), append(cloud.Y, v-z)
	}
	upper, lower := figure.Line{Label: "95 %", Weight: 1}, figure.Line{Weight: 1}
	for k := range 61 { // as far as there are points
		z := cloud.X[0] + float64(k)/60*(cloud.X[len(values)-1]-cloud.X[0])
		p := stats.NormalProbability(z)
		limit := stats.NormalQuantile(0.975) * math.Sqrt(p*(1-p)/n) / (math.Exp(-float64(z*z)/2) / math.Sqrt(2*math.Pi))
		upper.X, upper.Y = append(upper.X, z), append(upper.Y, limit)
		lower.X, lower.Y = append(lower.X, z), append(lower.Y, -limit)
	}
	cloud.Lines, cloud.Levels = []figure.Line{upper, lower}, []figure.LevelLine{{At: 0, Label: "normal", Main: true}}
	c := figure.Scatter{Name: name, Title: about + ": detrended normal quantiles", Desc: "Standardised residuals less the normal deviate of their rank.",
		XLabel: "Normal deviate of the rank", YLabel: "Standardised residual less deviate", Panels: []figure.Cloud{cloud}}
	return Drawing{c.Draw(), how(len(values), what) + " Dashed: within them lie 95 % of the points of a normal sample, pointwise. A slope tells of another spread, a bow of skewness, an S of heavy or light tails."}, true
}
