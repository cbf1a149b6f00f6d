package regress

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

const goldenTolerance = 1e-9

// R 4.2.2 with sandwich 3.0-2 (testdata/golden/r01_linear.R).
func TestLeastSquaresAgainstR(t *testing.T) {
	g := readGolden(t, "r01_linear")
	cohort := readTable(t, "golden/in/cohort.csv")
	for name, d := range map[string]*Design{"plain": goldenDesign(cohort, false), "polynomial": goldenDesign(cohort, true)} {
		f := mustOLS(t, d, cohort.numbers("cpp"), nil)
		o := g.at("ols")
		same(t, name+" coefficients", f.Coefficients, o.at("coef").numbers(), goldenTolerance, 0)
		near(t, name+" residual SD", f.ResidualSD, o.at("sigma").number(), goldenTolerance)
		near(t, name+" R2", f.R2, o.at("r2").number(), goldenTolerance)
		near(t, name+" adjusted R2", f.R2Adjusted, o.at("adj_r2").number(), goldenTolerance)
		same(t, name+" F", []float64{f.F, f.FDF1, f.FDF2}, o.at("f").numbers(), goldenTolerance, 0)
		near(t, name+" P of F", f.P, o.at("f_p").number(), goldenTolerance)
		near(t, name+" RSS", f.RSS, o.at("rss").number(), goldenTolerance)
		near(t, name+" TSS", f.TSS, o.at("tss").number(), goldenTolerance)
		c := mustCovariance(t, f, Classical)
		same(t, name+" errors", c.SE(), o.at("se").numbers(), goldenTolerance, 0)
		_, want := g.at("vcov_ols").matrix()
		same(t, name+" covariance", slices.Concat(c.Matrix...), want, goldenTolerance, 1e-12)
		_, interval := o.at("ci95").matrix()
		for j, row := range f.CoefficientTable(c, 0.95) {
			same(t, name+" interval", []float64{row.Low, row.High}, interval[2*j:2*j+2], goldenTolerance, 0)
			near(t, name+" t", row.T, o.at("t", j).number(), goldenTolerance)
			near(t, name+" P", row.P, o.at("p", j).number(), goldenTolerance)
		}
		for _, kind := range []string{HC0, HC1, HC2, HC3} {
			c := mustCovariance(t, f, kind)
			same(t, name+" "+kind, c.SE(), g.at("hc", kind, "se").numbers(), goldenTolerance, 0)
			for j, row := range f.CoefficientTable(c, 0.95) {
				near(t, name+" P by "+kind, row.P, g.at("hc", kind, "p", j).number(), goldenTolerance)
			}
		}
		second := readGolden(t, "p03_stats") // statsmodels 0.13.5
		same(t, name+" coefficients, second source", f.Coefficients, second.at("ols", "coef").numbers(), goldenTolerance, 0)
		for _, kind := range []string{HC0, HC1, HC2, HC3} {
			same(t, name+" "+kind+", second source", mustCovariance(t, f, kind).SE(), second.at(kind, "se").numbers(), goldenTolerance, 0)
		}
		same(t, name+" leverage", f.Leverages()[:20], g.at("diag", "hat").numbers(), goldenTolerance, 0)
		same(t, name+" residuals", f.Residuals[:20], g.at("diag", "resid").numbers(), goldenTolerance, 0)
	}
}

// Weighted least squares, R 4.2.2.
func TestWeightedLeastSquaresAgainstR(t *testing.T) {
	g := readGolden(t, "r01_linear").at("wls")
	cohort := readTable(t, "golden/in/cohort.csv")
	f := mustOLS(t, goldenDesign(cohort, true), cohort.numbers("cpp"), cohort.numbers("wt"))
	same(t, "coefficients", f.Coefficients, g.at("coef").numbers(), goldenTolerance, 0)
	same(t, "errors", mustCovariance(t, f, Classical).SE(), g.at("se").numbers(), goldenTolerance, 0)
	same(t, "HC3", mustCovariance(t, f, HC3).SE(), g.at("hc3").numbers(), goldenTolerance, 0)
	same(t, "leverage", f.Leverages()[:10], g.at("hat").numbers(), goldenTolerance, 0)
	near(t, "residual SD", f.ResidualSD, g.at("sigma").number(), goldenTolerance)
	near(t, "R2", f.R2, g.at("r2").number(), goldenTolerance)
}

