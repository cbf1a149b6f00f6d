package tabulate

import (
	"math"

	"tonocohort/stats"
)

// frequencies takes a row for as many people as its weight says.
type frequencies struct{ weight []float64 } // by row of the frame

func (frequencies) size(group) []line { return nil }
func (frequencies) note() string      { return "weights are counts of people" }

func (c frequencies) weights(rows []int32) []float64 {
	out := make([]float64, len(rows))
	for i, row := range rows {
		out[i] = c.weight[row]
	}
	return out
}

// running returns the running counts.
func (c frequencies) running(rows []int32) []float64 {
	out := c.weights(rows)
	for i := 1; i < len(out); i++ {
		out[i] += out[i-1] // whole numbers: exact
	}
	return out
}

func (c frequencies) people(g group) int { return c.total(g, func(int) bool { return true }) }

func (c frequencies) total(g group, hit func(i int) bool) int {
	n := 0.0
	for i, row := range g.rows {
		if hit(i) {
			n += c.weight[row]
		}
	}
	return int(n)
}

func (c frequencies) sample(g group) stats.Sample {
	return stats.DescribeFrequencies(g.values, c.weights(g.rows))
}

func (c frequencies) moments(g group) (mean, se, sd line) {
	s := c.sample(g)
	mean = line{stats.Result{Estimate: s.Mean, Method: "mean"}, stats.MeanInterval(s, confidence)}
	se = line{Result: stats.Result{Estimate: s.StandardError(), Method: "sd/√n"}}
	sd = line{stats.Result{Estimate: s.SD, Method: "n-1"}, stats.StandardDeviationInterval(s, confidence)}
	return mean, se, sd
}

func (c frequencies) geometric(g group) line {
	logs, ok := stats.Logarithms(g.values, nil)
	if !ok {
		return noGeometricMean(len(g.values))
	}
	s := stats.DescribeFrequencies(logs, c.weights(g.rows))
	i := stats.MeanInterval(s, confidence)
	i.Low, i.High, i.Method = math.Exp(i.Low), math.Exp(i.High), stats.MethodLogT
	return line{stats.Result{Estimate: math.Exp(s.Mean), Method: "geometric mean"}, i}
}

func (c frequencies) quantile(g group, p float64, t stats.QuantileType, level float64) line {
	running, n := c.running(g.rows), c.people(g)
	low, high, _ := stats.OrderStatisticRanks(n, p, level)
	i := stats.Interval{Low: math.NaN(), High: math.NaN(), Level: level, Method: stats.MethodOrderStatistic}
	if low > 0 && high > 0 {
		i.Low, i.High = stats.AtRank(g.values, running, low), stats.AtRank(g.values, running, high)
	}
	l := line{stats.Result{Estimate: stats.FrequencyQuantile(g.values, running, p, t), Method: t.Name()}, i}
	l.Note = noRankInterval(n, i)
	return l
}

func (c frequencies) share(g group, hit func(i int) bool) line {
	n, hits := c.people(g), c.total(g, hit)
	return line{stats.Result{Estimate: float64(hits) / float64(n), Method: "share"}, stats.Wilson(hits, n, confidence)}
}

// ratio is by the delta method on the persons that the rows stand for.
func (c frequencies) ratio(rows []int32, above, below []float64) line {
	w := c.weights(rows)
	tops, bottoms := stats.DescribeFrequencies(above, w), stats.DescribeFrequencies(below, w)
	ratio := tops.Mean / bottoms.Mean
	rest := make([]float64, len(above))
	for i := range rest {
		rest[i] = above[i] - float64(ratio*below[i])
	}
	s := stats.DescribeFrequencies(rest, w)
	i := stats.MeanInterval(s, confidence)
	half := (i.High - i.Low) / 2 / math.Abs(bottoms.Mean)
	return line{stats.Result{Estimate: ratio, Method: "ratio of means"},
		stats.Interval{Low: ratio - half, High: ratio + half, Level: confidence, Method: stats.MethodDelta}}
}

func (c frequencies) standardised(classes []class) (float64, stats.Interval) {
	parts := make([]stats.Part, len(classes))
	for i, k := range classes {
		parts[i] = samplePart(stats.DescribeFrequencies(k.numbers(), c.weights(k.rows)), k.share)
	}
	s := stats.Standardise(parts, confidence)
	return s.Estimate, s.Interval
}

// precise takes a weight for the precision of the row's value.
type precise struct{ frequencies }

func (precise) people(g group) int { return len(g.values) }
func (precise) note() string {
	return "weights are precisions: in proportion to one over the variance"
}

func (p precise) moments(g group) (mean, se, sd line) {
	e := stats.PrecisionMean(g.values, p.weights(g.rows))
	mean = line{stats.Result{Estimate: e.Value, Method: "weighted mean"}, e.Interval(confidence)}
	se = line{Result: stats.Result{Estimate: e.SE, Method: "weighted least squares on a constant"}}
	sd = line{Result: stats.Result{Estimate: e.SD, Method: "of a value of the mean weight, n-1"}}
	return mean, se, sd
}

func (p precise) geometric(g group) line {
	logs, ok := stats.Logarithms(g.values, nil)
	if !ok {
		return noGeometricMean(len(g.values))
	}
	e := stats.PrecisionMean(logs, p.weights(g.rows))
	i := e.Interval(confidence)
	i.Low, i.High, i.Method = math.Exp(i.Low), math.Exp(i.High), stats.MethodLogT
	return line{stats.Result{Estimate: math.Exp(e.Value), Method: "weighted geometric mean"}, i}
}

// noPrecisionInterval says why a statistic has none.
const noPrecisionInterval = "no interval: precisions tell nothing about the spread of people"

func (p precise) quantile(g group, q float64, t stats.QuantileType, _ float64) line {
	running := p.weights(g.rows)
	for i := 1; i < len(running); i++ {
		running[i] += running[i-1]
	}
	return line{Result: stats.Result{Estimate: stats.WeightedQuantile(g.values, running, q, t), Method: "weighted " + t.Name(), Note: noPrecisionInterval}}
}

func (p precise) share(g group, hit func(i int) bool) line {
	e := stats.PrecisionMean(indicator(len(g.values), hit), p.weights(g.rows))
	return line{Result: stats.Result{Estimate: e.Value, Method: "weighted share", Note: noPrecisionInterval}}
}

func (p precise) ratio(rows []int32, above, below []float64) line {
	w := p.weights(rows)
	return line{Result: stats.Result{Estimate: stats.PrecisionMean(above, w).Value / stats.PrecisionMean(below, w).Value,
		Method: "ratio of weighted means", Note: noPrecisionInterval}}
}

func (p precise) standardised(classes []class) (float64, stats.Interval) {
	parts := make([]stats.Part, len(classes))
	for i, c := range classes {
		e := stats.PrecisionMean(c.numbers(), p.weights(c.rows))
		parts[i] = stats.Part{Estimate: e.Value, SE: e.SE, Degrees: float64(e.N - 1), Share: c.share}
	}
	s := stats.Standardise(parts, confidence)
	return s.Estimate, s.Interval
}
