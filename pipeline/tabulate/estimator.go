package tabulate

import (
	"fmt"
	"math"

	"tonocohort/stats"
)

// line is a statistic with its interval, on its way into a table.
type line struct {
	stats.Result
	interval stats.Interval
}

// estimator computes the statistics of a group in the way that its rows ask
// for: each a person, persons in several rows, or rows that stand for more or
// fewer people. One serves one goroutine.
type estimator interface {
	wantsRows() bool
	people(g group) int // what n counts
	size(g group) []line
	moments(g group) (mean, se, sd line)
	geometric(g group) line
	quantile(g group, p float64, t stats.QuantileType, level float64) line
	share(g group, hit func(i int) bool) line        // of rows with a value
	ratio(rows []int32, above, below []float64) line // of two means
	note() string                                    // for every statistic but counts
	standardised(classes []class) (float64, stats.Interval)
}

// independent takes every row for a person of its own.
type independent struct {
	ranks map[rankKey][2]int
	logs  []float64
}

type rankKey struct {
	n        int
	p, level float64
}

func (*independent) wantsRows() bool    { return false }
func (*independent) people(g group) int { return len(g.values) }
func (*independent) size(group) []line  { return nil }
func (*independent) note() string       { return "" }

func (*independent) moments(g group) (mean, se, sd line) {
	s := stats.Describe(g.values)
	mean = line{stats.Result{Estimate: s.Mean, Method: "mean"}, stats.MeanInterval(s, confidence)}
	se = line{Result: stats.Result{Estimate: s.StandardError(), Method: "sd/√n"}}
	sd = line{stats.Result{Estimate: s.SD, Method: "n-1"}, stats.StandardDeviationInterval(s, confidence)}
	return mean, se, sd
}

func (e *independent) geometric(g group) line {
	var ok bool
	if e.logs, ok = stats.Logarithms(g.values, e.logs); !ok {
		return noGeometricMean(g)
	}
	mean, interval := stats.GeometricMeanInterval(e.logs, confidence)
	return line{stats.Result{Estimate: mean, Method: "geometric mean"}, interval}
}

func noGeometricMean(g group) line {
	l := line{Result: stats.Result{Estimate: math.NaN(), Method: "geometric mean"}}
	if len(g.values) > 0 {
		l.Note = "values at or below zero have no geometric mean"
	}
	return l
}

func (e *independent) quantile(g group, p float64, t stats.QuantileType, level float64) line {
	key := rankKey{len(g.values), p, level}
	ranks, known := e.ranks[key]
	if !known {
		ranks[0], ranks[1], _ = stats.OrderStatisticRanks(key.n, p, level)
		e.ranks[key] = ranks
	}
	l := line{stats.Result{Estimate: stats.Quantile(g.values, p, t), Method: t.Name()}, stats.RankInterval(g.values, ranks[0], ranks[1], level)}
	l.Note = noRankInterval(key.n, l.interval)
	return l
}

func noRankInterval(n int, i stats.Interval) string {
	if n > 0 && math.IsNaN(i.Low) {
		return fmt.Sprintf("no interval: %d values are too few for this percentile", n)
	}
	return ""
}

func (*independent) share(g group, hit func(i int) bool) line {
	return sharedBy(countHits(g, hit), len(g.values))
}

// sharedBy is the share of n persons that hits of them are.
func sharedBy(hits, n int) line {
	return line{stats.Result{Estimate: float64(hits) / float64(n), Method: "share"}, stats.Wilson(hits, n, confidence)}
}

func countHits(g group, hit func(i int) bool) int {
	hits := 0
	for i := range g.values {
		if hit(i) {
			hits++
		}
	}
	return hits
}

func (*independent) ratio(_ []int32, above, below []float64) line {
	ratio, interval := stats.RatioOfMeans(above, below, confidence)
	return line{stats.Result{Estimate: ratio, Method: "ratio of means"}, interval}
}

// class is what one class of a standard population has of a variable: values, or
// those who are hit where hit is given.
type class struct {
	group
	hit   func(i int) bool
	share float64 // of the standard population; all sum to 1
}

func (c class) numbers() []float64 {
	if c.hit == nil {
		return c.values
	}
	return indicator(len(c.values), c.hit)
}

func (*independent) standardised(classes []class) (float64, stats.Interval) {
	parts := make([]stats.Part, len(classes))
	for i, c := range classes {
		parts[i] = samplePart(stats.Describe(c.numbers()), c.share)
	}
	s := stats.Standardise(parts, confidence)
	return s.Estimate, s.Interval
}

func samplePart(s stats.Sample, share float64) stats.Part {
	return stats.Part{Estimate: s.Mean, SE: s.StandardError(), Degrees: float64(s.N - 1), Share: share}
}

// indicator is 1 where hit is true.
func indicator(n int, hit func(i int) bool) []float64 {
	out := make([]float64, n)
	for i := range out {
		if hit(i) {
			out[i] = 1
		}
	}
	return out
}
