package regress

import (
	"math"
	"slices"
	"testing"
)

// fourfold returns rows of an exposure and an outcome with the given counts:
// exposed cases, exposed others, unexposed cases, unexposed others.
func fourfold(a, b, c, d int) (exposed, y []float64) {
	for k, count := range []int{a, b, c, d} {
		for range count {
			exposed = append(exposed, float64(1-k/2))
			y = append(y, float64(1-k%2))
		}
	}
	return exposed, y
}

// A fourfold table: log odds ratio with error √(1/a+1/b+1/c+1/d) (Woolf 1955, Ann
// Hum Genet 19:251-3), log prevalence ratio with error
// √((1−p₁)/(n₁p₁)+(1−p₀)/(n₀p₀)) (Katz et al 1978, Biometrics 34:469-74), to
// which the robust error of modified Poisson is equal.
func TestFourfoldTable(t *testing.T) {
	exposed, y := fourfold(30, 70, 12, 88)
	d := Columns(true, []string{"exposed"}, [][]float64{exposed})
	logistic, err := Logistic(d, y, nil)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "log odds", logistic.Coefficients, []float64{math.Log(12.0 / 88), math.Log(30.0 * 88 / (70 * 12))}, 1e-13, 0)
	c, err := logistic.Covariance(Information)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "error of the log odds ratio", c.SE()[1], math.Sqrt(1.0/30+1.0/70+1.0/12+1.0/88), 1e-13)
	row := Ratios(logistic.CoefficientTable(c, 0.95))[1]
	near(t, "odds ratio", row.Estimate, 30.0*88/(70*12), 1e-13)
	near(t, "lower limit", row.Low, math.Exp(math.Log(30.0*88/(70*12))-1.959963984540054*c.SE()[1]), 1e-13)

	poisson, err := ModifiedPoisson(d, y, nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "log prevalence ratio", poisson.Coefficients[1], math.Log(0.30/0.12), 1e-13)
	c, err = poisson.Covariance(HC0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "error of the log prevalence ratio", c.SE()[1], math.Sqrt(0.70/30+0.88/12), 1e-13)
	if _, err := poisson.Covariance(Information); err == nil {
		t.Error("modified Poisson with the error of counts: no error")
	}
}

// The same table by counts as weights, and its rows one by one.
func TestBinaryWeights(t *testing.T) {
	exposed, y := fourfold(30, 70, 12, 88)
	whole, err := Logistic(Columns(true, []string{"x"}, [][]float64{exposed}), y, nil)
	if err != nil {
		t.Fatal(err)
	}
	few, err := Logistic(Columns(true, []string{"x"}, [][]float64{{1, 1, 0, 0}}), []float64{1, 0, 1, 0}, []float64{30, 70, 12, 88})
	if err != nil {
		t.Fatal(err)
	}
	same(t, "coefficients", few.Coefficients, whole.Coefficients, 1e-13, 0)
	near(t, "deviance", few.Deviance, whole.Deviance, 1e-13)
}

// A level without a single case has no finite log odds; the others keep theirs.
func TestSeparation(t *testing.T) {
	exposed, y := fourfold(30, 70, 12, 88)
	level := make([]float64, len(y))
	for range 25 { // a third level, never a case
		exposed, y, level = append(exposed, 0), append(y, 0), append(level, 1)
	}
	d := Columns(true, []string{"exposed", "level"}, [][]float64{exposed, level})
	for _, fit := range []func(*Design, []float64, []float64) (*BinaryFit, error){Logistic, ModifiedPoisson} {
		f, err := fit(d, y, nil)
		if err != nil {
			t.Fatal(err)
		}
		want := math.Log(30.0 * 88 / (70 * 12))
		if f.Family == ModifiedPoissonFamily {
			want = math.Log(0.30 / 0.12)
		}
		near(t, f.Family+" of the other level", f.Coefficients[1], want, 1e-7)
		if !math.IsNaN(f.Coefficients[2]) || len(f.Separated) != 25 || len(f.Warnings) != 1 || f.Warnings[0].Code != WarnSeparation || !slices.Equal(f.Warnings[0].Terms, []string{"level"}) {
			t.Errorf("%s: coefficients %v, warnings %+v", f.Family, f.Coefficients, f.Warnings)
		}
		c, err := f.Covariance(HC0)
		if err != nil {
			t.Fatal(err)
		}
		if se := c.SE(); !(se[1] > 0.1 && se[1] < 1) || !math.IsNaN(se[2]) {
			t.Errorf("%s: errors %v", f.Family, se)
		}
	}
}

// Complete separation by a measurement, and overlap by a single row.
func TestCompleteSeparation(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6, 7, 8}
	y := []float64{0, 0, 0, 0, 1, 1, 1, 1}
	f, err := Logistic(Columns(true, []string{"x"}, [][]float64{x}), y, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(f.Coefficients[0]) || !math.IsNaN(f.Coefficients[1]) || len(f.Separated) != 8 {
		t.Errorf("complete separation: %v, rows %v", f.Coefficients, f.Separated)
	}
	y[3], y[4] = 1, 0
	f, err = Logistic(Columns(true, []string{"x"}, [][]float64{x}), y, nil)
	if err != nil {
		t.Fatal(err)
	}
	if f.Warnings != nil || !(f.Coefficients[1] > 0) {
		t.Errorf("overlap: %v, warnings %+v", f.Coefficients, f.Warnings)
	}
	score := 0.0
	for i := range y {
		score += x[i] * (y[i] - f.Fitted[i])
	}
	if math.Abs(score) > 1e-12 {
		t.Errorf("score %g at the maximum", score)
	}
}

func TestBinaryRefusals(t *testing.T) {
	d := Columns(true, []string{"x"}, [][]float64{{1, 2, 3}})
	for name, y := range map[string][]float64{"constant": {1, 1, 1}, "not binary": {0, 1, 2}, "missing": {0, 1, math.NaN()}} {
		if _, err := Logistic(d, y, nil); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
