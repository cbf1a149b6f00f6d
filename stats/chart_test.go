package stats

import (
	"math"
	"testing"
)

// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4, single values with
// target 50 and SD 2.0539, weight 0.3, limits of three sigma as they become after
// long (numbers from memory; the handbook rounds to two decimals).
func TestEWMAHandbook(t *testing.T) {
	values := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	want := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	sizes := make([]int, len(values))
	for i := range sizes {
		sizes[i] = 1
	}
	c := EWMA(values, sizes, 50, 2.0539, 0.3, 3)
	for i := range want {
		if math.Abs(c.Value[i]-want[i]) > 0.00501 {
			t.Errorf("point %d: %.4f, the handbook has %.2f", i+1, c.Value[i], want[i])
		}
	}
	last := len(values) - 1
	if math.Abs(c.Upper[last]-52.5884) > 2e-3 || math.Abs(c.Lower[last]-47.4115) > 2e-3 {
		t.Errorf("limits %.4f to %.4f, the handbook has 47.4115 to 52.5884", c.Lower[last], c.Upper[last])
	}
	// The first point is weight · value: its standard error is weight · SD.
	if got := c.Upper[0] - 50; math.Abs(got-3*0.3*2.0539) > 1e-12 {
		t.Errorf("first half-width %v", got)
	}
	if c.Outside(last) {
		t.Error("the handbook's chart stays within its limits")
	}
}

// A group of n has the limits of a single value divided by √n, and an EWMA of
// weight 1 is the x-bar chart.
func TestXBar(t *testing.T) {
	means, sizes := []float64{10, 12, 9, 13.1}, []int{4, 9, 1, 16}
	x, e := XBar(means, sizes, 10, 4, 3), EWMA(means, sizes, 10, 4, 1, 3)
	for i := range means {
		half := 3 * 4 / math.Sqrt(float64(sizes[i]))
		for _, c := range []Chart{x, e} {
			if c.Value[i] != means[i] || math.Abs(c.Upper[i]-10-half) > 1e-12 || math.Abs(10-c.Lower[i]-half) > 1e-12 {
				t.Errorf("group %d: %v in %v to %v, half-width %v", i, c.Value[i], c.Lower[i], c.Upper[i], half)
			}
		}
	}
	if x.Outside(1) || !x.Outside(3) {
		t.Error("12 lies within 10 ± 4, 13.1 not within 10 ± 3")
	}
}

// The limits of shares leave at most the tail outside, and one step closer
// would leave more.
func TestShares(t *testing.T) {
	const target, tail = 0.93, 0.001
	for _, n := range []int{1, 5, 20, 137} {
		c := Shares([]int{0}, []int{n}, target, tail)
		low, high := int(math.Round(c.Lower[0]*float64(n))), int(math.Round(c.Upper[0]*float64(n)))
		if p := binomialCDF(low-1, n, target); p > tail {
			t.Errorf("n %d: below %d lies %g", n, low, p)
		}
		if p := binomialCDF(low, n, target); low < n && p <= tail {
			t.Errorf("n %d: %d could be outside too, %g", n, low, p)
		}
		if p := 1 - binomialCDF(high, n, target); p > tail {
			t.Errorf("n %d: above %d lies %g", n, high, p)
		}
	}
}

// NIST StRD Norris: slope, its standard error (certified).
func TestLineNorris(t *testing.T) {
	y := []float64{0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2}
	x := []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5}
	l := LeastSquaresLine(x, y)
	if math.Abs(l.Slope-1.00211681802045) > 1e-13 || math.Abs(l.SE-0.429796848199937e-03) > 1e-14 {
		t.Errorf("slope %.15g ± %.15g", l.Slope, l.SE)
	}
}

// A die thrown 60 times, a common textbook example (from memory): chi-square 13.4
// on 5 degrees of freedom, P 0.0199.
func TestEqualCounts(t *testing.T) {
	chi, degrees, p := EqualCounts([]int{5, 8, 9, 8, 10, 20})
	if math.Abs(chi-13.4) > 1e-12 || degrees != 5 || math.Abs(p-0.0199) > 5e-5 {
		t.Errorf("chi-square %v on %v, P %v", chi, degrees, p)
	}
	if _, _, p := EqualCounts([]int{4, 5, 5}); !math.IsNaN(p) {
		t.Error("a P value from 14 observations in three classes")
	}
}
