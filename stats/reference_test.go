package stats

import (
	"fmt"
	"math"
	"strconv"
	"testing"
)

// Ranks as EP28 tabulates them: with 119 to 132 people the 90 % interval of P2.5
// runs from the first to the seventh value, with 200 from 2 to 10, with 400 from
// 5 to 16, with 1000 from 17 to 34 (by the binomial distribution).
func TestReferenceLimit(t *testing.T) {
	for _, c := range []struct{ n, low, high int }{{119, 1, 7}, {132, 1, 7}, {200, 2, 10}, {400, 5, 16}, {1000, 17, 34}} {
		x := make([]float64, c.n)
		for i := range x {
			x[i] = float64(i + 1)
		}
		limit, i := ReferenceLimit(x, 0.025)
		if i.Low != float64(c.low) || i.High != float64(c.high) || i.Level != 0.90 {
			t.Errorf("n %d: %+v", c.n, i)
		}
		atLeast(t, fmt.Sprint("limit of ", c.n), 13, limit, 0.025*float64(c.n+1))
		_, upper := ReferenceLimit(x, 0.975)
		if upper.Low != float64(c.n+1-c.high) || upper.High != float64(c.n+1-c.low) {
			t.Errorf("n %d: %+v", c.n, upper)
		}
	}
}

// Below 119 the lowest of the values does not bound P2.5 with a 5 % tail:
// 0.975^118 = 0.0504, 0.975^119 = 0.0492.
func TestLeastSize(t *testing.T) {
	for _, c := range []struct {
		p, level float64
		want     int
	}{{0.5, 0.95, 6}, {0.1, 0.95, 36}, {0.9, 0.95, 36}, {0.05, 0.95, 72}, {0.95, 0.95, 72}, {0.025, 0.95, 146}, {0.01, 0.95, 368}, {0.025, 0.90, 119}, {1, 0.95, 0}} {
		if got := LeastSize(c.p, c.level); got != c.want {
			t.Errorf("P%g at %g: %d, want %d", 100*c.p, c.level, got, c.want)
		}
	}
}

// Altman 1991, Practical Statistics for Medical Research, 14.4 has the standard
// error of a normal centile (the book from memory): factors 1.35, 1.53 and 1.71
// at P10, P5 and P2.5; those of the sample quantile are 1.25 at the median, then
// 1.71, 2.11 and 2.67. An error of a tenth of an SD takes 182.1, 235.3 and 292.1 people.
func TestCentilePrecision(t *testing.T) {
	for _, c := range []struct {
		p, normal, order float64
		size             int
	}{{0.5, 1, 1.25, 100}, {0.1, 1.35, 1.71, 183}, {0.95, 1.53, 2.11, 236}, {0.975, 1.71, 2.67, 293}} {
		if math.Abs(NormalCentileFactor(c.p)-c.normal) > 0.005 || math.Abs(OrderCentileFactor(c.p)-c.order) > 0.005 {
			t.Errorf("P%g: factors %g and %g", 100*c.p, NormalCentileFactor(c.p), OrderCentileFactor(c.p))
		}
		if got := SizeForPrecision(NormalCentileFactor(c.p), 0.1); got != c.size {
			t.Errorf("P%g: %d people, want %d", 100*c.p, got, c.size)
		}
	}
	if SizeForPrecision(1, 0) != 0 {
		t.Error("an error of zero can be had")
	}
}

// Welch's test at a margin of 8 and the paired ones of R 4.2.2.
func TestEquivalenceAgainstR(t *testing.T) {
	var g struct {
		Paired []struct {
			Delta float64
			PLow  float64   `json:"p_low"`
			PHigh float64   `json:"p_high"`
			P     float64   `json:"p_tost"`
			CI    []float64 `json:"ci90"`
		} `json:"tost_paired"`
		Tests struct {
			Welch struct {
				PLow  float64 `json:"p_low"`
				PHigh float64 `json:"p_high"`
			} `json:"tost_welch_pm8"`
		}
	}
	readJSON(t, "golden/out/r05_agreement.json", &g)
	groups := goldenGroups(t)
	e := WelchDifference(Describe(groups["a"]), Describe(groups["b"]), 0.95).Equivalent(8, 0.05)
	atLeast(t, "P low", 11, e.PLow, g.Tests.Welch.PLow)
	atLeast(t, "P high", 11, e.PHigh, g.Tests.Welch.PHigh)
	var differences []float64
	for _, row := range readCSV(t, "golden/in/pairs.csv") {
		differences = append(differences, parsed(t, row[1])-parsed(t, row[0]))
	}
	s := Describe(differences)
	paired := Difference{Estimate: s.Mean, StandardError: s.StandardError(), Degrees: float64(s.N - 1)}
	for _, want := range g.Paired {
		got := paired.Equivalent(want.Delta, 0.05)
		atLeast(t, fmt.Sprint("P at ", want.Delta), 10, got.P, want.P)
		atLeast(t, "P low", 10, got.PLow, want.PLow)
		atLeast(t, "P high", 10, got.PHigh, want.PHigh)
		atLeast(t, "low", 12, got.Low, want.CI[0])
		atLeast(t, "high", 12, got.High, want.CI[1])
	}
	if e.P != math.Max(e.PLow, e.PHigh) || (e.P <= 0.05) != (-8 <= e.Low && e.High <= 8) {
		t.Errorf("%+v", e)
	}
}

// Two classes of one size with a known answer: shares 0.25 and 0.75 on 10 ± 1
// and 20 ± 2 give 17.5 ± √(0.0625 + 2.25). Shares need not sum to one.
func TestStandardise(t *testing.T) {
	for _, scale := range []float64{1, 4000} {
		s := Standardise([]Part{{10, 1, 30, 0.25 * scale}, {20, 2, 40, 0.75 * scale}, {math.NaN(), math.NaN(), math.NaN(), 0}}, 0.95)
		atLeast(t, "estimate", 14, s.Estimate, 17.5)
		atLeast(t, "standard error", 14, s.SE, math.Sqrt(0.0625+2.25))
	}
	if s := Standardise([]Part{{10, 1, 30, 1}, {math.NaN(), math.NaN(), 0, 1}}, 0.95); !math.IsNaN(s.Estimate) || !math.IsNaN(s.Low) {
		t.Errorf("a class is missing: %+v", s)
	}
}

func TestGeometricMeanInterval(t *testing.T) {
	x := []float64{2, 3, 5, 9, 14}
	logs, ok := Logarithms(x, nil)
	if !ok {
		t.Fatal("no logarithms")
	}
	mean, i := GeometricMeanInterval(Describe(logs), 0.95)
	want := MeanInterval(Describe(logs), 0.95)
	atLeast(t, "mean", 13, mean, math.Pow(2*3*5*9*14, 0.2))
	atLeast(t, "mean", 13, mean, GeometricMean(x))
	atLeast(t, "low", 13, math.Log(i.Low), want.Low)
	atLeast(t, "high", 13, math.Log(i.High), want.High)
	for _, x := range [][]float64{{1, 0}, {-1}, {math.NaN()}, nil} {
		if _, ok := Logarithms(x, nil); ok {
			t.Errorf("%v has logarithms", x)
		}
	}
}

func parsed(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