// Expenditure on schools by state 1979 (Greene 1993, table 14.1), the worked
// example of heteroscedasticity-consistent errors in Zeileis 2004, J Stat Softw
// 11(10); digits by R 4.2.2, sandwich.
func TestPublicSchools(t *testing.T) {
	data := readTable(t, "reference/public_schools_1979.csv")
	var income, expenditure []float64
	for i, e := range data.numbers("expenditure") {
		if math.IsNaN(e) { // Wisconsin has no value
			continue
		}
		expenditure = append(expenditure, e)
		income = append(income, data.numbers("income")[i]/1e4)
	}
	d := NewDesign(true)
	d.AddPolynomial("income", income, 2)
	f := mustOLS(t, d, expenditure, nil)
	if f.N != 50 {
		t.Fatalf("%d states, want 50", f.N)
	}
	same(t, "coefficients", f.Coefficients, []float64{832.914356, -1834.202946, 1587.042267}, 1e-9, 0)
	for kind, want := range map[string][]float64{
		Classical: {327.292493363967, 828.985468591999, 519.076768604605},
		HC0:       {460.891663315271, 1243.04299569459, 829.992665606724},
		HC1:       {475.373453766544, 1282.10095577185, 856.0720695453},
		HC2:       {688.481389098895, 1866.40614102335, 1250.14705811328},
		HC3:       {1095.00061350402, 2975.41140882796, 1995.24196327979},
	} {
		same(t, kind, mustCovariance(t, f, kind).SE(), want, 1e-11, 0)
	}
	near(t, "largest leverage", slices.Max(f.Leverages()), 0.650804308980511, 1e-12)
}

// Longley's scaled condition number: R 4.2.2.
func TestScaledConditionNumber(t *testing.T) {
	y, x := nistRows(t, "Longley")
	near(t, "condition number", mustOLS(t, Columns(true, nil, x), y, nil).ConditionNumber, 43275.0435871799, 1e-9)
}

// A row that is alone with its indicator fits itself; the others keep the
// errors that they have without it (R 4.2.2, testdata/golden/r01_linear.R).
func TestLeverageOneDoesNotSpread(t *testing.T) {
	g := readGolden(t, "r01_traps").at("hc3_leverage1_cohort")
	cohort := readTable(t, "golden/in/cohort.csv")
	d := goldenDesign(cohort, false)
	one := make([]float64, len(cohort["cpp"]))
	one[16] = 1
	d.Add("one", one)
	f := mustOLS(t, d, cohort.numbers("cpp"), nil)
	c := mustCovariance(t, f, HC3)
	want := append(g.at("hc3_se_without_subject17").numbers(), math.NaN())
	same(t, "HC3", c.SE(), want, goldenTolerance, 0)
	if len(c.Warnings) != 1 || c.Warnings[0].Code != WarnLeverageOne || !slices.Equal(c.Warnings[0].Rows, []int{16}) || !slices.Equal(c.Warnings[0].Terms, []string{"one"}) {
		t.Errorf("warnings %+v", c.Warnings)
	}
	near(t, "HC0 of the indicator", mustCovariance(t, f, HC0).SE()[12], g.at("hc0_se_one").number(), goldenTolerance)

	small := readGolden(t, "r01_traps").at("hc3_leverage1")
	f = mustOLS(t, Columns(true, []string{"x", "g"}, [][]float64{{1, 2, 3, 4, 5}, {0, 0, 0, 0, 1}}), []float64{1, 2.2, 2.9, 4.3, 10}, nil)
	same(t, "leverage", f.Leverages(), small.at("hat").numbers(), goldenTolerance, 0)
	same(t, "HC0", mustCovariance(t, f, HC0).SE(), small.at("hc0").numbers(), goldenTolerance, 0)
}

// A column that others determine is named and left out, the rest goes on.
func TestAliasedColumn(t *testing.T) {
	g := readGolden(t, "r01_traps").at("aliased")
	cohort := readTable(t, "golden/in/cohort.csv")
	age, pressure := cohort.numbers("age"), cohort.numbers("map")
	sum := make([]float64, len(age))
	for i := range sum {
		sum[i] = age[i] + 2*pressure[i]
	}
	f := mustOLS(t, Columns(true, []string{"age", "map", "lin", "sex"}, [][]float64{age, pressure, sum, cohort.numbers("sex")}), cohort.numbers("cpp"), nil)
	coef := g.at("coef")
	same(t, "coefficients", f.Coefficients, []float64{coef.at("(Intercept)").number(), coef.at("age").number(), coef.at("map").number(), math.NaN(), coef.at("sex").number()}, goldenTolerance, 0)
	if f.Rank != int(g.at("rank").number()) || len(f.Warnings) != 1 || f.Warnings[0].Code != WarnAliased || !slices.Equal(f.Warnings[0].Terms, []string{"lin"}) {
		t.Errorf("rank %d, warnings %+v", f.Rank, f.Warnings)
	}
	for j, se := range mustCovariance(t, f, HC3).SE() {
		if math.IsNaN(se) != (j == 3) {
			t.Errorf("error of %s: %v", f.Names[j], se)
		}
	}
}

