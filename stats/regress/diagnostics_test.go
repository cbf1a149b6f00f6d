package regress

import (
	"math"
	"testing"
)

func TestDiagnosticsAgainstR(t *testing.T) {
	g := readGolden(t, "r01_linear")
	cohort := readTable(t, "golden/in/cohort.csv")
	y := cohort.numbers("cpp")
	f := mustOLS(t, goldenDesign(cohort, true), y, nil)

	m := f.Influence()
	same(t, "standardised residuals", m.Standardised[:20], g.at("diag", "rstandard").numbers(), goldenTolerance, 0)
	same(t, "studentised residuals", m.Studentised[:20], g.at("diag", "rstudent").numbers(), goldenTolerance, 0)
	same(t, "Cook's distance", m.Cook[:20], g.at("diag", "cooks").numbers(), goldenTolerance, 0)
	same(t, "DFFITS", m.DFFITS[:20], g.at("diag", "dffits").numbers(), goldenTolerance, 0)

	tests := g.at("tests")
	bp, err := f.BreuschPagan()
	if err != nil {
		t.Fatal(err)
	}
	want := tests.at("breusch_pagan_koenker")
	same(t, "Breusch-Pagan", []float64{bp.Statistic, bp.DF1, bp.P}, []float64{want.at("stat").number(), want.at("df").number(), want.at("p").number()}, goldenTolerance, 0)
	reset, err := f.RESET()
	if err != nil {
		t.Fatal(err)
	}
	same(t, "RESET", []float64{reset.Statistic, reset.P}, []float64{tests.at("reset_23_fitted", "stat").number(), tests.at("reset_23_fitted", "p").number()}, goldenTolerance, 0)
	near(t, "Durbin-Watson", f.DurbinWatson(), tests.at("durbin_watson_stat").number(), goldenTolerance)

	added := []int{5, 6, 7, 8, 9, 10, 11}
	for kind, name := range map[string]string{Classical: "nested_F", HC3: "wald_hc3"} {
		got := f.Wald(mustCovariance(t, f, kind), "added", added)
		want := tests.at(name)
		same(t, name, []float64{got.Statistic, got.DF1, got.DF2, got.P}, append(append(want.at("F").numbers(), want.at("df").numbers()...), want.at("p").number()), goldenTolerance, 0)
	}

	// Age and its square as two terms, as in the type III table.
	split := NewDesign(true)
	age := f.design.userColumn(1, f.N)
	split.Add("age", age)
	split.Add("age^2", f.design.userColumn(2, f.N))
	for j := 3; j < len(f.Names); j++ {
		split.AddTerm(f.Terms[j], f.Names[j:j+1], [][]float64{f.design.whole(j, f.N)})
	}
	s := mustOLS(t, split, y, nil)
	third := tests.at("anova_type3")
	for i, got := range s.TermTests(mustCovariance(t, s, Classical)) {
		near(t, "F of "+got.Name, got.Statistic, third.at("F", i+1).number(), goldenTolerance)
		near(t, "P of "+got.Name, got.P, third.at("p", i+1).number(), goldenTolerance)
	}
	_, gvif := g.at("vif", "gvif").matrix()
	for i, got := range s.VarianceInflation() {
		same(t, "variance inflation of "+got.Term, []float64{got.GVIF, float64(got.Columns), got.PerRoot}, gvif[3*i:3*i+3], goldenTolerance, 0)
	}
	if got := f.Wald(mustCovariance(t, f, Classical), "age", []int{1, 2}); !(got.P < 1e-50) {
		t.Errorf("age: %+v", got)
	}
}

func TestStandardisedAgainstR(t *testing.T) {
	g := readGolden(t, "r01_linear").at("standardized")
	cohort := readTable(t, "golden/in/cohort.csv")
	d := NewDesign(true)
	for _, name := range []string{"age", "sex", "height", "bmi", "hr", "map"} {
		d.AddPolynomial(name, cohort.numbers(name), 1)
	}
	f := mustOLS(t, d, cohort.numbers("cpp"), nil)
	same(t, "standardised coefficients", f.StandardisedCoefficients()[1:], g.at("beta_times_sdx_over_sdy").numbers(), goldenTolerance, 0)
	partial, err := f.PartialR2()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range partial {
		near(t, "partial R2 of "+p.Name, p.Statistic, g.at("partial_r2", p.Name).number(), goldenTolerance)
	}
	for _, v := range f.VarianceInflation() {
		near(t, "variance inflation of "+v.Term, v.GVIF, readGolden(t, "r01_linear").at("vif", "numeric_only", v.Term).number(), goldenTolerance)
	}
}

