package regress

import (
	"math"
	"testing"
)

// rowMajor turns columns into rows laid end to end.
func rowMajor(columns [][]float64) (out []float64) {
	for i := range columns[0] {
		for _, c := range columns {
			out = append(out, c[i])
		}
	}
	return out
}

// R 4.2.2, package splines.
func TestSplinesAgainstR(t *testing.T) {
	g := readGolden(t, "r02_splines")
	cohort := readTable(t, "golden/in/cohort.csv")
	age, y := cohort.numbers("age"), cohort.numbers("cpp")
	fresh := g.at("newx").numbers()
	natural, err := NewNaturalSpline(age, 4)
	if err != nil {
		t.Fatal(err)
	}
	knotted, err := NaturalSplineWith([]float64{35, 50, 65}, [2]float64{20, 88})
	if err != nil {
		t.Fatal(err)
	}
	cubic, err := NewBSpline(age, 6, 3, false)
	if err != nil {
		t.Fatal(err)
	}
	quadratic, err := BSplineWith([]float64{40, 60}, [2]float64{20, 90}, 2, true)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, at string
		basis    *SplineBasis
		x        []float64
		fit      bool
	}{
		{"ns_df4", "basis_new_incl_linear_extrapolation", natural, fresh, true},
		{"ns_knots", "basis_new", knotted, fresh, true},
		{"bs_df6", "basis_in_range", cubic, []float64{30, 45.5, 60, 75}, true},
		{"bs_deg2_intercept", "", quadratic, nil, false},
	} {
		want := g.at(c.name)
		same(t, c.name+" knots", c.basis.Knots, want.at("knots").numbers(), goldenTolerance, 0)
		same(t, c.name+" boundary", c.basis.Boundary[:], want.at("boundary").numbers(), goldenTolerance, 0)
		_, basis := want.at("basis12").matrix()
		same(t, c.name+" basis", rowMajor(c.basis.Basis(age[:12])), basis, goldenTolerance, 1e-13)
		if c.at != "" {
			_, basis = want.at(c.at).matrix()
			same(t, c.name+" new ages", rowMajor(c.basis.Basis(c.x)), basis, goldenTolerance, 1e-13)
		}
		if !c.fit {
			continue
		}
		d := NewDesign(true)
		d.AddSpline("age", age, c.basis)
		f := mustOLS(t, d, y, nil)
		same(t, c.name+" coefficients", f.Coefficients, want.at("lm", "coef").numbers(), goldenTolerance, 0)
		near(t, c.name+" RSS", f.RSS, want.at("lm", "rss").number(), goldenTolerance)
	}
}

// A spline basis contains the straight line, whatever its knots; the natural one
// has no curvature at its ends and beyond.
func TestSplineContainsTheLine(t *testing.T) {
	x := []float64{10, 18, 22, 31, 40, 47, 55, 63, 71, 80, 85, 99}
	for df := 1; df <= 6; df++ {
		s, err := NewNaturalSpline(x, df)
		if err != nil {
			t.Fatal(err)
		}
		d := NewDesign(true)
		d.AddSpline("x", x, s)
		f := mustOLS(t, d, x, nil)
		if f.Rank != df+1 || math.Sqrt(f.RSS) > 1e-10 {
			t.Errorf("df %d: rank %d, RSS %g", df, f.Rank, f.RSS)
		}
		values := s.Basis([]float64{-20, -10, 0, 99, 109, 119})
		for k, c := range values {
			if bend := c[0] - 2*c[1] + c[2]; math.Abs(bend) > 1e-12 {
				t.Errorf("df %d, column %d bends by %g below", df, k, bend)
			}
			if bend := c[3] - 2*c[4] + c[5]; math.Abs(bend) > 1e-12 {
				t.Errorf("df %d, column %d bends by %g above", df, k, bend)
			}
		}
	}
}

func TestSplineRefusals(t *testing.T) {
	ties := []float64{1, 1, 1, 1, 1, 1, 2}
	for name, err := range map[string]error{
		"ties":          errorOf(NewNaturalSpline(ties, 4)),
		"no freedom":    errorOf(NewNaturalSpline(ties, 0)),
		"one value":     errorOf(NewNaturalSpline([]float64{3, 3}, 1)),
		"missing":       errorOf(NewNaturalSpline([]float64{3, math.NaN()}, 1)),
		"knot outside":  errorOf(NaturalSplineWith([]float64{9}, [2]float64{0, 5})),
		"knots descend": errorOf(BSplineWith([]float64{3, 2}, [2]float64{0, 5}, 3, false)),
		"degree":        errorOf(BSplineWith(nil, [2]float64{0, 5}, 0, false)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func errorOf(_ *SplineBasis, err error) error { return err }
