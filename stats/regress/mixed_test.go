package regress

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Differences between two methods, repeated within persons: R 4.2.2, nlme
// 3.1-162. It writes the standard deviation between persons with seven digits, and
// its optimiser stops with as many right: the likelihood is higher here.
func TestRandomInterceptAgainstR(t *testing.T) {
	g := readGolden(t, "r05_agreement").at("bland_altman_repeated", "reml_lme")
	data := readTable(t, "golden/in/repeated.csv")
	difference := data.numbers("m2")
	for i, v := range data.numbers("m1") {
		difference[i] -= v
	}
	f, err := RandomIntercept(NewDesign(true), difference, labels(data.numbers("subj")))
	if err != nil {
		t.Fatal(err)
	}
	c, err := f.Covariance(REML)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", f.Coefficients[0], g.at("mu").number(), 1e-8)
	near(t, "error of the mean", c.SE()[0], g.at("se").number(), 5e-7)
	between, within := g.at("sd_between").number(), g.at("sd_within").number()
	near(t, "SD between", math.Sqrt(f.Between), between, 5e-7)
	near(t, "SD within", math.Sqrt(f.Within), within, 5e-7)
	z := compress(&f.Model, difference, grouped(labels(data.numbers("subj"))))
	if theirs := between * between / (within * within); z.at(f.theta).criterion > z.at(theirs).criterion {
		t.Error("R's variances are more likely")
	}
	if slope := z.at(f.theta).slope; math.Abs(slope) > 1e-10 {
		t.Errorf("slope %g at the maximum", slope)
	}
}

// The six persons and four judges of Shrout and Fleiss 1979, Psychol Bull
// 86:420-8, table 2.
func shroutFleiss() (rating []float64, person, judge []int) {
	for i, row := range [][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}} {
		for j, v := range row {
			rating, person, judge = append(rating, v), append(person, i), append(judge, j)
		}
	}
	return rating, person, judge
}

// In balanced data restricted likelihood gives the estimators of the analysis of
// variance: with the published mean squares BMS 11.24 and WMS 6.26 of the one-way
// layout, and BMS 11.24 and EMS 1.02 with judges as columns. The error of the
// mean rests on persons − 1 degrees of freedom, that of a contrast between judges
// on (persons − 1)(judges − 1).
func TestRandomInterceptBalanced(t *testing.T) {
	rating, person, judge := shroutFleiss()
	const bms, wms, ems = 11.241666666666667, 6.263888888888889, 1.0194444444444444
	f, err := RandomIntercept(NewDesign(true), rating, person)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "within", f.Within, wms, 1e-9)
	near(t, "between", f.Between, (bms-wms)/4, 1e-8)
	near(t, "ICC(1,1)", f.ICC, (bms-wms)/(bms+3*wms), 1e-8)
	c, err := f.Covariance(REML)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "error of the mean", c.SE()[0], math.Sqrt(bms/24), 1e-9)
	near(t, "degrees of freedom", c.DF[0], 5, 1e-8)
	// Var(BMS) = 2·BMS²/5, Var(WMS) = 2·WMS²/18, independent.
	near(t, "error of within", f.WithinSE, math.Sqrt(2.0/18)*wms, 1e-8)
	near(t, "error of between", f.BetweenSE, math.Sqrt(2*bms*bms/5+2*wms*wms/18)/4, 1e-8)

	var columns [][]float64
	for k := 1; k < 4; k++ {
		column := make([]float64, len(rating))
		for i, j := range judge {
			if j == k {
				column[i] = 1
			}
		}
		columns = append(columns, column)
	}
	f, err = RandomIntercept(Columns(true, nil, columns), rating, person)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "error mean square", f.Within, ems, 1e-9)
	near(t, "between, judges fixed", f.Between, (bms-ems)/4, 1e-8)
	if c, err = f.Covariance(REML); err != nil {
		t.Fatal(err)
	}
	near(t, "error of a contrast", c.SE()[1], math.Sqrt(2*ems/6), 1e-9)
	near(t, "degrees of freedom of a contrast", c.DF[1], 15, 1e-8)
}

// Groups that differ less than chance would have them: zero, and said so; the
// coefficients are those of least squares.
func TestRandomInterceptAtZero(t *testing.T) {
	y := []float64{1, 2, 3, 3, 1, 2, 2, 3, 1}
	f, err := RandomIntercept(NewDesign(true), y, []int{1, 1, 1, 2, 2, 2, 3, 3, 3})
	if err != nil {
		t.Fatal(err)
	}
	if f.Between != 0 || f.NoBetween.P != 1 || len(f.Warnings) != 1 || f.Warnings[0].Code != WarnBoundary {
		t.Errorf("%+v", f)
	}
	near(t, "variance", f.Within, 0.75, 1e-12)
}

// The slope of the criterion is its derivative.
func TestRestrictedLikelihoodSlope(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	var x, y []float64
	var group []int
	for g := range 12 {
		u := random.NormFloat64()
		for range 1 + g%5 {
			x = append(x, random.NormFloat64())
			y = append(y, 3+u+0.7*x[len(x)-1]+random.NormFloat64())
			group = append(group, g)
		}
	}
	m := decompose(Columns(true, nil, [][]float64{x}), y, nil)
	c := compress(m, y, grouped(group))
	for _, theta := range []float64{0.01, 0.5, 3} {
		const h = 1e-5
		numeric := (c.at(theta*(1+h)).criterion - c.at(theta*(1-h)).criterion) / (2 * h * theta)
		near(t, "slope", c.at(theta).slope, numeric, 1e-6)
	}
}

// Within persons the outcome rises by 1 a year, between persons it falls: the two
// slopes are told apart.
func TestWithinBetween(t *testing.T) {
	var x, y []float64
	var group []int
	for g := range 5 {
		for k := range 3 {
			x = append(x, float64(40+10*g+k))
			y = append(y, 100-2*float64(40+10*g)+float64(k))
			group = append(group, g)
		}
	}
	within, between := WithinBetween(x, group)
	f := mustOLS(t, Columns(true, []string{"within", "between"}, [][]float64{within, between}), y, nil)
	same(t, "slopes", f.Coefficients[1:], []float64{1, -2}, 1e-12, 0)
}

func TestRandomInterceptRefusals(t *testing.T) {
	y := []float64{1, 2, 4, 3}
	for name, group := range map[string][]int{"one group": {1, 1, 1, 1}, "single rows": {1, 2, 3, 4}, "lengths": {1, 2}} {
		if _, err := RandomIntercept(NewDesign(true), y, group); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
