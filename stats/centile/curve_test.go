package centile

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// R 4.2.2, splinefun(method = "natural"), within and beyond its knots.
func TestCurveAgainstR(t *testing.T) {
	c, err := NewCurve([]float64{20, 30, 45, 60, 80}, []float64{28, 27, 31, 40, 58})
	if err != nil {
		t.Fatal(err)
	}
	g := readGolden(t, "r02_splines")
	for i, want := range listAt(t, g, "interp_spline_natural", "y") {
		near(t, "spline", c.At([]float64{15, 25, 37, 50, 79, 90}[i]), want, 1e-12)
	}
	for i, want := range listAt(t, g, "interp_spline_natural", "d1") {
		x := []float64{25, 50}[i]
		near(t, "slope", (c.At(x+1e-4)-c.At(x-1e-4))/2e-4, want, 1e-6)
	}
	constant, _ := NewCurve([]float64{18}, []float64{0.3})
	line, _ := NewCurve([]float64{18, 80}, []float64{1, 32})
	if constant.At(44) != 0.3 || constant.At(90) != 0.3 || line.At(20) != 2 || math.Abs(line.At(90)-37) > 1e-12 || !math.IsNaN(line.At(math.NaN())) {
		t.Error("a constant or a line is not one")
	}
	for what, c := range map[string][2][]float64{"none": {nil, nil}, "unequal": {{1, 2}, {1}}, "falling": {{2, 1}, {1, 1}}, "missing": {{1, 2}, {1, math.NaN()}}} {
		if _, err := NewCurve(c[0], c[1]); err == nil {
			t.Errorf("%s: a curve", what)
		}
	}
}

// The sums over observations in the space of a basis are those over its curves.
func TestRowsAreCurves(t *testing.T) {
	x := []float64{20, 21.5, 33, 47, 47, 68, 79.9}
	weight := []float64{1, 0.5, 2, -1, 3, 0.2, 1}
	a, b := newRows(newBasis([]float64{20, 30, 45, 60, 80}), x), newRows(newBasis([]float64{20, 80}), x)
	sums, cross := a.sums(weight), products(a, b, weight)
	for j := range a.knots {
		sum := 0.0
		for i := range x {
			sum += weight[i] * a.weights(x[i])[j]
		}
		if math.Abs(sum-sums[j]) > 1e-12 {
			t.Errorf("sum %d: %g, want %g", j, sums[j], sum)
		}
		for m := range b.knots {
			sum := 0.0
			for i := range x {
				sum += weight[i] * a.weights(x[i])[j] * b.weights(x[i])[m]
			}
			if math.Abs(sum-cross[j][m]) > 1e-12 {
				t.Errorf("product %d %d: %g, want %g", j, m, cross[j][m], sum)
			}
		}
	}
	// A line costs nothing; other curves their squared second derivative.
	p := a.penalty()
	if cost := quadratic(p, []float64{20, 30, 45, 60, 80}); math.Abs(cost) > 1e-12 {
		t.Errorf("a line costs %g", cost)
	}
	c, _ := NewCurve(a.knots, []float64{1, 4, 2, 8, 3})
	cost := 0.0
	for k := range 600000 {
		s := 20 + (float64(k)+0.5)/1e4
		bend := (c.At(s+1e-2) - 2*c.At(s) + c.At(s-1e-2)) / 1e-4
		cost += bend * bend / 1e4
	}
	near(t, "penalty", quadratic(p, c.Values), cost, 1e-4)
}

// Penalised least squares with 5 degrees of freedom is R's smooth.spline (4.2.2)
// of the same number. R has more knots and stops where its own criterion is near
// 5: a hundredth of a mmHg of room.
func TestSmoothingAgainstR(t *testing.T) {
	c := readColumns(t, "golden/in/cohort.csv", "age", "cpp")
	ages, _ := FindAges(c[0])
	low, high := ages.span()
	r := newRows(newBasis(evenKnots(low, high, 40)), c[0])
	one := make([]float64, len(c[0]))
	for i := range one {
		one[i] = 1
	}
	information, penalty := products(r, r, one), r.penalty()
	lambda, err := smoothing(information, penalty, 5, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i := range information {
		for j := range information {
			information[i][j] += lambda * penalty[i][j]
		}
	}
	var values mat.VecDense
	if err := values.SolveVec(dense(information), mat.NewVecDense(40, r.sums(c[1]))); err != nil {
		t.Fatal(err)
	}
	curve, err := NewCurve(r.knots, values.RawVector().Data)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range listAt(t, readGolden(t, "r02_splines"), "smooth_spline_df5") {
		if got := curve.At([]float64{30, 45.5, 60, 75}[i]); math.Abs(got-want) > 0.01 {
			t.Errorf("smooth curve %d: %.4f, want %.4f", i, got, want)
		}
	}
}

func TestAges(t *testing.T) {
	exact, err := FindAges([]float64{20.3, 79.96, 44})
	if err != nil || exact != (Ages{Lowest: 20, Highest: 79}) {
		t.Fatalf("%+v, %v", exact, err)
	}
	whole, _ := FindAges([]float64{20, 79})
	for _, c := range []struct {
		ages     Ages
		age      float64
		position float64
	}{{exact, 20, 20}, {exact, 79.99, 79.99}, {exact, 80, math.NaN()}, {exact, 19.9, math.NaN()}, {exact, math.NaN(), math.NaN()}, {whole, 79.99, 79}, {whole, 44.7, 44}} {
		if got := c.ages.Position(c.age); got != c.position && !(math.IsNaN(got) && math.IsNaN(c.position)) {
			t.Errorf("%+v at %g: %g, want %g", c.ages, c.age, got, c.position)
		}
	}
	if exact.OfYear(20) != 20.5 || whole.OfYear(20) != 20 || len(exact.Years()) != 60 {
		t.Error("years")
	}
	if _, err := FindAges([]float64{20, math.NaN()}); err == nil {
		t.Error("a missing age was taken")
	}
}
