package tabulate

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/stats"
)

// line is a statistic with its interval, on its way into a table.
type line struct {
	stats.Result
	interval stats.Interval
}

// sampled is one cell of a variable, however its people count.
type sampled interface {
	people() int  // what n counts
	missing() int // rows without a value
	size() []line
	means() (mean, se, sd line)
	geometric() line
	quantile(p float64, t stats.QuantileType, level float64) line
	atLeast(bound float64) line // the share of values that are
}

// estimator computes statistics in the way that rows ask for: each a person, persons in
// several rows, or rows that stand for more or fewer people. One serves one goroutine.
type estimator interface {
	people(g group) int // what n counts
	note() string       // for every statistic but counts
	standardised(classes []class) (float64, stats.Interval)
}

// rowEstimator must know which rows a group is of.
type rowEstimator interface {
	estimator
	size(g group) []line
	moments(g group) (mean, se, sd line)
	geometric(g group) line
	quantile(g group, p float64, t stats.QuantileType, level float64) line
	share(g group, hit func(i int) bool) line        // of rows with a value
	ratio(rows []int32, above, below []float64) line // of two means
}

// weighed is a cell of which a rowEstimator tells.
type weighed struct {
	est rowEstimator
	group
}

func (w weighed) people() int                { return w.est.people(w.group) }
func (w weighed) missing() int               { return w.group.missing }
func (w weighed) size() []line               { return w.est.size(w.group) }
func (w weighed) means() (mean, se, sd line) { return w.est.moments(w.group) }
func (w weighed) geometric() line            { return w.est.geometric(w.group) }

func (w weighed) quantile(p float64, t stats.QuantileType, level float64) line {
	return w.est.quantile(w.group, p, t, level)
}

func (w weighed) atLeast(bound float64) line {
	first, _ := slices.BinarySearch(w.values, bound)
	return w.est.share(w.group, func(i int) bool { return i >= first })
}

// independent takes every row for a person of its own: its cells are unions of portions.
type independent struct{}

func (independent) people(g group) int { return len(g.values) }
func (independent) note() string       { return "" }

func noGeometricMean(n int) line {
	l := line{Result: stats.Result{Estimate: math.NaN(), Method: "geometric mean"}}
	if n > 0 {
		l.Note = "values at or below zero have no geometric mean"
	}
	return l
}

func noRankInterval(n int, i stats.Interval) string {
	if n > 0 && math.IsNaN(i.Low) {
		return fmt.Sprintf("no interval: %d values are too few for this percentile", n)
	}
	return ""
}

// sharedBy is the share of n persons that hits of them are.
func sharedBy(hits, n int) line {
	return line{stats.Result{Estimate: float64(hits) / float64(n), Method: "share"}, stats.Wilson(hits, n, confidence)}
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

func (independent) standardised(classes []class) (float64, stats.Interval) {
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
