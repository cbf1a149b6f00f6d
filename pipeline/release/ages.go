package release

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// A curve over age ends at the youngest and the oldest person. What is released
// of it ends where as many people as the smallest cell lie at or beyond.

// fittedAges is the range of ages with enough people at both of its ends among
// those of a row; ok is false where the people are not known.
func (c *checker) fittedAges(f *schema.Frame, row int) (low, high float64, ok bool) {
	g, known := c.group(f, row)
	v, described := c.variable(f.TextAt(row, "variable"))
	if !known || !described || !c.Visits.Has("age_years") {
		return 0, 0, false
	}
	classes, exists := c.layout.classes(g)
	if !exists {
		return 0, 0, false
	}
	in := make([]bool, len(c.layout.at))
	for _, a := range c.layout.within(classes) {
		in[a] = true
	}
	var ages []float64
	from, to := c.declaredAges(f.TextAt(row, "variable"), f.TextAt(row, "set"))
	cells := c.Visits.Numbers("age_years")
	for i, a := range c.layout.atomOf {
		if age := math.Floor(cells[c.People.Rows[i]]); in[a] && v.present.at(i) && age >= from && age <= to {
			ages = append(ages, age)
		}
	}
	if len(ages) < 2*c.rules.MinCell {
		return 0, 0, false
	}
	slices.Sort(ages)
	return ages[c.rules.MinCell-1], ages[len(ages)-c.rules.MinCell], true
}

// declaredAges are the ages for which the plan wants centiles of a variable, in
// completed years: those of every reference of it that the set has.
func (c *checker) declaredAges(variable, set string) (from, to float64) {
	from, to = math.Inf(-1), math.Inf(1)
	for _, plan := range schema.ResolveCentiles(c.Settings.Analysis.Centiles, c.People.Sets) {
		if plan.Variable == variable && plan.Set == set && len(plan.Ages) == 2 {
			from, to = max(from, plan.Ages[0]), min(to, plan.Ages[1])
		}
	}
	return from, to
}

// releaseAges narrows the ages of a curve, and hides it beyond them.
func (c *checker) releaseAges(r *row) {
	curve := r.f.Table.Name == centilesTable && !math.IsNaN(r.number("age_years"))
	statistic := r.text("statistic")
	end := statistic == "lowest" || statistic == "highest"
	parameter := r.f.Table.Name == parametersTable
	if parameter { // a reference is of use as a whole alone
		defer func() {
			if r.gone() {
				r.f.SetNumber(r.at, "age_years", math.NaN())
			}
		}()
	}
	if r.gone() || !curve && !end && !parameter {
		return
	}
	span := c.spanOf(r.f, r.at)
	v := r.number("estimate")
	switch {
	case !span.ok:
		r.hideAll(ruleAges)
	case curve && (r.number("age_years") < span.low || r.number("age_years") > span.high):
		r.hideAll(ruleAges)
	case statistic == "lowest" && v < span.low:
		r.f.SetNumber(r.at, "estimate", span.low)
		r.log.add(r.f, r.at, ruleAges, partEstimate)
	case statistic == "highest" && v > span.high:
		r.f.SetNumber(r.at, "estimate", span.high)
		r.log.add(r.f, r.at, ruleAges, partEstimate)
	}
}

// spanOf is the range of ages that is released of the people of a row.
func (c *checker) spanOf(f *schema.Frame, row int) ageRange {
	key := f.TextAt(row, "set") + "\x00" + f.TextAt(row, "variable") + "\x00" + f.TextAt(row, "sex")
	span, known := c.ages[key]
	if !known {
		low, high, ok := c.fittedAges(f, row)
		span = ageRange{low, high, ok && low < high}
		c.ages[key] = span
	}
	return span
}

type ageRange struct {
	low, high float64
	ok        bool
}

// parseAges reads the ages of a group, as package tabulate writes them.
func parseAges(text string) (low, high float64, ok bool) {
	from, to, closed := strings.Cut(text, "-")
	low, wrong := strconv.ParseFloat(from, 64)
	high, err := strconv.ParseFloat(to, 64)
	return low, high, closed && wrong == nil && err == nil
}

func plainAge(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
