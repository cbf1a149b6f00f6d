package regress

import (
	"slices"
	"testing"
)

// All 8 and 36 fits against R 4.2.2 (the terms written out with lm).
func TestFractionalPolynomialsAgainstR(t *testing.T) {
	g := readGolden(t, "r02_splines").at("fp")
	cohort := readTable(t, "golden/in/cohort.csv")
	age, y := cohort.numbers("age"), cohort.numbers("cpp")
	for terms, name := range map[int]string{1: "fp1", 2: "fp2"} {
		want := g.at(name)
		best, all, err := SelectFractional(NewDesign(true), "age", age, y, nil, terms)
		if err != nil {
			t.Fatal(err)
		}
		if best.Scale != 10 || best.Shift != 0 { // scaled_x = age/10
			t.Fatalf("scale %g, shift %g", best.Scale, best.Shift)
		}
		if !slices.Equal(best.Powers, g.at("best_"+name).numbers()) {
			t.Errorf("%s: best powers %v", name, best.Powers)
		}
		if len(all) != len(want.at("rss").numbers()) {
			t.Fatalf("%s: %d fits", name, len(all))
		}
		for i, p := range all {
			near(t, name+" RSS", p.RSS, want.at("rss", i).number(), goldenTolerance)
			near(t, name+" deviance", p.Deviance, want.at("deviance", i).number(), goldenTolerance)
			d := NewDesign(true)
			if err := d.AddFractional("age", age, p); err != nil {
				t.Fatal(err)
			}
			coef := []float64{want.at("b0", i).number(), want.at("b1", i).number()}
			if terms == 2 {
				coef = append(coef, want.at("b2", i).number())
			}
			same(t, name+" coefficients", mustOLS(t, d, y, nil).Coefficients, coef, goldenTolerance, 0)
		}
	}
}

func TestFractionalShift(t *testing.T) {
	x := []float64{-1, 0, 0.5, 3, 7}
	shift, scale := FractionalScale(x)
	if shift != 1.5 || scale != 1 {
		t.Errorf("shift %g, scale %g", shift, scale)
	}
	p := FractionalPolynomial{Powers: []float64{0, 0}, Shift: shift, Scale: scale}
	if got := p.Names("x"); got[0] != "log (x+1.5)" || got[1] != "log (x+1.5) · log (x+1.5)" {
		t.Errorf("names %q", got)
	}
	if _, err := p.Columns([]float64{-2}); err == nil {
		t.Error("a value below the shift: no error")
	}
	if _, _, err := SelectFractional(NewDesign(true), "x", []float64{4, 4, 4}, []float64{1, 2, 3}, nil, 1); err == nil {
		t.Error("one value: no error")
	}
	if _, _, err := SelectFractional(NewDesign(true), "x", x, x, nil, 3); err == nil {
		t.Error("three terms: no error")
	}
}
