package release_test

import (
	"math"
	"regexp"
	"slices"
	"strconv"

	"tonocohort/schema"
)

// width is an interval in which what is published of a model places the number
// of its people.
type width struct {
	model     string
	in        crowd
	low, high float64
}

var amongRows = regexp.MustCompile(`count among (\d+) rows`)

func (x *intruder) model(name string) schema.Model {
	for _, m := range x.settings.Analysis.Models {
		if m.Name == name {
			return m
		}
	}
	x.t.Fatalf("no model %s", name)
	return schema.Model{}
}

func columnsOfTerms(m schema.Model) []string {
	var columns []string
	for _, t := range m.Terms {
		columns = append(columns, t.Columns()...)
	}
	return columns
}

// complete are the people of a model.
func (x *intruder) complete(m schema.Model, base func(i int) bool) func(i int) bool {
	return func(i int) bool {
		if !base(i) || x.level(m.Outcome, i) == "" {
			return false
		}
		for _, name := range columnsOfTerms(m) {
			if l := x.level(name, i); l == "" || l == "unknown" {
				return false
			}
		}
		return true
	}
}

func (x *intruder) readModel(r record, name string, base func(i int) bool) {
	m := x.model(r["model"])
	if r["variable"] != m.Outcome { // a brachial twin, on the same rows
		base = x.complete(m, base)
		m.Outcome = r["variable"]
	}
	in := x.complete(m, base)
	name += " " + m.Name
	n, shown := r.number("n")
	absent, some := r.number("n_missing")
	v, given := r.number("estimate")
	x.meet(x.crowd(name+": complete", in), n, shown)
	x.meet(x.crowd(name+": incomplete", func(i int) bool { return base(i) && !in(i) }), absent, some)
	if told := amongRows.FindStringSubmatch(r["method"]); told != nil {
		rows, _ := strconv.ParseFloat(told[1], 64)
		x.meet(x.crowd(name+": of whom the complete are taken", base), rows, true)
	}
	switch r["statistic"] {
	case "missing":
		lacks := func(i int) bool {
			l := x.level(r["term"], i)
			return base(i) && (l == "" || l == "unknown" && r["term"] != m.Outcome)
		}
		x.meet(x.crowd(name+" without "+r["term"], lacks), v, given)
	case "events":
		event := func(i int) bool { return in(i) && x.visits.Number(int(x.people.rows[i]), m.Outcome) >= *m.Threshold }
		x.meet(x.crowd(name+": events", event), v, given)
		x.meet(x.crowd(name+": others", func(i int) bool { return in(i) && !event(i) }), n-v, shown && given)
	}
}

// models places the number of people of every model by what is published of the
// fit as a whole.
func (x *intruder) models(list []record) {
	byModel := map[string]map[string]record{}
	coefficients := map[string]float64{}
	for _, r := range list {
		key := r["set"] + "/" + r["variable"] + "/" + r["model"]
		if byModel[key] == nil {
			byModel[key] = map[string]record{}
		}
		if r["statistic"] == "estimate" {
			coefficients[key]++
		}
		if _, seen := byModel[key][r["statistic"]]; !seen && (r["term"] == "" || r["statistic"] == "joint_df2") {
			byModel[key][r["statistic"]] = r
		}
	}
	for key, rows := range byModel {
		var one record
		for _, r := range rows {
			one = r
		}
		set := slices.Index(x.people.sets, one["set"])
		m := x.model(one["model"])
		if m.Outcome != one["variable"] {
			continue
		}
		in := x.crowd(key, x.complete(m, func(i int) bool { return x.people.in[set][i] }))
		for k, low := range x.placed(rows, coefficients[key]) {
			x.widths = append(x.widths, width{key + " by " + k, in, low[0], low[1]})
		}
	}
}

// placed gives the intervals, by the way that each was found.
func (x *intruder) placed(rows map[string]record, coefficients float64) map[string][2]float64 {
	out := map[string][2]float64{}
	span := func(statistic string) (low, high float64, ok bool) {
		v, ok := rows[statistic].number("estimate")
		half := rows[statistic].half("estimate")
		return v - half, v + half, ok
	}
	fits := func(name string, holds func(n float64) bool) {
		low, high := math.Inf(1), math.Inf(-1)
		for n := coefficients + 2; n < 5000; n++ {
			if holds(n) {
				low, high = min(low, n), max(high, n)
			}
		}
		out[name] = [2]float64{low, high}
	}
	if df, _, ok := span("residual_df"); ok {
		out["residual degrees"] = [2]float64{df + coefficients, df + coefficients}
	}
	if df, _, ok := span("joint_df2"); ok {
		out["joint degrees"] = [2]float64{df + coefficients, df + coefficients}
	}
	aicLow, aicHigh, aic := span("aic")
	sdLow, sdHigh, sd := span("residual_sd")
	if aic && sd { // Gaussian log likelihood at its maximum
		value := func(n, s float64) float64 {
			return n*(math.Log(2*math.Pi*s*s*(n-coefficients)/n)+1) + 2*(coefficients+1)
		}
		fits("AIC and residual SD", func(n float64) bool { return value(n, sdLow) <= aicHigh && value(n, sdHigh) >= aicLow })
	}
	rLow, rHigh, r2 := span("r_squared")
	fLow, fHigh, f := span("model_f")
	if r2 && f && coefficients > 1 {
		value := func(n, r float64) float64 { return r / (1 - r) * (n - coefficients) / (coefficients - 1) }
		fits("F and R²", func(n float64) bool { return value(n, rLow) <= fHigh && value(n, rHigh) >= fLow })
	}
	aLow, aHigh, adjusted := span("r_squared_adjusted")
	if r2 && adjusted {
		value := func(n, r float64) float64 { return 1 - (1-r)*(n-1)/(n-coefficients) }
		fits("adjusted R² and R²", func(n float64) bool { return value(n, rLow) <= aHigh && value(n, rHigh) >= aLow })
	}
	return out
}
