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
	case r.text("statistic") == "events" && s != nil && s.noEvents:
		r.hideAll(ruleDifference)
	case r.text("statistic") == "separated_rows" && c.rules.Few(int(r.number("estimate"))):
		r.hideAll(ruleMinimum)
	case s != nil && s.counts || c.few(int(r.number("n_missing"))):
		c.releaseCounted(r, int(n))
	}
}

// releaseCounted releases a row of a model whose number of people is hidden.
// Coefficients and what is a ratio of sums of squares stay, made coarse. All else
// is hidden: an information criterion, an F, a second standard error or an
// inflation factor gives the number away beside them.
func (c *checker) releaseCounted(r *row, n int) {
	statistic := r.text("statistic")
	r.hideCounts(ruleDifference)
	switch {
	case statistic == "p_value" || strings.HasSuffix(statistic, "_p"):
		r.setCoarse("estimate", coarseP)
		r.log.add(r.f, r.at, ruleCoarse, partCounts)
	case !withoutCount(statistic):
		r.hideAll(ruleDifference)
	default:
		r.coarsen(n, c.rules.MinCell)
	}
}

// coarseP is how coarse a P value is beside a hidden number: below it the exact
// one would tell the standard error to many digits.
const coarseP = 0.001

// withoutCount reports a statistic of a model that does not tell its number of
// people, alone or beside the others of them.
func withoutCount(statistic string) bool {
	return slices.Contains([]string{"estimate", "odds_ratio", "prevalence_ratio", "effect", "standardised", "r_squared",
		"r_squared_attenuation_corrected", "residual_sd", "rank", "missing_information", "icc", "calibrated", "simex", "reliability"}, statistic)
}

// releaseAbsence judges how many lack a column of a model.
func (c *checker) releaseAbsence(r *row, s *sampled) {
	if s != nil && (s.counts || s.noMissing[r.text("term")]) || c.few(int(r.number("estimate"))) || c.few(int(r.number("n_missing"))) {
		r.hideAll(ruleMissing)
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
		if level && (s.smallTerms[part] || s.smallTerms[name]) || s.ofSmallColumn(part) {
			return true
		}
	}
	return false
}

// ofSmallColumn reports a form of a numeric column that few persons make: the
// name of a term begins with its column.
func (s *sampled) ofSmallColumn(part string) bool {
	for name := range s.smallTerms {
		if rest, ok := strings.CutPrefix(part, name); ok && !strings.ContainsRune(name, '=') && !(rest != "" && (isLetter(rest[0]) || isDigit(rest[0]) || rest[0] == '_')) {
			return true
		}
	}
	return false
}
