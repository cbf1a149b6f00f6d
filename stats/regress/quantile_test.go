package regress

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// goldenQuantileDesign is cpp on age, sex, height, heart rate, mean pressure.
func goldenQuantileDesign(c table) *Design {
	d := NewDesign(true)
	for _, name := range []string{"age", "sex", "height", "hr", "map"} {
		d.Add(name, c.numbers(name))
	}
	return d
}

func mustQuantile(t testing.TB, d *Design, y, weights []float64, tau float64) *QuantileFit {
	t.Helper()
	f, err := Quantile(d, y, weights, tau)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Exact vertices, R 4.2.2 with quantreg 5.94; a linear program by HiGHS
// (scipy 1.10.1) gives the same.
func TestQuantileRegressionAgainstR(t *testing.T) {
	g := readGolden(t, "r03_quantreg")
	second := readGolden(t, "p03_stats").at("quantreg_lp_highs")
	cohort := readTable(t, "golden/in/cohort.csv")
	y := cohort.numbers("cpp")
	names := []string{"0.05", "0.1", "0.25", "0.5", "0.75", "0.9", "0.95"}
	for i, name := range names {
		want := g.at("br", i)
		f := mustQuantile(t, goldenQuantileDesign(cohort), y, nil, want.at("tau").number())
		same(t, name+" coefficients", f.Coefficients, want.at("coef").numbers(), goldenTolerance, 0)
		near(t, name+" objective", f.Objective, want.at("objective").number(), goldenTolerance)
		same(t, name+" linear program", f.Coefficients, second.at(name, "coef").numbers(), goldenTolerance, 1e-10)
		exact := 0
		for _, r := range f.Residuals {
			if math.Abs(r) < 1e-12 {
				exact++
			}
		}
		if !f.Unique || exact != int(want.at("n_zero_resid").number()) || len(f.Basis) != exact {
			t.Errorf("%s: unique %v, %d rows fitted exactly", name, f.Unique, exact)
		}
	}
	weighted := mustQuantile(t, goldenQuantileDesign(cohort), y, cohort.numbers("wt"), 0.5)
	same(t, "weighted", weighted.Coefficients, g.at("weighted_tau50", "coef").numbers(), goldenTolerance, 0)
	near(t, "weighted objective", weighted.Objective, g.at("weighted_tau50", "objective").number(), goldenTolerance)

	s, err := NewNaturalSpline(cohort.numbers("age"), 4)
	if err != nil {
		t.Fatal(err)
	}
	d := NewDesign(true)
	d.AddSpline("age", cohort.numbers("age"), s)
	d.Add("sex", cohort.numbers("sex"))
	spline := mustQuantile(t, d, y, nil, 0.5)
	same(t, "spline", spline.Coefficients, g.at("spline_tau50", "coef").numbers(), goldenTolerance, 0)
	near(t, "spline objective", spline.Objective, g.at("spline_tau50", "objective").number(), goldenTolerance)
}

// The median of four numbers and of groups of even size: any value between the
// middle ones is as good.
func TestQuantileNotUnique(t *testing.T) {
	f := mustQuantile(t, NewDesign(true), []float64{1, 2, 3, 4}, nil, 0.5)
	if f.Unique || f.Objective != 2 || f.Coefficients[0] != 2 && f.Coefficients[0] != 3 {
		t.Errorf("median of 1 2 3 4: %+v", f)
	}
	g := readGolden(t, "r03_quantreg").at("nonunique", "by_group_even_n")
	data := readTable(t, "golden/in/tests.csv")
	d := Columns(true, []string{"b", "c"}, [][]float64{data.indicator("g", "b"), data.indicator("g", "c")})
	f = mustQuantile(t, d, data.numbers("x"), nil, 0.5)
	near(t, "objective", f.Objective, g.at("objective").number(), 1e-14)
	if f.Unique {
		t.Error("groups of even size: said to be unique")
	}
	if f := mustQuantile(t, NewDesign(true), []float64{5, 1, 3}, nil, 0.5); !f.Unique || f.Coefficients[0] != 3 {
		t.Errorf("median of 1 3 5: %+v", f)
	}
}

// certify fails unless the fit meets the conditions of a minimum, recomputed
// from the data alone: some weights a in [τ − 1, τ], equal to τ above the plane
// and τ − 1 below it, are orthogonal to every column. With the rows outside the
// basis so fixed, those of the basis follow.
func certify(t *testing.T, what string, f *QuantileFit, y []float64) {
	t.Helper()
	inBasis := map[int]bool{}
	for _, i := range f.Basis {
		inBasis[i] = true
		if math.Abs(f.Residuals[i]) > 1e-9 {
			t.Errorf("%s: basis row %d has residual %g", what, i, f.Residuals[i])
		}
	}
	given := make([][]float64, len(f.Names))
	for j := range given {
		given[j] = f.design.whole(j, f.N)
	}
	at := func(i int, j int) float64 {
		if given[j] == nil {
			return 1
		}
		return given[j][i]
	}
	target := make([]float64, f.Rank)
	for i, r := range f.Residuals {
		if inBasis[i] || math.Abs(r) < 1e-9 {
			continue
		}
		psi := f.Tau
		if r < 0 {
			psi--
		}
		for k, j := range f.active {
			target[k] -= psi * at(i, j)
		}
	}
	ties := 0
	for i, r := range f.Residuals {
		if !inBasis[i] && math.Abs(r) < 1e-9 {
			ties++
		}
	}
	if ties > 0 {
		return // the multipliers of tied rows are not determined
	}
	columns := make([][]float64, len(f.Basis))
	for k, i := range f.Basis {
		for _, j := range f.active {
			columns[k] = append(columns[k], at(i, j))
		}
	}
	a := mustOLS(t, Columns(false, nil, columns), target, nil).Coefficients
	for k := range a {
		if a[k] < f.Tau-1-1e-7 || a[k] > f.Tau+1e-7 {
			t.Errorf("%s: multiplier %g outside [τ−1, τ]", what, a[k])
		}
	}
}

// objective is Σ r (τ − [r < 0]) of a plane.
func objective(f *QuantileFit, y, b []float64) float64 {
	var s float64
	columns := make([][]float64, len(f.Names))
	for j := range columns {
		columns[j] = f.design.whole(j, f.N)
	}
	for i := range y {
		r := y[i]
		for j, c := range columns {
			if c == nil {
				r -= b[j]
			} else {
				r -= b[j] * c[i]
			}
		}
		if r < 0 {
			s += r * (f.Tau - 1)
		} else {
			s += r * f.Tau
		}
	}
	return s
}

// Continuous and coarse data, few and many rows, sorted or not: the conditions of
// a minimum hold, or no small move improves the objective.
func TestQuantileIsAMinimum(t *testing.T) {
	for seed := range uint64(24) {
		random := rand.New(rand.NewPCG(seed, 7))
		n := []int{7, 40, 300, 5000}[seed%4]
		coarse := seed/4%2 == 1
		x, z, rare, y := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range n {
			x[i], z[i] = 50+15*random.NormFloat64(), float64(random.IntN(2))
			y[i] = 20 + 0.4*x[i] + (2+0.1*x[i])*random.NormFloat64()
			if coarse {
				x[i], y[i] = math.Round(x[i]/10)*10, math.Round(y[i]/5)*5
			}
			if seed%3 == 0 {
				x[i] = float64(i / 10)
			}
		}
		rare[n/2], rare[n-1] = 1, 1
		for _, tau := range []float64{0.02, 0.3, 0.5, 0.95} {
			what := fmt.Sprintf("seed %d n %d tau %g", seed, n, tau)
			f := mustQuantile(t, Columns(true, []string{"x", "z", "rare"}, [][]float64{x, z, rare}), y, nil, tau)
			certify(t, what, f, y)
			for range 40 {
				moved := append([]float64(nil), f.Coefficients...)
				size := math.Pow(10, -4*random.Float64())
				for j := range moved {
					moved[j] += size * random.NormFloat64() / []float64{1, 50, 1, 1}[j]
				}
				if o := objective(f, y, moved); o < f.Objective*(1-1e-12) {
					t.Errorf("%s: objective %g, %g elsewhere", what, f.Objective, o)
				}
			}
		}
	}
}

// R 4.2.2, quantreg 5.94.
func TestQuantileErrorsAgainstR(t *testing.T) {
	g := readGolden(t, "r03_quantreg").at("se")
	cohort := readTable(t, "golden/in/cohort.csv")
	for i := range 3 {
		want := g.at(i)
		f := mustQuantile(t, goldenQuantileDesign(cohort), cohort.numbers("cpp"), nil, want.at("tau").number())
		near(t, "bandwidth", hallSheather(f.Tau, f.N), want.at("bandwidth_hs").number(), goldenTolerance)
		for kind, name := range map[string]string{QuantileIID: "iid", QuantileNID: "nid", QuantileKernel: "ker"} {
			c, err := f.Covariance(kind)
			if err != nil {
				t.Fatal(err)
			}
			same(t, fmt.Sprintf("%s at %g", kind, f.Tau), c.SE(), want.at(name).numbers(), goldenTolerance, 0)
		}
	}
}

// R 4.2.2, quantreg 5.94: summary(se = "rank", iid = TRUE, alpha = 0.1).
func TestRankIntervalsAgainstR(t *testing.T) {
	g := readGolden(t, "r03_quantreg").at("se")
	cohort := readTable(t, "golden/in/cohort.csv")
	for i := range 3 {
		f := mustQuantile(t, goldenQuantileDesign(cohort), cohort.numbers("cpp"), nil, g.at(i, "tau").number())
		intervals, err := f.RankIntervals(0.9)
		if err != nil {
			t.Fatal(err)
		}
		_, want := g.at(i, "rank_ci90_iid").matrix()
		for j, row := range intervals {
			same(t, fmt.Sprintf("%s at %g", row.Name, f.Tau), []float64{row.Low, row.High}, want[2*j:2*j+2], 1e-8, 0)
		}
	}
}
