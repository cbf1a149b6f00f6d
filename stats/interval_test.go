package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"tonocohort/stats/exact"
)

// Quantiles of Student's t, reckoned with 40 digits (mpmath); that at a million
// degrees of freedom by SciPy 1.10.1.
func TestStudentQuantile(t *testing.T) {
	for _, c := range []struct{ p, degrees, want, digits float64 }{
		{0.975, 1, 12.706204736174704646, 14},
		{0.975, 4, 2.7764451051977943578, 14},
		{0.95, 10, 1.8124611228116764136, 14},
		{0.975, 35, 2.0301079282503431796, 14},
		{0.975, 100, 1.9839715185235522866, 13},
		{0.975, 1000, 1.962339080826408485, 14},
		{0.995, 1000, 2.5807546980659510793, 14},
		{0.95, 10000, 1.6450060180692429644, 14},
		{0.975, 100000, 1.9599877075346096386, 14},
		{0.975, 1e6, 1.9599663568141066, 14},
	} {
		atLeast(t, fmt.Sprintf("t at %g with %g", c.p, c.degrees), c.digits, StudentQuantile(c.p, c.degrees), c.want)
		atLeast(t, fmt.Sprintf("t at %g with %g", 1-c.p, c.degrees), c.digits-2, StudentQuantile(1-c.p, c.degrees), -c.want)
	}
	for _, degrees := range []float64{0, -1, math.NaN()} {
		if got := StudentQuantile(0.975, degrees); !math.IsNaN(got) {
			t.Errorf("t with %g degrees of freedom: %v", degrees, got)
		}
	}
}

// goldenTests is part of what testdata/golden/r05_agreement.R wrote with R 4.2.2.
type goldenTests struct {
	Tests struct {
		Welch struct {
			Stat, DF, P float64
			CI          []float64
			Est         []float64
		} `json:"t_welch"`
		ANOVA struct {
			F, P, Eta2 float64
			DF         []int
		} `json:"anova_oneway"`
		Wilson []float64 `json:"prop_wilson_15_of_43"`
	} `json:"tests"`
}

func goldenGroups(t *testing.T) map[string][]float64 {
	groups := map[string][]float64{}
	for _, row := range readCSV(t, "golden/in/tests.csv") {
		v, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		groups[row[0]] = append(groups[row[0]], v)
	}
	return groups
}

func TestWelchAgainstR(t *testing.T) {
	var g goldenTests
	readJSON(t, "golden/out/r05_agreement.json", &g)
	groups := goldenGroups(t)
	a, b := Describe(groups["a"]), Describe(groups["b"])
	got, want := WelchDifference(a, b, 0.95), g.Tests.Welch
	atLeast(t, "difference", 13, got.Estimate, want.Est[0]-want.Est[1])
	atLeast(t, "t", 13, got.T, want.Stat)
	atLeast(t, "degrees of freedom", 13, got.Degrees, want.DF)
	atLeast(t, "P", 12, got.P, want.P)
	atLeast(t, "low", 13, got.Low, want.CI[0])
	atLeast(t, "high", 13, got.High, want.CI[1])
	if got.Method != MethodWelch || got.Level != 0.95 {
		t.Errorf("method %q, level %g", got.Method, got.Level)
	}
}

func TestANOVAAgainstR(t *testing.T) {
	var g goldenTests
	readJSON(t, "golden/out/r05_agreement.json", &g)
	groups := goldenGroups(t)
	got, want := OneWayANOVA(groups["a"], groups["b"], nil, groups["c"]), g.Tests.ANOVA
	if got.BetweenDegrees != want.DF[0] || got.WithinDegrees != want.DF[1] {
		t.Errorf("degrees of freedom %d and %d", got.BetweenDegrees, got.WithinDegrees)
	}
	atLeast(t, "F", 12, got.F, want.F)
	atLeast(t, "P", 12, got.P, want.P)
	atLeast(t, "eta squared", 12, got.RSquared, want.Eta2)
	if one := OneWayANOVA(groups["a"]); !math.IsNaN(one.F) || !math.IsNaN(one.P) {
		t.Errorf("one group has an F: %+v", one)
	}
}

