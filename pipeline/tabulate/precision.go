package tabulate

import (
	"math"

	"tonocohort/schema"
	"tonocohort/stats"
)

// precision tells how many people a centile needs. It rests on no data.
func precision(plan schema.PrecisionSettings) *schema.Frame {
	f := schema.NewFrame(schema.PrecisionTable(), 0)
	write := func(centile, se float64, statistic, method string, people int) {
		row := f.AddRow()
		f.SetNumber(row, "centile_pct", centile)
		f.SetNumber(row, "se_in_sd", se)
		f.SetText(row, "statistic", statistic)
		f.SetNumber(row, "people", float64(people))
		f.SetText(row, "method", method)
	}
	for _, centile := range plan.Centiles {
		p := centile / 100
		write(centile, math.NaN(), "for_an_interval", "least n with a 95 % order-statistic interval", stats.LeastSize(p, confidence))
		for _, se := range plan.SE {
			write(centile, se, "from_mean_and_sd", "normal population, mean + z·SD: standard error SD·√((1 + z²/2)/n)", stats.SizeForPrecision(stats.NormalCentileFactor(p), se))
			write(centile, se, "from_ranks", "normal population, sample quantile: standard error SD·√(p(1 − p)/n)/φ(z)", stats.SizeForPrecision(stats.OrderCentileFactor(p), se))
		}
	}
	return f
}
