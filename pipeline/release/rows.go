package release

import (
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
)

// row is one row of a table on its way out.
type row struct {
	f      *schema.Frame
	at     int
	log    *reporter
	given  modelFacts
	hidden []string // what was hidden, in a fixed order at the end
}

func (r *row) text(column string) string {
	if !r.f.Has(column) {
		return ""
	}
	return r.f.TextAt(r.at, column)
}

func (r *row) number(column string) float64 {
	if !r.f.Has(column) {
		return math.NaN()
	}
	return r.f.Number(r.at, column)
}

// observations is the column of a table whose people may give several values: it
// goes the way of n.
const observations = "observations"

// The parts of a row that can be hidden.
const (
	partAll      = "all"
	partEstimate = "estimate"
	partInterval = "interval"
	partCounts   = "counts"
)

func (r *row) hide(part, rule string, columns ...string) {
	for _, name := range columns {
		if r.f.Has(name) {
			r.f.SetNumber(r.at, name, math.NaN())
		}
	}
	if !slices.Contains(r.hidden, part) {
		r.hidden = append(r.hidden, part)
	}
	r.log.add(r.f, r.at, rule, part)
}

func (r *row) hideAll(rule string) {
	r.hide(partAll, rule, "estimate", "low", "high", "level", "n", "n_missing", observations)
	r.hidden = []string{partAll}
	if strings.HasPrefix(r.text("method"), "count among ") { // of how many rows
		r.f.SetText(r.at, "method", "count")
	}
}

func (r *row) hideEstimate(rule string) {
	r.hide(partEstimate, rule, "estimate", "low", "high", "level")
}

func (r *row) hideInterval(rule string) { r.hide(partInterval, rule, "low", "high", "level") }

func (r *row) hideCounts(rule string) { r.hide(partCounts, rule, "n", "n_missing", observations) }

func (r *row) gone() bool { return slices.Contains(r.hidden, partAll) }

// finish writes what was hidden into the row.
func (r *row) finish() {
	slices.Sort(r.hidden)
	if len(r.hidden) > 0 && r.f.Has("note") {
		r.f.SetText(r.at, "note", quietNote(r.f.TextAt(r.at, "note"), r.hidden))
	}
	r.f.SetText(r.at, schema.Suppressed, strings.Join(r.hidden, " "))
}

// releaseRow applies every rule to one row of a table of statistics.
func (c *checker) releaseRow(f *schema.Frame, at int, given modelFacts) {
	r := &row{f: f, at: at, log: &c.log, given: given}
	defer r.finish()
	if f.Has("note") {
		c.maskNote(r)
	}
	if !f.Has("estimate") || !f.Has("n") {
		return
	}
	_, level := levelOf(r.text("statistic"))
	switch g, known := c.group(f, at); {
	case c.ofFineStratum(f, at):
		r.hideAll(ruleMinimum)
	case isExtreme(r.text("statistic")):
		r.hideAll(ruleExtreme)
	case f.Has("model"):
		c.releaseModelRow(r)
	case f.Table.Name == agreementTable && known:
		c.releaseAgreement(r, g, c.agreement[at])
	case !known:
		c.releaseUnknown(r)
	case level:
		c.releaseLevel(r, g)
	default:
		c.releaseStatistic(r, g)
	}
	c.releaseAges(r)
	c.narrowGroup(r)
	if !r.gone() {
		r.round(c.Settings.Disclosure.Rounding, c.rules.MinCell)
	}
}

func isExtreme(statistic string) bool {
	return slices.Contains([]string{"min", "max", "minimum", "maximum", "range"}, statistic)
}