// 15 of 43 by R 4.2.2; the others are the score method of Newcombe 1998, Stat
// Med 17:857-72, Table I (four decimals, from memory).
func TestWilson(t *testing.T) {
	var g goldenTests
	readJSON(t, "golden/out/r05_agreement.json", &g)
	got := Wilson(15, 43, 0.95)
	atLeast(t, "15 of 43 low", 13, got.Low, g.Tests.Wilson[0])
	atLeast(t, "15 of 43 high", 13, got.High, g.Tests.Wilson[1])
	for _, c := range []struct {
		k, n      int
		low, high float64
	}{{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718}} {
		got := Wilson(c.k, c.n, 0.95)
		if math.Abs(got.Low-c.low) > 5e-5 || math.Abs(got.High-c.high) > 5e-5 {
			t.Errorf("%d of %d: %v to %v, want %v to %v", c.k, c.n, got.Low, got.High, c.low, c.high)
		}
	}
	if got := Wilson(20, 20, 0.95); got.High != 1 || got.Low >= 1 {
		t.Errorf("20 of 20: %+v", got)
	}
	for _, c := range [][2]int{{0, 0}, {-1, 5}, {6, 5}} {
		if got := Wilson(c[0], c[1], 0.95); !math.IsNaN(got.Low) || !math.IsNaN(got.High) {
			t.Errorf("%d of %d: %+v", c[0], c[1], got)
		}
	}
}

// By definition a limit is a proportion whose score statistic is just z
// (Wilson 1927, J Am Stat Assoc 22:209-12).
func TestWilsonIsTheInvertedScoreTest(t *testing.T) {
	z := NormalQuantile(0.975)
	for n := 1; n <= 60; n++ {
		for k := 0; k <= n; k++ {
			w := Wilson(k, n, 0.95)
			for _, limit := range []float64{w.Low, w.High} {
				if limit == 0 || limit == 1 {
					continue
				}
				score := (float64(k)/float64(n) - limit) / math.Sqrt(limit*(1-limit)/float64(n))
				atLeast(t, fmt.Sprintf("score at %d of %d", k, n), 10, math.Abs(score), z)
			}
		}
	}
}

// Chi-square at 0.975 and 0.025 with 9 degrees of freedom is 19.023 and 2.700,
// F at 0.975 with 5 and 9 is 4.484 and with 9 and 5 is 6.681, in every table.
func TestNormalTheoryIntervals(t *testing.T) {
	s := StandardDeviationInterval(Sample{N: 10, SD: 2}, 0.95)
	atLeast(t, "SD low", 4, s.Low, 2*math.Sqrt(9/19.023))
	atLeast(t, "SD high", 4, s.High, 2*math.Sqrt(9/2.700))
	ratio, r := StandardDeviationRatio(Sample{N: 6, SD: 3}, Sample{N: 10, SD: 2}, 0.95)
	atLeast(t, "ratio", 15, ratio, 1.5)
	atLeast(t, "ratio low", 4, r.Low, 1.5/math.Sqrt(4.484))
	atLeast(t, "ratio high", 4, r.High, 1.5*math.Sqrt(6.681))
}

func TestIntervalsWithoutEnoughValues(t *testing.T) {
	one := Describe([]float64{3})
	none := Describe(nil)
	for name, i := range map[string]Interval{
		"mean of one":  MeanInterval(one, 0.95),
		"mean of none": MeanInterval(none, 0.95),
		"SD of one":    StandardDeviationInterval(one, 0.95),
		"Welch of one": WelchDifference(one, Sample{N: 9, SD: 1}, 0.95).Interval,
	} {
		if !math.IsNaN(i.Low) || !math.IsNaN(i.High) {
			t.Errorf("%s: %+v", name, i)
		}
	}
	if one.Mean != 3 || !math.IsNaN(one.SD) || !math.IsNaN(none.Mean) {
		t.Errorf("one value: %+v, none: %+v", one, none)
	}
	if d := WeightedDifference(nil, nil, 0.95); !math.IsNaN(d.Estimate) || !math.IsNaN(d.Low) {
		t.Errorf("no strata: %+v", d)
	}
}

