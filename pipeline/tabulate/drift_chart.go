package tabulate

import (
	"fmt"
	"math"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats"
)

// drift writes the table of the same name.
type drift struct {
	frame  *schema.Frame
	issues []schema.Issue
	width  float64 // of the limits, standard errors
	tail   float64 // probability beyond the limit of a share
	trend  float64 // P below which a line is not level
}

// point is what a row of the table says beyond its statistic.
type point struct {
	period              string
	target, lower, high float64
	rule                string
	judged, flagged     bool
}

func (d *drift) write(c *chart, p point, r stats.Result, i stats.Interval) {
	row := d.frame.AddRow()
	for name, text := range map[string]string{"set": everyone, "variable": c.variable, "by": c.by, "name": c.name, "period": p.period, "rule": p.rule} {
		d.frame.SetText(row, name, text)
	}
	d.frame.SetNumber(row, "target", p.target)
	d.frame.SetNumber(row, "lower_limit", p.lower)
	d.frame.SetNumber(row, "upper_limit", p.high)
	if p.judged {
		d.frame.SetBool(row, "flagged", p.flagged)
	}
	writeResult(d.frame, row, r, i)
}

// add writes the points of a chart, its trend and its verdict.
func (d *drift) add(c *chart) {
	target := stats.Mean(c.values)
	means, sizes, hits := make([]float64, len(c.periods)), make([]int, len(c.periods)), make([]int, len(c.periods))
	groups := make([][]float64, len(c.periods))
	for i, p := range c.periods {
		groups[i] = c.values[p.from:p.to]
		means[i], sizes[i] = stats.Mean(groups[i]), p.to-p.from
		hits[i] = int(math.Round(stats.Sum(groups[i])))
	}
	sd, _ := stats.PooledSD(groups)
	judged := len(c.periods) > 1
	var broken []string
	if c.share {
		broken = d.points(c, stats.Shares(hits, sizes, target, d.tail), groups, target, ruleShare, "share", judged, broken)
	} else {
		broken = d.points(c, stats.XBar(means, sizes, target, sd, d.width), groups, target, ruleXBar, "mean", judged, broken)
		if judged {
			broken = d.points(c, stats.EWMA(means, sizes, target, sd, ewmaWeight, d.width), groups, target, ruleEWMA, "moving_average", judged, broken)
		}
	}
	if judged {
		broken = d.line(c, broken)
	}
	d.verdict(c, judged, broken)
}

// points writes one row per period and returns the broken rules.
func (d *drift) points(c *chart, chart stats.Chart, groups [][]float64, target float64, rule, statistic string, judged bool, broken []string) []string {
	any := false
	for i, p := range c.periods {
		r := stats.Result{Statistic: statistic, Estimate: chart.Value[i], N: len(groups[i]), Method: statistic, Unit: c.unit}
		var interval stats.Interval
		switch rule {
		case ruleShare:
			interval = stats.Wilson(int(math.Round(stats.Sum(groups[i]))), len(groups[i]), confidence)
			r.Note = "visits of which every recording is usable"
		case ruleXBar:
			interval = stats.MeanInterval(stats.Describe(groups[i]), confidence)
		}
		at := point{period: p.label, target: target, lower: math.NaN(), high: math.NaN()}
		if judged {
			at.lower, at.high, at.rule, at.judged, at.flagged = chart.Lower[i], chart.Upper[i], rule, true, chart.Outside(i)
			if rule == ruleShare {
				r.Note = join(r.Note, fmt.Sprintf("a share beyond a limit has a probability of at most %.2g", d.tail))
			} else {
				r.Note = join(r.Note, fmt.Sprintf("limits at %.2f standard errors", d.width))
			}
		}
		any = any || at.flagged
		d.write(c, at, r, interval)
	}
	if any {
		broken = append(broken, rule)
	}
	return broken
}

// line writes the least-squares line over the dates.
func (d *drift) line(c *chart, broken []string) []string {
	years := make([]float64, len(c.days))
	for i, day := range c.days {
		years[i] = (day - c.days[0]) / daysPerYear
	}
	l := stats.LeastSquaresLine(years, c.values)
	flagged := l.P < d.trend
	unit := c.unit
	if unit == "" {
		unit = "1"
	}
	d.write(c, point{period: wholeChart, target: 0, lower: math.NaN(), high: math.NaN(), rule: ruleTrend, judged: !math.IsNaN(l.P), flagged: flagged},
		stats.Result{Statistic: "trend_per_year", Estimate: l.Slope, N: len(c.values), Missing: c.missing, Method: "least_squares_on_date", Unit: unit + " per year",
			Note: fmt.Sprintf("P %.2g; flagged below %.2g", l.P, d.trend)}, l.Interval(confidence))
	if flagged {
		broken = append(broken, ruleTrend)
	}
	return broken
}

