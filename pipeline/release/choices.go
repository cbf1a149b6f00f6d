package release

import (
	"math"
	"slices"
	"strings"

	"tonocohort/stats/disclose"
)

// releaseSensitivity judges the primary model under its choices. Most of its
// samples lie in one another, and who is in them is not known here: a number of
// people a few away from any other of the set is hidden, with it the standard error
// and the last digits. How far a coefficient moves is then taken from the released
// ones, so that it tells nothing that they do not.
func (c *checker) releaseSensitivity(rows []*row) {
	published := c.coefficients()
	told := c.numbersTold()
	for _, r := range rows {
		n := r.number("n")
		key := modelKey(r.f, r.at)
		s := c.models[key]
		own := r.text("choice") == "primary" // as the table of models has it
		switch {
		case !(n >= float64(c.rules.MinCell)):
			c.hideChoice(r, ruleMinimum, true)
		case n-published[key] < float64(c.rules.MinDegrees):
			c.hideChoice(r, ruleDegrees, true)
		case s != nil && s.all.hides == everything:
			c.hideChoice(r, s.all.rule, true)
		case s != nil && (s.hasSmall(r.text("term")) || c.fewOfLevel(s, r.text("term"), n)):
			c.hideChoice(r, ruleLevel, true)
		case s == nil || c.besideHidden(s, n), !own && c.beside(n, told):
			c.hideChoice(r, ruleDifference, false)
		default:
			if c.few(int(r.number("n_missing"))) { // of whom no table tells the number
				r.hide(partCounts, ruleMissing, "n_missing")
			}
			told = append(told, n)
		}
	}
	c.moves(rows)
}

// coefficients counts those of every model as published.
func (c *checker) coefficients() map[string]float64 {
	published := map[string]float64{}
	for _, f := range c.Tables {
		if f.Table.Name != regressionTable {
			continue
		}
		for at := range f.N {
			if f.TextAt(at, "statistic") == "estimate" {
				published[modelKey(f, at)]++
			}
		}
	}
	return published
}

// numbersTold lists how many people there are in every group that a table names
// in whole sets, told or not, and in every model, and how many visits were of each
// grade and departed or not: with one visit each these are people.
func (c *checker) numbersTold() []float64 {
	var told []float64
	named := c.publishedCrowds()
	for _, g := range named.list {
		told = append(told, float64(named.size(g)))
	}
	for _, s := range c.models {
		told = append(told, float64(c.countOf(s.rows)))
	}
	for _, f := range c.Apart {
		for row := range f.N {
			if f.Has(observations) {
				n, some := f.Number(row, "n"), f.Number(row, observations)
				told = append(told, n, some, n-some)
			}
		}
	}
	told = slices.DeleteFunc(told, math.IsNaN)
	slices.Sort(told)
	return slices.Compact(told)
}

// besideHidden reports a number within the smallest cell of one that is hidden:
// that of the primary model, or of its set. The same number would tell it.
func (c *checker) besideHidden(s *sampled, n float64) bool {
	if !s.counts {
		return false
	}
	for _, hidden := range [][]bool{s.rows, s.among} {
		if math.Abs(n-float64(c.countOf(hidden))) < float64(c.rules.MinCell) {
			return true
		}
	}
	return false
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
	r.hide(partCounts, rule, columns[0])
	if !math.IsNaN(r.number("estimate")) {
		c.coarseBeside(r, n)
	}
}

// moves takes how far each coefficient moves from the released ones, where one of
// the two was made coarse. Its standard error is then the half width of the
// primary's released interval over that of a standard normal one.
func (c *checker) moves(rows []*row) {
	primary := map[string]*row{}
	for _, r := range rows {
		if r.text("choice") == "primary" {
			primary[modelKey(r.f, r.at)] = r
		}
	}
	for _, r := range rows {
		base := primary[modelKey(r.f, r.at)]
		coarse := func(r *row) bool { return slices.Contains(r.hidden, partCounts) }
		switch {
		case r.gone() || math.IsNaN(r.number("shift")):
		case base == nil || base.gone():
			r.hide(partCounts, ruleDifference, "shift", "shift_in_se")
		case coarse(r) || coarse(base):
			shift := r.number("estimate") - base.number("estimate")
			step := disclose.NiceStep((base.number("high") - base.number("low")) / shiftDigits)
			r.write("shift", shift, step)
			se := (base.number("high") - base.number("low")) / (2 * normalQuantile)
			r.write("shift_in_se", shift/se, shiftInSEStep)
			r.log.add(r.f, r.at, ruleCoarse, partCounts)
		}
	}
}

const (
	normalQuantile = 1.959963984540054 // 97.5 %
	shiftDigits    = 400               // steps in the width of the interval: finer than the released estimates, which have 40
	shiftInSEStep  = 0.1
)

// write puts down a value made coarse, and leaves it missing where it is not
// finite.
func (r *row) write(column string, v, step float64) {
	if math.IsInf(v, 0) {
		v = math.NaN()
	}
	r.f.SetNumber(r.at, column, disclose.To(v, step))
}

// beside reports that another number of people is a few away.
func (c *checker) beside(n float64, told []float64) bool {
	for _, other := range told {
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
	label, ok := c.labels(column)
	if !ok {
		return true
	}
	all, of := 0, 0
	for i, in := range s.rows {
		if in {
			all++
			if label(i) == level {
				of++
			}
		}
	}
	lost := max(0, all-int(n))
	return of-lost < c.rules.MinCell || all-of-lost < c.rules.MinCell
}
