package stats

import (
	"math"

	"tonocohort/stats/exact"
)

// Difference is a difference of two means with its test and interval.
type Difference struct {
	Estimate      float64 // first minus second
	StandardError float64
	Degrees       float64 // degrees of freedom
	T             float64
	P             float64 // two-sided
	Interval
}

// WelchDifference compares the means of two independent samples of unequal
// variance (Welch 1947, Biometrika 34:28-35), each given by size, mean and
// standard deviation, so that one of them may come from a published table. All
// is NaN but the estimate where a sample has fewer than two values.
func WelchDifference(a, b Sample, level float64) Difference {
	va, vb := varianceOfMean(a), varianceOfMean(b)
	v := va + vb
	d := Difference{Estimate: a.Mean - b.Mean, StandardError: math.Sqrt(v)}
	d.Degrees = float64(v*v) / (float64(va*va)/float64(a.N-1) + float64(vb*vb)/float64(b.N-1))
	d.T = d.Estimate / d.StandardError
	d.P = StudentTail(d.T, d.Degrees)
	d.Interval = around(d.Estimate, StudentQuantile((1+level)/2, d.Degrees)*d.StandardError, level, MethodWelch)
	return d
}

func varianceOfMean(s Sample) float64 {
	if s.N < 2 {
		return math.NaN()
	}
	return float64(s.SD*s.SD) / float64(s.N)
}

// WeightedDifference joins differences of several strata: the mean of the
// estimates with the given weights, which need not sum to 1, and an interval by
// t with Satterthwaite's degrees of freedom. The strata are independent; a
// difference without a standard error makes the result NaN.
func WeightedDifference(parts []Difference, weights []float64, level float64) Difference {
	total := Sum(weights)
	var estimate, variance, below sum
	for i, part := range parts {
		w := weights[i] / total
		estimate.add(float64(w * part.Estimate))
		term := float64(w*w) * float64(part.StandardError*part.StandardError)
		variance.add(term)
		below.add(float64(term*term) / part.Degrees)
	}
	v := variance.value()
	d := Difference{Estimate: estimate.value(), StandardError: math.Sqrt(v), Degrees: float64(v*v) / below.value()}
	if len(parts) == 0 {
		d.Estimate = math.NaN()
	}
	d.T = d.Estimate / d.StandardError
	d.P = StudentTail(d.T, d.Degrees)
	d.Interval = around(d.Estimate, StudentQuantile((1+level)/2, d.Degrees)*d.StandardError, level, MethodWelch)
	return d
}

// StandardDeviationRatio returns the ratio of the standard deviations of two
// independent samples, first over second, with its normal-theory interval.
func StandardDeviationRatio(a, b Sample, level float64) (ratio float64, interval Interval) {
	da, db := float64(a.N-1), float64(b.N-1)
	tail := (1 - level) / 2
	ratio = a.SD / b.SD
	return ratio, Interval{
		Low:    ratio / math.Sqrt(FQuantile(1-tail, da, db)),
		High:   ratio / math.Sqrt(FQuantile(tail, da, db)),
		Level:  level,
		Method: MethodF,
	}
}

// RatioOfMeans returns the mean above over the mean below, two values of each person,
// with the interval by the delta method; see exact.Pairs. It differs from the mean of
// the persons' own ratios.
func RatioOfMeans(p *exact.Pairs, level float64) (ratio float64, interval Interval) {
	ratio, standardError := p.Ratio()
	return ratio, around(ratio, StudentQuantile((1+level)/2, float64(p.N-1))*standardError, level, MethodDelta)
}
