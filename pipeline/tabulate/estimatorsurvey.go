package tabulate

import (
	"fmt"
	"math"

	"tonocohort/stats"
)

// designed estimates from a sample drawn by strata, clusters and weights, or
// from persons who stand in several rows.
type designed struct {
	survey   *stats.Survey
	work     *stats.Workspace
	weighted bool
	name     string // how the errors came about
	single   string // rule for a stratum with a single unit
}

func (designed) people(g group) int { return len(g.values) }
func (designed) note() string       { return "" }

// size says how many people of the population the group stands for, and how
// many people drawn with equal weights would tell as much (Kish 1965, Survey
// Sampling; from memory).
func (d designed) size(g group) []line {
	if !d.weighted {
		return nil
	}
	var sum, squares []float64
	for _, row := range g.rows {
		w := d.survey.Weight(row)
		sum, squares = append(sum, w), append(squares, w*w)
	}
	total := stats.Sum(sum)
	return []line{
		{Result: stats.Result{Statistic: "sum_of_weights", Estimate: total, Method: "sum", Unit: "1"}},
		{Result: stats.Result{Statistic: "n_effective", Estimate: total * total / stats.Sum(squares), Method: "squared sum of weights / sum of squared weights", Unit: "1"}},
	}
}

func (d designed) method(what string) string { return what + ", " + d.name }

func (d designed) finish(e stats.Estimate, what string, i stats.Interval) line {
	l := line{stats.Result{Estimate: e.Value, Method: d.method(what)}, i}
	if e.N > 0 {
		l.Note = fmt.Sprintf("%.0f degrees of freedom", e.Degrees)
		if d.weighted && e.Singles > 0 {
			l.Note += fmt.Sprintf(", %d strata with a single unit: %s", e.Singles, d.single)
		}
	}
	return l
}

func (d designed) moments(g group) (mean, se, sd line) {
	e := d.survey.Mean(d.work, g.rows, g.values)
	v := d.survey.Variance(d.work, g.rows, g.values)
	mean = d.finish(e, "mean", e.Interval(confidence))
	se = line{Result: stats.Result{Estimate: e.SE, Method: d.method("standard error of the mean"), Note: noError(e)}}
	spread := stats.Estimate{Value: math.Sqrt(v.Value), Degrees: v.Degrees, N: v.N, Singles: v.Singles}
	spread.SE = v.SE / (2 * spread.Value) // first order
	sd = d.finish(spread, "root of the variance", spread.Interval(confidence))
	return mean, se, sd
}

// noError says why a mean has no standard error.
func noError(e stats.Estimate) string {
	switch {
	case !math.IsNaN(e.SE) || math.IsNaN(e.Value):
		return ""
	case e.Singles > 0:
		return "none: a sampling stratum has one unit alone"
	}
	return "none: fewer than two sampling units"
}

func (d designed) geometric(g group) line {
	logs, ok := stats.Logarithms(g.values, nil)
	if !ok {
		l := noGeometricMean(len(g.values))
		l.Method = d.method(l.Method)
		return l
	}
	mean, i := d.survey.GeometricMean(d.work, g.rows, logs, confidence)
	return line{stats.Result{Estimate: mean, Method: d.method("geometric mean")}, i}
}

func (d designed) quantile(g group, p float64, t stats.QuantileType, level float64) line {
	q, i := d.survey.Quantile(d.work, g.rows, g.values, p, t, level)
	l := line{stats.Result{Estimate: q, Method: d.method(t.Name())}, i}
	l.Note = noRankInterval(len(g.values), i)
	return l
}

func (d designed) share(g group, hit func(i int) bool) line {
	e := d.survey.Mean(d.work, g.rows, indicator(len(g.values), hit))
	l := d.finish(e, "share", e.ProportionInterval(confidence))
	if e.Value == 0 || e.Value == 1 {
		l.Note = "no interval: everyone is on one side"
	}
	return l
}

func (d designed) ratio(rows []int32, above, below []float64) line {
	e := d.survey.Ratio(d.work, rows, above, below)
	return d.finish(e, "ratio of means", e.Interval(confidence))
}

func (d designed) standardised(classes []class) (float64, stats.Interval) {
	var rows []int32
	var number []int
	var x, share []float64
	for k, c := range classes {
		rows, x, share = append(rows, c.rows...), append(x, c.numbers()...), append(share, c.share)
		for range c.rows {
			number = append(number, k)
		}
	}
	e := d.survey.Standardised(d.work, rows, x, number, share)
	return e.Value, e.Interval(confidence)
}
