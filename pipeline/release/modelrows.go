package release

import (
	"math"
	"slices"
	"strings"
)

// releaseModelRow applies the rules to a row of a table of models.
func (c *checker) releaseModelRow(r *row) {
	key := modelKey(r.f, r.at)
	s := c.models[key]
	n := r.number("n")
	df, known := r.given.degrees[key]
	events, counted := r.given.events[key]
	switch {
	case math.IsNaN(n):
	case s != nil && s.all.hides == everything:
		r.hideAll(s.all.rule)
	case n < float64(c.rules.MinCell):
		r.hideAll(ruleMinimum)
	case known && df < float64(c.rules.MinDegrees):
		r.hideAll(ruleDegrees)
	case counted && (c.rules.Small(int(events)) || c.rules.Small(int(n-events))):
		r.hideAll(ruleSides)
	case s != nil && s.hasSmall(r.text("term")):
		r.hideAll(ruleLevel)
	case r.text("statistic") == "missing":
		c.releaseAbsence(r, s)
	case r.text("statistic") == "separated_rows" && c.rules.Few(int(r.number("estimate"))):
		r.hideAll(ruleMinimum)
	case s != nil && s.counts || c.few(int(r.number("n_missing"))):
		r.hideCounts(ruleDifference)
		if tellsModelCount(r.text("statistic")) {
			r.hideAll(ruleDifference)
		} else {
			r.coarsen(int(n), c.rules.MinCell)
		}
	}
}

// tellsModelCount reports a statistic of a model that is its number of people or
// gives it away: degrees of freedom, and what is summed over people.
func tellsModelCount(statistic string) bool {
	return statistic == "n" || statistic == "df" || strings.HasSuffix(statistic, "_df") || strings.HasSuffix(statistic, "_df2") ||
		slices.Contains([]string{"r_squared_adjusted", "log_likelihood", "objective", "events"}, statistic)
}

// releaseAbsence judges how many lack a column of a model.
func (c *checker) releaseAbsence(r *row, s *sampled) {
	if s != nil && s.counts || c.few(int(r.number("estimate"))) || c.few(int(r.number("n_missing"))) {
		r.hideAll(ruleMissing)
		r.f.SetText(r.at, "method", "count")
	}
}

// hasSmall reports a coefficient that few people make: of a level of a factor, or
// of an interaction with one.
func (s *sampled) hasSmall(term string) bool {
	if s.smallTerms[term] {
		return true
	}
	for part := range strings.SplitSeq(term, ":") {
		name, _, level := strings.Cut(part, "=")
		if level && (s.smallTerms[part] || s.smallTerms[name]) {
			return true
		}
	}
	return false
}
