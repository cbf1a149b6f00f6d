package release

import (
	"math"
	"strings"

	"tonocohort/schema"
)

// Tables with rules of their own: what they count is not told apart by sets and
// strata, so that no layer knows it.

// apart releases a table of Input.Apart.
func (c *checker) apartTable(f *schema.Frame) *schema.Frame {
	t := f.Table
	out := schema.NewFrame(schema.Released(t), f.N)
	for row := range f.N {
		out.CopyRow(out.AddRow(), f, row)
	}
	rows := make([]*row, out.N)
	for at := range rows {
		rows[at] = &row{f: out, at: at, log: &c.log}
		rows[at].maskNote(c.quoted)
	}
	if t.Name == sensitivityTable {
		c.releaseSensitivity(rows)
	} else {
		c.releaseVisits(rows)
	}
	for _, r := range rows {
		if !r.gone() {
			r.round(c.Settings.Disclosure.Rounding, c.rules.MinCell)
		}
		r.finish()
	}
	return out
}

// releaseVisits judges shares of the used visits by the persons behind them. One
// that is hidden must not follow from the others: grades add up to all visits, and
// a visit with any departure has one of those listed.
func (c *checker) releaseVisits(rows []*row) {
	hidden, shown := 0, 0.0
	for _, r := range rows {
		variable := r.text("variable")
		if variable == schema.AnyDeparture {
			continue
		}
		if !c.releaseSides(r, variable) {
			hidden++
			continue
		}
		shown += r.number("n") * r.number("estimate")
	}
	for _, r := range rows {
		variable := r.text("variable")
		switch {
		case r.f.Table.Name == schema.QualityName && hidden > 0 && !r.gone():
			r.hideAll(ruleComplement)
		case variable == schema.AnyDeparture:
			if any := r.number(observations); c.releaseSides(r, variable) && hidden > 0 && !(any <= math.Round(shown)) {
				r.hideAll(ruleComplement)
			}
		}
	}
	for _, r := range rows {
		if n := r.number("n"); !r.gone() && c.few(int(r.number("n_missing"))) {
			r.hideCounts(ruleMissing)
			c.coarseBeside(r, n)
		}
	}
}

// releaseSides hides a share with too few persons on one side; it reports whether
// something is left.
func (c *checker) releaseSides(r *row, variable string) bool {
	in, out := map[string]bool{}, map[string]bool{}
	for row := range c.Visits.N {
		if c.Visits.TextAt(row, "status") != "used" {
			continue
		}
		person := c.Visits.TextAt(row, "subject_id")
		if r.f.Table.Name == schema.QualityName {
			if c.Visits.TextAt(row, "quality") == variable {
				in[person] = true
			} else {
				out[person] = true
			}
			continue
		}
		switch departed(c.Visits, row, variable) {
		case 1:
			in[person] = true
		case 0:
			out[person] = true
		}
	}
	if c.rules.Small(len(in)) || c.rules.Small(len(out)) {
		r.hideAll(ruleSides)
		return false
	}
	return true
}

// departed is 1 for a visit that departed in what the variable names, 0 for one
// that did not, NaN where nothing was answered.
func departed(visits *schema.Frame, row int, variable string) float64 {
	if variable != schema.AnyDeparture {
		return visits.Number(row, schema.DepartedPrefix+variable)
	}
	any := math.NaN()
	for _, column := range visits.Table.Columns {
		if !strings.HasPrefix(column.Name, schema.DepartedPrefix) {
			continue
		}
		if v := visits.Number(row, column.Name); math.IsNaN(any) || v > any {
			any = v
		}
	}
	return any
}

// releaseSensitivity judges the primary model under its choices. Most of its
// samples lie in one another: where two numbers of people, or one of them and that
// of a published model, are a few apart, neither they nor the last digits of what
// was estimated from them are shown.
func (c *checker) releaseSensitivity(rows []*row) {
	var known []float64
	published := map[string]float64{} // coefficients of the model as published
	for _, f := range c.Tables {
		if f.Table.Name != regressionTable {
			continue
		}
		for at := range f.N {
			if f.TextAt(at, "statistic") == "estimate" {
				published[modelKey(f, at)]++
				known = append(known, f.Number(at, "n"))
			}
		}
	}
	for _, r := range rows {
		known = append(known, r.number("n"))
	}
	for _, r := range rows {
		n := r.number("n")
		key := modelKey(r.f, r.at)
		s := c.models[key]
		switch {
		case !(n >= float64(c.rules.MinCell)):
			c.hideChoice(r, ruleMinimum, true)
		case n-published[key] < float64(c.rules.MinDegrees):
			c.hideChoice(r, ruleDegrees, true)
		case s != nil && s.all.hides == everything:
			c.hideChoice(r, s.all.rule, true)
		case s != nil && (s.hasSmall(r.text("term")) || c.fewOfLevel(s, r.text("term"), n)):
			c.hideChoice(r, ruleLevel, true)
		case s != nil && s.counts, c.few(int(r.number("n_missing"))), c.beside(n, known):
			c.hideChoice(r, ruleDifference, false)
		}
	}
}

// hideChoice hides all of a row, or its counts and what is finer than they allow.
func (c *checker) hideChoice(r *row, rule string, all bool) {
	n := r.number("n")
	columns := []string{"se", "shift", "shift_in_se"}
	if all {
		r.hideAll(rule)
		r.hide(partAll, rule, columns...)
		return
	}
	r.hideCounts(rule)
	r.hide(partCounts, rule, columns...)
	if !math.IsNaN(r.number("estimate")) {
		c.coarseBeside(r, n)
	}
}

// beside reports that another number of people is a few away.
func (c *checker) beside(n float64, known []float64) bool {
	for _, other := range known {
		if c.few(int(math.Abs(n - other))) {
			return true
		}
	}
	return false
}

// fewOfLevel reports that a level, or the others, may have too few people left in
// a sample of n out of the model's own.
func (c *checker) fewOfLevel(s *sampled, term string, n float64) bool {
	column, level, factor := strings.Cut(term, "=")
	if !factor || strings.Contains(term, ":") {
		return strings.Contains(term, "=") // an interaction with a level
	}
	labels, ok := c.labels(column)
	if !ok {
		return true
	}
	all, of := 0, 0
	for i, in := range s.rows {
		if in {
			all++
			if labels[i] == level {
				of++
			}
		}
	}
	lost := max(0, all-int(n))
	return of-lost < c.rules.MinCell || all-of-lost < c.rules.MinCell
}
