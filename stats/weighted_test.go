package stats

import (
	"fmt"
	"math"
	"testing"
)

// x = 1 … 5 with 1, 2, 3, 2, 1 persons each: replicated, type 7 gives 1.8, 2, 3,
// 4 and 4.2, mean 3 and variance 1.5 (R 4.2.2).
func TestFrequencyQuantile(t *testing.T) {
	x, cumulated := []float64{1, 2, 3, 4, 5}, []float64{1, 3, 6, 8, 9}
	for k, p := range []float64{0.1, 0.25, 0.5, 0.75, 0.9} {
		atLeast(t, fmt.Sprint("P", 100*p), 14, FrequencyQuantile(x, cumulated, p, ModePositions), []float64{1.8, 2, 3, 4, 4.2}[k])
	}
	replicated := []float64{1, 2, 2, 3, 3, 3, 4, 4, 5}
	for rank, want := range replicated {
		if got := AtRank(x, cumulated, rank+1); got != want {
			t.Errorf("rank %d: %g", rank+1, got)
		}
	}
	s := DescribeFrequencies(x, []float64{1, 2, 3, 2, 1})
	if s.N != 9 || s.Mean != 3 {
		t.Errorf("%+v", s)
	}
	atLeast(t, "variance", 14, s.SD*s.SD, 1.5)
}

// The variance with weights as counts by Hmisc 4.8-0.
func TestFrequencyVarianceAgainstR(t *testing.T) {
	var g goldenSurvey
	readJSON(t, "golden/out/r04_quantiles.json", &g)
	d := goldenWeights(t)
	s := DescribeFrequencies(d.x, d.w)
	atLeast(t, "mean", 13, s.Mean, g.Weighted.Mean)
	atLeast(t, "variance", 12, s.SD*s.SD, g.Weighted.FrequencyVariance)
}

// Precision weights are weighted least squares on a constant: with weights that
// are all the same the mean has Student's interval, and a scale of the weights
// changes nothing.
func TestPrecisionMean(t *testing.T) {
	x := []float64{31, 44, 38, 52, 29, 47}
	want := MeanInterval(Describe(x), 0.95)
	for _, scale := range []float64{1, 7.5} {
		w := make([]float64, len(x))
		for i := range w {
			w[i] = scale
		}
		e := PrecisionMean(x, w)
		i := e.Interval(0.95)
		atLeast(t, "low", 13, i.Low, want.Low)
		atLeast(t, "high", 13, i.High, want.High)
		atLeast(t, "sd", 13, e.SD, StandardDeviation(x))
	}
	// By hand: weights 1 and 3 on 10 and 14: mean 13, s² = 9 + 3 = 12, SE √(12/4).
	e := PrecisionMean([]float64{10, 14}, []float64{1, 3})
	atLeast(t, "mean", 15, e.Value, 13)
	atLeast(t, "standard error", 15, e.SE, math.Sqrt(3))
}
