package disclose_test

import (
	"math"
	"testing"

	"tonocohort/stats"
	"tonocohort/stats/disclose"
)

var rules = disclose.Rules{MinCell: 10, ZeroIsSmall: true, MinDegrees: 10, DominanceN: 2, DominanceK: 0.9, PPercent: 10}

// UK LLC guidebook (2025): counts below 10, zero among them, are not released.
// US CMS policy: 1 to 10 are not shown, zero is.
func TestSmallCounts(t *testing.T) {
	cms := disclose.Rules{MinCell: 11}
	for _, c := range []struct {
		rules disclose.Rules
		n     int
		small bool
	}{{rules, 0, true}, {rules, 1, true}, {rules, 9, true}, {rules, 10, false}, {cms, 0, false}, {cms, 1, true}, {cms, 10, true}, {cms, 11, false}} {
		if got := c.rules.Small(c.n); got != c.small {
			t.Errorf("%d people with %+v: small is %t", c.n, c.rules, got)
		}
	}
	if rules.Few(0) || !rules.Few(9) || rules.Few(10) {
		t.Error("none missing may be said, nine missing may not, ten may")
	}
}

// No P10 or P90 on fewer than 10/0.10 = 100 people: our own rule, and the same
// for other percentiles.
func TestPeopleForPercentiles(t *testing.T) {
	for _, c := range []struct {
		p    float64
		want int
	}{{0.05, 200}, {0.95, 200}, {0.1, 100}, {0.9, 100}, {0.25, 40}, {0.75, 40}, {0.5, 10}, {0.025, 400}, {0, math.MaxInt}, {1, math.MaxInt}} {
		if got := rules.PeopleFor(c.p); got != c.want {
			t.Errorf("percentile %g needs %d people, expected %d", c.p, got, c.want)
		}
	}
}

func TestRanksShown(t *testing.T) {
	for _, c := range []struct {
		low, high, n int
		shown        bool
	}{{11, 30, 40, true}, {10, 30, 40, false}, {11, 31, 40, false}, {0, 0, 40, false}} {
		if got := rules.RanksShown(c.low, c.high, c.n); got != c.shown {
			t.Errorf("ranks %d and %d of %d: shown is %t", c.low, c.high, c.n, got)
		}
	}
}

// Dominance (n, k) and p % by their definitions, with the limits of the ACRO
// output checker: two may hold 90 %, the largest is hidden to within 10 %.
func TestContributions(t *testing.T) {
	for _, c := range []struct {
		name string
		x    []float64
		want string
	}{
		{"alike", []float64{118, 121, 109, 130, 125, 111, 119, 122, 117, 120}, ""},
		{"two hold 91 of 100", []float64{60, 31, 3, 3, 3}, disclose.RuleDominance},
		{"two hold 90 of 100", []float64{60, 30, 5, 5}, ""},
		{"signs do not matter", []float64{60, -31, 3, -3, 3}, disclose.RuleDominance},
		{"nobody", nil, ""},
	} {
		if got := rules.Dominated(c.x); got != c.want {
			t.Errorf("%s: %q, expected %q", c.name, got, c.want)
		}
	}
	alone := rules
	alone.DominanceN = 0
	// The others add 9.9: less than 10 % of 100. With 10 the rule is kept.
	if got := alone.Dominated([]float64{100, 50, 9.9}); got != disclose.RulePPercent {
		t.Errorf("rest below p %%: %q", got)
	}
	if got := alone.Dominated([]float64{100, 50, 10}); got != "" {
		t.Errorf("rest of p %%: %q", got)
	}
}

// An attacker who knows mean and SD to the last digit and the t interval of the
// mean to the step cannot place n in an interval narrower than the minimum cell.
func TestCoarseEndsHideTheirCount(t *testing.T) {
	for _, n := range []int{25, 41, 97, 300, 578, 5000} {
		for _, sd := range []float64{0.15, 12.4, 300} {
			s := stats.Sample{N: n, Mean: 39.53, SD: sd}
			i := stats.MeanInterval(s, 0.95)
			grid := disclose.GridFor(s.Mean, i.Low, i.High, n, 10)
			low, high := grid.Ends(i.Low, i.High)
			fits := 0
			for m := 2; m < 3*n+100; m++ {
				other := s
				other.N = m
				j := stats.MeanInterval(other, 0.95)
				if l, h := grid.Ends(j.Low, j.High); l == low && h == high {
					fits++
				}
			}
			if fits < 9 { // the t quantile itself moves a little with n
				t.Errorf("n %d, SD %g: ends %g and %g (%+v) fit %d sizes only", n, sd, low, high, grid, fits)
			}
		}
	}
}

// An end close to a multiple of every step does not make the interval several times
// as wide: this one is of a released centile, whose ends were 25 and 35.
func TestEndsStayNear(t *testing.T) {
	for _, shift := range []float64{0, 0.001, 0.01, 0.05, 0.1, 0.13} {
		low, high, n := 27.8+shift, 32.0+shift, 169
		grid := disclose.GridFor(29.96, low, high, n, 10)
		a, b := grid.Ends(low, high)
		if a > low || b < high || low-a > 0.5 || b-high > 0.5 {
			t.Errorf("%g to %g became %g to %g (%+v)", low, high, a, b, grid)
		}
	}
}

func TestSteps(t *testing.T) {
	for _, c := range []struct{ u, want float64 }{{0.03, 0.05}, {0.05, 0.05}, {0.051, 0.1}, {1, 1}, {1.1, 2}, {6, 10}, {0.1, 0.1}, {0.001, 0.001}} {
		if got := disclose.NiceStep(c.u); got != c.want {
			t.Errorf("step for %g is %g, expected %g", c.u, got, c.want)
		}
	}
	for _, c := range []struct{ v, step, want float64 }{{118.03, 0.1, 118}, {0.3461, 0.05, 0.35}, {-2.25, 0.5, -2.5}, {117, 5, 115}, {1.234, 0, 1.234}, {4.97, 0.1, 5}} {
		if got := disclose.To(c.v, c.step); got != c.want {
			t.Errorf("%g to %g is %.17g, expected %g", c.v, c.step, got, c.want)
		}
	}
	for _, c := range []struct{ n, base, want int }{{12, 5, 10}, {13, 5, 15}, {12, 0, 12}, {15, 10, 20}, {0, 5, 0}} {
		if got := disclose.Round(c.n, c.base); got != c.want {
			t.Errorf("%d to base %d is %d, expected %d", c.n, c.base, got, c.want)
		}
	}
}