// Longley's variance inflation and Durbin-Watson, R 4.2.2 with car 3.1-1.
func TestLongleyDiagnostics(t *testing.T) {
	y, x := nistRows(t, "Longley")
	f := mustOLS(t, Columns(true, nil, x), y, nil)
	want := []float64{135.5324382799103, 1788.5134827167437, 33.6188905960458, 3.58893019344517, 399.15102231236494, 758.9805974063637}
	for i, v := range f.VarianceInflation() {
		near(t, "variance inflation", v.GVIF, want[i], 1e-11)
	}
	near(t, "Durbin-Watson", f.DurbinWatson(), 2.55948768928152, 1e-12)
}

// Expenditure on schools: Breusch-Pagan, variance inflation, largest Cook's
// distance by R 4.2.2.
func TestPublicSchoolsDiagnostics(t *testing.T) {
	data := readTable(t, "reference/public_schools_1979.csv")
	var income, square, expenditure []float64
	for i, e := range data.numbers("expenditure") {
		if !math.IsNaN(e) {
			v := data.numbers("income")[i] / 1e4
			expenditure, income, square = append(expenditure, e), append(income, v), append(square, v*v)
		}
	}
	f := mustOLS(t, Columns(true, []string{"income", "square"}, [][]float64{income, square}), expenditure, nil)
	bp, err := f.BreuschPagan()
	if err != nil {
		t.Fatal(err)
	}
	same(t, "Breusch-Pagan", []float64{bp.Statistic, bp.DF1, bp.P}, []float64{15.83377432963, 2, 0.000364535300509}, 1e-11, 0)
	near(t, "variance inflation", f.VarianceInflation()[0].GVIF, 115.708171919705, 1e-12)
	var largest float64
	for _, c := range f.Influence().Cook {
		largest = max(largest, c)
	}
	near(t, "Cook's distance", largest, 6.66802246791372, 1e-11)
}

// Slope in a subgroup and fitted means, R 4.2.2.
func TestCombinationAgainstR(t *testing.T) {
	g := readGolden(t, "r01_linear")
	cohort := readTable(t, "golden/in/cohort.csv")
	age, sex := cohort.numbers("age"), cohort.numbers("sex")
	product := make([]float64, len(age))
	for i := range product {
		product[i] = age[i] * sex[i]
	}
	f := mustOLS(t, Columns(true, []string{"sex", "age", "map", "sex:age"}, [][]float64{sex, age, cohort.numbers("map"), product}), cohort.numbers("cpp"), nil)
	same(t, "coefficients", f.Coefficients, g.at("interaction", "coef").numbers(), goldenTolerance, 0)
	slope := f.Combination(mustCovariance(t, f, Classical), "age in men", []float64{0, 0, 1, 0, 1}, 0.95)
	same(t, "slope", []float64{slope.Estimate, slope.SE}, []float64{g.at("interaction", "age_slope_male", "est").number(), g.at("interaction", "age_slope_male", "se").number()}, goldenTolerance, 0)

	f = mustOLS(t, goldenDesign(cohort, true), cohort.numbers("cpp"), nil)
	c := mustCovariance(t, f, Classical)
	_, want := g.at("predict", "ci").matrix()
	for i, x := range [][]float64{{25, 0, 0, 0}, {50, 1, 1, 0}, {75, 0, 0, 1}, {95, 1, 0, 0}} {
		row := []float64{1, x[0], x[0] * x[0], x[1], 170, 26, 65, 95, 0, 0, x[2], x[3]}
		mean := f.Combination(c, "", row, 0.95)
		same(t, "fitted mean", []float64{mean.Estimate, mean.Low, mean.High}, want[3*i:3*i+3], goldenTolerance, 0)
	}
}

// Each of the fourteen strata of the golden cohort, HC3.
func TestStratifiedFitsAgainstR(t *testing.T) {
	g := readGolden(t, "r01_linear").at("stratified")
	cohort := readTable(t, "golden/in/cohort.csv")
	y, pressure, rate := cohort.numbers("cpp"), cohort.numbers("map"), cohort.numbers("hr")
	rows := map[string][]int{}
	for i := range y {
		key := cohort["decade"][i] + "." + cohort["sex"][i]
		rows[key] = append(rows[key], i)
	}
	pick := func(x []float64, rows []int) (out []float64) {
		for _, i := range rows {
			out = append(out, x[i])
		}
		return out
	}
	for key, members := range rows {
		f := mustOLS(t, Columns(true, []string{"map", "hr"}, [][]float64{pick(pressure, members), pick(rate, members)}), pick(y, members), nil)
		same(t, key, f.Coefficients, g.at(key, "coef").numbers(), goldenTolerance, 0)
		same(t, key, mustCovariance(t, f, HC3).SE(), g.at(key, "hc3").numbers(), goldenTolerance, 0)
	}
	if len(rows) != 14 {
		t.Errorf("%d strata", len(rows))
	}
}
