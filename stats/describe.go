package stats

import (
	"math"

	"tonocohort/stats/exact"
)

// Sample is what two-sample methods need of a sample, computed here or read
// from a published table.
type Sample struct {
	N    int
	Mean float64
	SD   float64 // with n − 1
}

// Describe returns size, mean and standard deviation of x.
func Describe(x []float64) Sample {
	mean := Mean(x)
	return Sample{N: len(x), Mean: mean, SD: math.Sqrt(varianceAbout(x, mean))}
}

// SampleOf returns size, mean and standard deviation of the values whose exact sums are
// given: the same in whatever order and parts they were summed.
func SampleOf(m *exact.Moments) Sample {
	return Sample{N: m.N, Mean: m.Mean(), SD: math.Sqrt(m.Variance())}
}

// Mean returns the arithmetic mean of x, corrected by the mean of what is left
// around the first result; NaN for no values.
func Mean(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	n := float64(len(x))
	first := Sum(x) / n
	var rest sum
	for _, v := range x {
		rest.add(v - first)
	}
	return first + rest.value()/n
}

// Variance returns the variance of x with n − 1, in two passes, corrected for
// the rounding of the mean (Chan, Golub and LeVeque 1983, Am Stat 37:242-7);
// NaN below two values.
func Variance(x []float64) float64 { return varianceAbout(x, Mean(x)) }

// StandardDeviation returns the root of Variance.
func StandardDeviation(x []float64) float64 { return math.Sqrt(Variance(x)) }

// StandardError returns the standard error of the mean of independent values.
func StandardError(x []float64) float64 { return Describe(x).StandardError() }

// StandardError returns SD/√n.
func (s Sample) StandardError() float64 { return s.SD / math.Sqrt(float64(s.N)) }

func varianceAbout(x []float64, mean float64) float64 {
	if len(x) < 2 {
		return math.NaN()
	}
	return squaresAbout(x, mean) / float64(len(x)-1)
}

// squaresAbout returns the sum of squares about the mean of x; mean may be off
// by its rounding.
func squaresAbout(x []float64, mean float64) float64 {
	var squares, rest sum
	for _, v := range x {
		d := v - mean
		squares.add(float64(d * d))
		rest.add(d)
	}
	r := rest.value()
	return squares.value() - float64(r*r)/float64(len(x))
}

// Lag1 returns the autocorrelation at lag 1 of x in its order, with the sum of
// squares about the mean below the line; NaN below two values or where all are
// equal.
func Lag1(x []float64) float64 {
	if len(x) < 2 {
		return math.NaN()
	}
	mean := Mean(x)
	var products sum
	for i := 1; i < len(x); i++ {
		products.add(float64((x[i-1] - mean) * (x[i] - mean)))
	}
	return products.value() / squaresAbout(x, mean)
}

// GeometricMean returns the geometric mean of x; NaN for no values or where one
// is not above zero.
func GeometricMean(x []float64) float64 {
	logs := make([]float64, len(x))
	for i, v := range x {
		if !(v > 0) {
			return math.NaN()
		}
		logs[i] = math.Log(v)
	}
	return math.Exp(Mean(logs))
}
