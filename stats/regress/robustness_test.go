package regress

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Units do not matter: columns and outcome in other units give the same model,
// to the last digits where the factor is a power of two.
func TestUnitsDoNotMatter(t *testing.T) {
	cohort := readTable(t, "golden/in/cohort.csv")
	y := cohort.numbers("cpp")
	names := []string{"age", "height", "map", "hr"}
	build := func(factors []float64) *Fit {
		d := NewDesign(true)
		for k, name := range names {
			x := cohort.numbers(name)
			for i := range x {
				x[i] *= factors[k]
			}
			d.AddPolynomial(name, x, 2)
		}
		return mustOLS(t, d, y, nil)
	}
	plain := build([]float64{1, 1, 1, 1})
	factors := []float64{math.Ldexp(1, 60), math.Ldexp(1, -70), 8, 0.5}
	other := build(factors)
	for k := range names {
		for power := 1; power <= 2; power++ {
			j := 2*k + power
			near(t, plain.Names[j], other.Coefficients[j]*math.Pow(factors[k], float64(power)), plain.Coefficients[j], 1e-15)
			near(t, plain.Names[j], mustCovariance(t, other, HC3).SE()[j]*math.Pow(factors[k], float64(power)), mustCovariance(t, plain, HC3).SE()[j], 1e-15)
		}
	}
	near(t, "R2", other.R2, plain.R2, 1e-15)
	near(t, "condition", other.ConditionNumber, plain.ConditionNumber, 1e-12)
}

// Columns that repeat, vanish or add up: no statistic panics, and those that do
// not rest on the aliased ones are the same as without them.
func TestStatisticsOfAliasedModel(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 9))
	const n = 60
	x, z, g := make([]float64, n), make([]float64, n), make([]int, n)
	y, b := make([]float64, n), make([]float64, n)
	var levels [3][]float64
	for k := range levels {
		levels[k] = make([]float64, n)
	}
	for i := range n {
		x[i], z[i], g[i] = 50+10*random.NormFloat64(), random.NormFloat64(), i%12
		levels[i%3][i] = 1
		y[i] = 0.3*x[i] + random.NormFloat64()
		if y[i] > 15 {
			b[i] = 1
		}
	}
	full := NewDesign(true)
	full.Add("x", x)
	full.AddTerm("level", []string{"a", "b", "c"}, levels[:])
	full.Add("zero", make([]float64, n))
	full.Add("again", x)
	full.Add("z", z)
	reduced := NewDesign(true)
	reduced.Add("x", x)
	reduced.AddTerm("level", []string{"a", "b"}, levels[:2])
	reduced.Add("z", z)
	f, r := mustOLS(t, full, y, nil), mustOLS(t, reduced, y, nil)
	if want := []string{"c", "zero", "again"}; !slices.Equal(f.Warnings[0].Terms, want) {
		t.Errorf("aliased: %v", f.Warnings[0].Terms)
	}
	for kind, pair := range map[string][2]*Covariance{
		Classical: {mustCovariance(t, f, Classical), mustCovariance(t, r, Classical)},
		HC3:       {mustCovariance(t, f, HC3), mustCovariance(t, r, HC3)},
		CR2:       {clusterOf(t, f, g), clusterOf(t, r, g)},
	} {
		same(t, kind, []float64{pair[0].SE()[1], pair[0].SE()[7]}, []float64{pair[1].SE()[1], pair[1].SE()[4]}, 1e-12, 0)
		tests, want := f.TermTests(pair[0]), r.TermTests(pair[1])
		near(t, kind+" test of the factor", tests[1].Statistic, want[1].Statistic, 1e-10)
		if tests[1].DF1 != 2 || !math.IsNaN(tests[2].Statistic) {
			t.Errorf("%s: %+v", kind, tests)
		}
	}
	bp, err := f.BreuschPagan()
	if err != nil {
		t.Fatal(err)
	}
	want, err := r.BreuschPagan()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Breusch-Pagan", bp.P, want.P, 1e-10)
	if reset, err := f.RESET(); err != nil || math.IsNaN(reset.P) {
		t.Errorf("RESET: %+v, %v", reset, err)
	}
	near(t, "inflation", f.VarianceInflation()[4].GVIF, r.VarianceInflation()[2].GVIF, 1e-10)
	f.Influence()
	f.StandardisedCoefficients()

	median, err := Quantile(full, y, nil, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	plain, err := Quantile(reduced, y, nil, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "median regression", median.Objective, plain.Objective, 1e-12)
	logistic, err := Logistic(full, b, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(logistic.Coefficients[4]) || math.IsNaN(logistic.Coefficients[1]) {
		t.Errorf("logistic: %v", logistic.Coefficients)
	}
	mixed, err := RandomIntercept(full, y, g)
	if err != nil {
		t.Fatal(err)
	}
	if c, err := mixed.Covariance(REML); err != nil || math.IsNaN(c.SE()[1]) || !math.IsNaN(c.SE()[5]) {
		t.Errorf("mixed: %+v, %v", c, err)
	}
}

func clusterOf(t *testing.T, f *Fit, g []int) *Covariance {
	t.Helper()
	c, err := f.ClusterCovariance(CR2, g)
	if err != nil {
		t.Fatal(err)
	}
	return c
}