// verdict writes whether the chart breaks any rule, and tells it.
func (d *drift) verdict(c *chart, judged bool, broken []string) {
	note := ""
	if !judged {
		note = fmt.Sprintf("not judged: fewer than two periods of %d visits with a date", leastVisits)
	}
	d.write(c, point{period: wholeChart, target: math.NaN(), lower: math.NaN(), high: math.NaN(), rule: strings.Join(broken, " "), judged: judged, flagged: len(broken) > 0},
		stats.Result{Statistic: "drifts", Estimate: math.NaN(), N: len(c.values), Missing: c.missing, Method: "any_rule", Unit: "1", Note: note}, stats.Interval{})
	if len(broken) > 0 {
		d.issues = append(d.issues, schema.Issue{Size: schema.SizeNote, File: "recordings", Name: c.variable, Value: c.name, Code: driftIssueCode,
			Message: fmt.Sprintf("the %s drifts by the rules %s", c.by, strings.Join(broken, ", ")), Hint: "see the table drift"})
	}
}

// digits tests the last digits of the cuff readings by centre. Readings that are
// no whole numbers have been converted from another unit and do not count.
func (d *drift) digits(m Measured) {
	centres, visitOf := m.textOfVisit("centre"), m.visitsOf(m.Readings)
	for _, name := range []string{"sbp_mmhg", "dbp_mmhg"} {
		counts, broken := map[string]*[10]int{}, map[string]int{}
		for row, v := range m.Readings.Numbers(name) {
			centre := centres(int(visitOf[row]))
			if centre == "" {
				centre = missingLevel
			}
			if counts[centre] == nil {
				counts[centre] = &[10]int{}
			}
			if v != math.Floor(v) {
				broken[centre]++
				continue
			}
			counts[centre][int(math.Abs(v))%10]++
		}
		for _, centre := range sortedKeys(counts) {
			d.digitsOf(&chart{by: "centre", name: centre, variable: "cuff_" + strings.TrimSuffix(name, "_mmhg") + "_last_digit", unit: "1"}, counts[centre], broken[centre])
		}
	}
}

func (d *drift) digitsOf(c *chart, counts *[10]int, broken int) {
	n, even := 0, 0
	for digit, k := range counts {
		n += k
		if digit%2 == 0 {
			even += k
		}
	}
	share := func(statistic string, hits int, target float64, note string) {
		d.write(c, point{period: wholeChart, target: target, lower: math.NaN(), high: math.NaN()},
			stats.Result{Statistic: statistic, Estimate: float64(hits) / float64(n), N: n, Missing: broken, Method: "share of readings", Unit: "1", Note: note},
			stats.Wilson(hits, n, confidence))
	}
	share("share_of_0", counts[0], 0.1, "0.2 where only even numbers are written")
	share("share_of_even", even, 0.5, "near 1 where a scale of 2 mmHg is read")
	chi, degrees, p := stats.EqualCounts(counts[:])
	r := stats.Result{Statistic: "chi_square", Estimate: chi, N: n, Missing: broken, Method: "pearson_equal_digits", Unit: "1",
		Note: fmt.Sprintf("%.0f degrees of freedom, P %.2g; flagged below %g", degrees, p, digitAlarm)}
	if math.IsNaN(p) {
		r.Estimate, r.Note = math.NaN(), "too few: at least 50 readings are needed"
	}
	d.write(c, point{period: wholeChart, target: math.NaN(), lower: math.NaN(), high: math.NaN(), rule: ruleDigits, judged: !math.IsNaN(p), flagged: p < digitAlarm}, r, stats.Interval{})
	if p < digitAlarm {
		d.issues = append(d.issues, schema.Issue{Size: schema.SizeNote, File: "cuff", Name: c.variable, Value: c.name, Code: "digit_preference",
			Message: "the last digits of the readings are not equally frequent", Hint: "see the table drift"})
	}
}
