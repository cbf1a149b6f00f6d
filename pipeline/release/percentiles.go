package release

import (
	"math"
	"strconv"
	"strings"

	"tonocohort/stats"
)

// percentile reads which sample percentile a row holds. A centile that a model
// gives for an age is no value of the sample.
func percentile(r *row) (p float64, sample bool) {
	if r.f.Table.Name == centilesTable {
		return 0, false
	}
	statistic := r.text("statistic")
	switch statistic {
	case "median":
		return 0.5, true
	case "detrended_quantile": // of the z scores, at a deviate of the normal distribution
		return 0.5 * math.Erfc(-r.number("deviate")/math.Sqrt2), true
	}
	text, named := strings.CutPrefix(statistic, "reference_limit_")
	if !named {
		text, named = strings.CutPrefix(statistic, "p")
	}
	whole, rest, broken := strings.Cut(strings.ReplaceAll(text, "_", "."), ".")
	if !named || !isDigits(whole) || broken && !isDigits(rest) {
		return 0, false
	}
	percent, err := strconv.ParseFloat(strings.ReplaceAll(text, "_", "."), 64)
	if err != nil {
		return 0, false
	}
	return percent / 100, true
}

func isDigits(text string) bool {
	return text != "" && strings.Trim(text, "0123456789") == ""
}

// releasePercentile hides percentiles beyond which too few people lie, and ends
// of intervals that are values of persons near the edge of the sample.
func (c *checker) releasePercentile(r *row, p float64, sample bool, n float64) {
	if r.gone() || !sample {
		return
	}
	if !(n >= float64(c.rules.PeopleFor(p))) {
		r.hideEstimate(rulePercentile)
		return
	}
	if !strings.Contains(r.text("method"), stats.MethodOrderStatistic) || math.IsNaN(r.number("low")) {
		return
	}
	low, high, _ := stats.OrderStatisticRanks(int(n), p, r.number("level"))
	if !c.rules.RanksShown(low, high, int(n)) {
		r.hideInterval(ruleOrder)
	}
}

// releaseShare hides shares with too few people on a side.
func (c *checker) releaseShare(r *row, g group, n float64) {
	statistic := r.text("statistic")
	if r.gone() || !isShare(statistic) {
		return
	}
	hits := math.Round(n * r.number("estimate"))
	t, _, limited := c.thresholdOf(r.f, r.at)
	if limited && c.shares[shareKey(t, g)] || c.rules.Small(int(hits)) || c.rules.Small(int(n-hits)) {
		r.hideEstimate(ruleSides)
	}
}

func isShare(statistic string) bool {
	return strings.HasPrefix(statistic, "prevalence") || strings.HasPrefix(statistic, "proportion") || strings.HasPrefix(statistic, "share")
}
