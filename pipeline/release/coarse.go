package release

import (
	"math"
	"strings"

	"tonocohort/stats/disclose"
)

// coarseBeside makes coarse what would tell the hidden number of people: the
// ends of an interval by its width, a share by its denominator, any estimate by
// its digits.
func (c *checker) coarseBeside(r *row, n float64) { r.coarsen(int(n), c.rules.MinCell) }

func (r *row) coarsen(n, minCell int) {
	estimate, low, high := r.number("estimate"), r.number("low"), r.number("high")
	grid := disclose.GridFor(estimate, low, high, n, minCell)
	fine := disclose.NiceStep((high - low) / 40)
	switch {
	case isShare(r.text("statistic")):
		fine = max(disclose.NiceStep(1/float64(n)), disclose.ShareStep(estimate, n, minCell))
	case strings.HasPrefix(r.f.Table.Name, "centile"): // of a curve; no number of people is in its digits
		fine = 0
	case grid.Step == 0:
		fine = disclose.NiceStep(math.Abs(estimate) / 500)
	}
	r.setCoarse("estimate", fine)
	lower, upper := grid.Ends(low, high)
	if told := r.number("estimate"); !math.IsNaN(told) { // it may be coarser than the ends
		lower, upper = math.Min(lower, told), math.Max(upper, told)
	}
	r.f.SetNumber(r.at, "low", lower)
	r.f.SetNumber(r.at, "high", upper)
	r.log.add(r.f, r.at, ruleCoarse, partCounts)
}

func (r *row) setCoarse(column string, step float64) {
	if v := r.number(column); !math.IsNaN(v) {
		r.f.SetNumber(r.at, column, disclose.To(v, step))
	}
}

// round brings counts to a multiple of the base, and makes coarse what would
// give the exact ones away.
func (r *row) round(base, minCell int) {
	if base < 2 {
		return
	}
	n := r.number("n")
	if r.text("method") == "count" || r.text("statistic") == "residual_df" {
		if v := r.number("estimate"); !math.IsNaN(v) {
			r.f.SetNumber(r.at, "estimate", float64(disclose.Round(int(v), base)))
		}
	} else if n > 0 {
		r.coarsen(int(n), max(base, minCell))
	}
	for _, column := range []string{"n", "n_missing", observations} {
		if v := r.number(column); !math.IsNaN(v) {
			r.f.SetNumber(r.at, column, float64(disclose.Round(int(v), base)))
		}
	}
	r.log.add(r.f, r.at, ruleRounded, partCounts)
}