// Two strata with the same difference, weighed equally, have the standard error
// of one over √2; a single stratum is itself.
func TestWeightedDifference(t *testing.T) {
	d := WelchDifference(Sample{N: 30, Mean: 41, SD: 7}, Sample{N: 50, Mean: 39, SD: 8}, 0.95)
	alone := WeightedDifference([]Difference{d}, []float64{17}, 0.95)
	atLeast(t, "alone", 12, alone.Low, d.Low)
	both := WeightedDifference([]Difference{d, d}, []float64{3, 3}, 0.95)
	atLeast(t, "estimate", 12, both.Estimate, 2)
	atLeast(t, "standard error", 12, both.StandardError, d.StandardError/math.Sqrt2)
	atLeast(t, "degrees of freedom", 12, both.Degrees, 2*d.Degrees)
}

// The delta method against its usual form with variances and covariance, and
// its coverage on a made-up population with a known ratio.
func TestRatioOfMeans(t *testing.T) {
	random := rand.New(rand.NewPCG(20, 26))
	const replicates, n = 2000, 60
	covered := 0
	for range replicates {
		x, y := make([]float64, n), make([]float64, n)
		var pairs exact.Pairs
		for i := range x {
			x[i] = 40 + 8*random.NormFloat64()
			y[i] = 1.3*x[i] + 6*random.NormFloat64()
			pairs.Add(y[i], x[i])
		}
		ratio, i := RatioOfMeans(&pairs, 0.95)
		if i.Low <= 1.3 && 1.3 <= i.High {
			covered++
		}
		sx, sy := Describe(x), Describe(y)
		var products float64
		for k := range x {
			products += (x[k] - sx.Mean) * (y[k] - sy.Mean)
		}
		variance := (sy.SD*sy.SD + ratio*ratio*sx.SD*sx.SD - 2*ratio*products/(n-1)) / n / (sx.Mean * sx.Mean)
		atLeast(t, "half width", 9, (i.High-i.Low)/2, StudentQuantile(0.975, n-1)*math.Sqrt(variance))
		atLeast(t, "ratio", 13, ratio, sy.Mean/sx.Mean)
	}
	if share := float64(covered) / replicates; share < 0.94 || share > 0.965 {
		t.Errorf("coverage %.3f", share)
	}
}

func TestGeometricMean(t *testing.T) {
	atLeast(t, "geometric mean", 14, GeometricMean([]float64{1, 10, 100}), 10)
	for _, x := range [][]float64{nil, {1, 0}, {-1, 4}, {math.NaN()}} {
		if got := GeometricMean(x); !math.IsNaN(got) {
			t.Errorf("%v: %v", x, got)
		}
	}
}

func sample(n int) []float64 {
	random := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, n)
	for i := range x {
		x[i] = 40 + 10*random.NormFloat64()
	}
	return x
}

func BenchmarkDescribe(b *testing.B) {
	x := sample(100_000)
	b.SetBytes(int64(8 * len(x)))
	for b.Loop() {
		Describe(x)
	}
}

func BenchmarkPercentilesWithIntervals(b *testing.B) {
	x := sample(100_000)
	slices.Sort(x)
	for b.Loop() {
		for _, p := range []float64{0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95} {
			Quantile(x, p, DefaultQuantileType)
			QuantileInterval(x, p, 0.95)
		}
	}
}

// Weights that count people may stand for more of them than the distribution function
// is exact for (to some hundredths of the width here): the search still ends, and near
// the ranks of the normal distribution.
func TestRanksOfManyPeople(t *testing.T) {
	const n = 90_000_000_000_000
	low, high, _ := OrderStatisticRanks(n, 0.5, 0.95)
	half := 1.959963984540054 * math.Sqrt(n) / 2
	if math.Abs(float64(n)/2-half-float64(low)) > half/8 || math.Abs(float64(n)/2+half-float64(high)) > half/8 {
		t.Errorf("ranks %d and %d of %d, normal %.0f and %.0f", low, high, int(n), n/2-half, n/2+half)
	}
}