// A power that stands in the model already must not be lost by centring.
func TestPolynomialBesideItsOwnPower(t *testing.T) {
	x := []float64{40, 45, 50, 55, 60, 65, 71}
	y := []float64{3, 1, 4, 1, 5, 9, 2}
	square := make([]float64, len(x))
	for i, v := range x {
		square[i] = v * v
	}
	d := NewDesign(true)
	d.Add("square", square)
	d.AddPolynomial("x", x, 3)
	f := mustOLS(t, d, y, nil)
	plain := NewDesign(true)
	plain.AddPolynomial("x", x, 3)
	want := mustOLS(t, plain, y, nil).Coefficients
	same(t, "coefficients", f.Coefficients, []float64{want[0], want[2], want[1], math.NaN(), want[3]}, 1e-9, 0)
	if f.Warnings[0].Code != WarnUncentred {
		t.Errorf("warnings %+v", f.Warnings)
	}
}

func TestTooFewObservations(t *testing.T) {
	f := mustOLS(t, Columns(true, []string{"x"}, [][]float64{{0, 1}}), []float64{1, 2}, nil)
	if f.DF != 0 || !math.IsNaN(f.ResidualSD) || f.Warnings[0].Code != WarnSaturated {
		t.Errorf("%+v", f)
	}
	for _, kind := range []string{Classical, HC1, HC3} {
		if se := mustCovariance(t, f, kind).SE(); !math.IsNaN(se[0]) || !math.IsNaN(se[1]) {
			t.Errorf("%s: %v", kind, se)
		}
	}
	f = mustOLS(t, Columns(true, []string{"a", "b"}, [][]float64{{1, 2}, {4, 7}}), []float64{1, 2}, nil)
	if f.Rank != 2 || !math.IsNaN(f.Coefficients[2]) {
		t.Errorf("%+v", f)
	}
}

func TestUnusableInput(t *testing.T) {
	good := []float64{1, 2, 3}
	for name, err := range map[string]error{
		"no rows":         second(OLS(Columns(true, nil, [][]float64{{}}), nil, nil)),
		"no columns":      second(OLS(NewDesign(false), good, nil)),
		"lengths":         second(OLS(Columns(true, nil, [][]float64{{1, 2}}), good, nil)),
		"missing x":       second(OLS(Columns(true, nil, [][]float64{{1, 2, math.NaN()}}), good, nil)),
		"infinite y":      second(OLS(Columns(true, nil, [][]float64{good}), []float64{1, math.Inf(1), 2}, nil)),
		"weight of zero":  second(OLS(Columns(true, nil, [][]float64{good}), good, []float64{1, 0, 1})),
		"missing column":  second(OLS(Columns(true, nil, [][]float64{nil}), good, nil)),
		"too few weights": second(OLS(Columns(true, nil, [][]float64{good}), good, []float64{1})),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := mustOLS(t, NewDesign(true), good, nil).Covariance("HC9"); err == nil {
		t.Error("unknown estimator: no error")
	}
}

func second(_ *Fit, err error) error { return err }

func TestInterceptAlone(t *testing.T) {
	f := mustOLS(t, NewDesign(true), []float64{1, 2, 6}, nil)
	same(t, "mean", f.Coefficients, []float64{3}, 1e-15, 0)
	near(t, "standard error", mustCovariance(t, f, Classical).SE()[0], math.Sqrt(7.0/3), 1e-15)
	if !math.IsNaN(f.F) {
		t.Errorf("F %v", f.F)
	}
}

// What was estimated before the rows were dropped stays as it was.
func TestDropRowsKeepsTheFit(t *testing.T) {
	cohort := readTable(t, "golden/in/cohort.csv")
	d := NewDesign(true)
	d.AddPolynomial("age", cohort.numbers("age"), 2)
	d.Add("height", cohort.numbers("height"))
	f := mustOLS(t, d, cohort.numbers("cpp"), nil)
	c, err := f.Covariance(HC3)
	if err != nil {
		t.Fatal(err)
	}
	answers := func() string {
		return fmt.Sprintf("%v %v %v %v", f.CoefficientTable(c, 0.95), f.TermTests(c), f.Combination(c, "sum", []float64{0, 1, 2, 3}, 0.95), f.R2)
	}
	before := answers()
	f.DropRows()
	if after := answers(); after != before {
		t.Errorf("before %s\nafter %s", before, after)
	}
	if f.Residuals != nil || f.working != nil || f.outcome != nil {
		t.Error("rows are still held")
	}
}