// releaseStatistic applies what was decided on the people behind a row, then the
// rules on the statistic itself.
func (c *checker) releaseStatistic(r *row, g group) {
	statistic, variable := r.text("statistic"), c.needing(r.f, r.at)
	n := r.number("n")
	s := c.stateOf(variable, g)
	if own := c.otherState(r.f, r.at); own.hides > s.hides || !c.known(r.f) && !c.samePeople(variable, g, n) {
		s = own
	}
	if r.f.Table.Name == comparisonTable && s.hides < counts && !c.hasAll(variable, g, n) {
		s = state{counts, ruleDifference}
	}
	if s.hides < counts && c.fewLeftOut(r.f, r.at) {
		s = state{counts, ruleDifference}
	}
	p, sample := percentile(r)
	if s.hides < additive && !(n >= float64(c.rules.MinCell)) {
		s = state{everything, ruleMinimum}
	}
	if c.People.Repeated && s.hides < additive && c.rules.Small(c.headcountOf(g)) {
		s = state{everything, ruleMinimum}
	}
	switch s.hides {
	case everything:
		r.hideAll(s.rule)
		return
	case additive:
		adds := !sample && r.f.Table.Name != centilesTable
		at := max(c.tier, c.tiers[variable])
		hidden := p != 0.5 && (at >= tierMedian || int(n) < c.rules.PeopleFor(p)+c.rules.MinCell)
		if adds || sample && hidden || c.bare(g, at) {
			r.hideAll(s.rule)
			return
		}
		r.hideCounts(s.rule)
	case counts:
		if tellsCount(r) {
			r.hideAll(s.rule)
			return
		}
		r.hideCounts(s.rule)
		c.coarseBeside(r, n)
	default:
		c.fewMissingOf(r, n)
	}
	if !r.gone() && r.text("method") == "count" && statistic != "n_missing" && c.rules.Small(int(r.number("estimate"))) {
		r.hideAll(ruleMinimum)
	}
	c.releasePercentile(r, p, sample, n)
	c.releaseShare(r, g, n)
}

// fewMissingOf is the rule on missing values for a row whose group no layer knew.
func (c *checker) fewMissingOf(r *row, n float64) {
	if r.gone() || !c.few(int(r.number("n_missing"))) {
		return
	}
	if tellsCount(r) {
		r.hideAll(ruleMissing)
		return
	}
	r.hideCounts(ruleMissing)
	c.coarseBeside(r, n)
}

// tellsCount reports a statistic that is a number of people or gives it away
// beside the others: SD over standard error is the root of n.
func tellsCount(r *row) bool {
	return r.text("method") == "count" || strings.HasPrefix(r.text("statistic"), "n_") ||
		slices.Contains([]string{"n", "se", "se_change", "sum_of_weights"}, r.text("statistic"))
}

// samePeople reports that a row of a table that no layer knows rests on the very
// people of a group: then what was decided on them holds for it.
func (c *checker) samePeople(variable string, g group, n float64) bool {
	i, known := c.groups.index[g.key()]
	if !known {
		return false
	}
	if v, ok := c.variable(variable); ok && float64(sum(c.groups.atoms[i], v.counted)) == n {
		return true
	}
	return float64(c.groups.sizes[i]) == n
}

// hasAll reports that a row is about all of a group who have a value.
func (c *checker) hasAll(variable string, g group, n float64) bool {
	v, ok := c.variable(variable)
	i, known := c.groups.index[g.key()]
	return ok && known && float64(sum(c.groups.atoms[i], v.counted)) == n
}

func (c *checker) headcountOf(g group) int {
	if i, known := c.groups.index[g.key()]; known {
		return c.groups.persons[i]
	}
	return c.rules.MinCell
}

// releaseLevel applies what was decided on a level of a characteristic.
func (c *checker) releaseLevel(r *row, g group) {
	variable, statistic := r.text("variable"), r.text("statistic")
	level, _ := levelOf(statistic)
	s := c.stateOf(variable, g)
	n := r.number("n")
	switch {
	case s.hides >= additive:
		r.hideAll(s.rule)
	case !(n >= float64(c.rules.MinCell)):
		r.hideAll(ruleMinimum)
	case c.levels[levelKey(variable, level, g)]:
		r.hideAll(ruleSides)
	case s.hides == counts:
		r.hideCounts(s.rule)
		if strings.HasPrefix(statistic, sharePrefix) {
			c.coarseBeside(r, n)
		}
	}
}

// releaseUnknown judges a row about people that no layer knows by itself.
func (c *checker) releaseUnknown(r *row) {
	n := r.number("n")
	if !(n >= float64(c.rules.MinCell)) {
		r.hideAll(ruleMinimum)
		return
	}
	c.fewMissingOf(r, n)
	p, sample := percentile(r)
	c.releasePercentile(r, p, sample, n)
	if hits := math.Round(n * r.number("estimate")); isShare(r.text("statistic")) && (c.rules.Small(int(hits)) || c.rules.Small(int(n-hits))) {
		r.hideEstimate(ruleSides)
	}
}
