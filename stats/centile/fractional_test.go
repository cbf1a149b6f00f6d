package centile

import (
	"math"
	"math/rand/v2"
	"testing"

	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// diaz2018 is a published reference for 5 to 22 years (Diaz 2018, Int J Hypertens
// 2018:1469651): mean and SD are a + b·log10(age) + c·age, which is a fractional
// polynomial with powers 0 and 1.
func diaz2018(t testing.TB, variable string, power, shift float64) Fractional {
	t.Helper()
	part := func(part string) Polynomial {
		c := readWhere(t, "reference/diaz2018_child_young_adult_fp_equations.csv", map[string]string{"variable": variable, "part": part}, "a", "b_log10_age", "c_age")
		return Polynomial{
			FractionalPolynomial: regress.FractionalPolynomial{Powers: []float64{0, 1}, Scale: 1},
			Coefficients:         []float64{c[0][0], c[1][0] / math.Ln10, c[2][0]},
		}
	}
	return Fractional{Mean: part("mean"), SD: part("sd"), Power: power, Shift: shift, Ages: Ages{Lowest: 5, Highest: 22}}
}

// The published equations, written out. A median of 101 mmHg at 20 years is what
// shows that their logarithm is that of base 10.
func TestDiazEquations(t *testing.T) {
	pressure, index := diaz2018(t, "csbp", 0.26, 0), diaz2018(t, "aix", 0.5, 12.001)
	if median := pressure.Centile(20, 0.5); math.Abs(median-101) > 0.5 {
		t.Errorf("median central systolic pressure at 20 years: %.1f mmHg", median)
	}
	for _, age := range []float64{5, 9.5, 14, 22} {
		mean := 3.0581 + 0.2189*math.Log10(age) - 0.001044*age
		sd := -0.03919 + 0.1535*math.Log10(age) - 0.004564*age
		near(t, "P90 of pressure", pressure.Centile(age, 0.9), math.Pow(mean+1.2815515655446004*sd, 1/0.26), 1e-12)
		near(t, "z of 100 mmHg", pressure.Score(age, 100).Z, (math.Pow(100, 0.26)-mean)/sd, 1e-10)
		mean = 9.5226 - 6.1599*math.Log10(age) + 0.145*age
		sd = 1.388 - 0.8468*math.Log10(age) + 0.03212*age
		near(t, "P10 of the index", index.Centile(age, 0.1), math.Pow(mean-1.2815515655446004*sd, 2)-12.001, 1e-10)
		near(t, "z of −2 %", index.Score(age, -2).Z, (math.Sqrt(10.001)-mean)/sd, 1e-10)
	}
	if s := index.Score(14, -15); !math.IsNaN(s.Z) || s.Note != NoteNotDefined {
		t.Errorf("below the shift: %+v", s)
	}
	if s := pressure.Score(23, 100); !math.IsNaN(s.Z) || !math.IsNaN(s.Centile) || s.Note != NoteOutsideAges {
		t.Errorf("at 23 years: %+v", s)
	}
}

// Janner 2010 (Am J Hypertens 23:180-5): the mean augmentation index at a heart
// rate of 65 and 178 or 165 cm, at 25 to 75 years, as reckoned from the printed
// coefficients.
func TestJannerEquations(t *testing.T) {
	for sex, c := range map[string]struct {
		height float64
		want   []float64
	}{"male": {178, []float64{6, 11, 16, 20, 24, 28}}, "female": {165, []float64{14, 20, 25, 29, 32, 34}}} {
		b := readWhere(t, "reference/janner2010_aix_equations.csv", map[string]string{"sex": sex}, "b0", "b_age", "b_age2", "b_hr", "b_height")
		mean := Polynomial{
			FractionalPolynomial: regress.FractionalPolynomial{Powers: []float64{1, 2}, Scale: 1},
			Coefficients:         []float64{b[0][0] + 65*b[3][0] + c.height*b[4][0], b[1][0], b[2][0]},
		}
		for i, want := range c.want {
			if got := mean.At(25 + 10*float64(i)); math.Abs(got-want) > 0.51 {
				t.Errorf("%s, %d years: %.2f %%, want %g", sex, 25+10*i, got, want)
			}
		}
	}
}

// People drawn from the published equations: their centiles come back.
func TestFractionalRecovers(t *testing.T) {
	r := diaz2018(t, "csbp", 0.26, 0)
	random := rand.New(rand.NewPCG(4, 5))
	age, value := make([]float64, 20000), make([]float64, 20000)
	for i := range age {
		age[i] = 5 + 18*random.Float64()
		value[i] = r.Centile(age[i], stats.NormalProbability(random.NormFloat64()))
	}
	f, err := FitFractional(age, value, FractionalOptions{Power: 0.26})
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range []float64{7, 12, 18, 21} {
		for _, p := range []float64{0.05, 0.5, 0.95} {
			if got, want := f.Centile(a, p), r.Centile(a, p); math.Abs(got/want-1) > 0.01 {
				t.Errorf("%s at %g years: %.2f, want %.2f", LevelName(p), a, got, want)
			}
		}
	}
}

// The SD is √(π/2) times the mean absolute residual: with one SD throughout,
// what Altman 1993 starts from.
func TestFractionalStandardDeviation(t *testing.T) {
	age, value := make([]float64, 4000), make([]float64, 4000)
	for i := range age {
		age[i] = 20 + float64(i%60)
		value[i] = 40 + 5*stats.NormalQuantile((float64(i/60)+0.5)/67)
	}
	f, err := FitFractional(age, value, FractionalOptions{Power: 1})
	if err != nil {
		t.Fatal(err)
	}
	if mean, sd := f.At(50); math.Abs(mean-40) > 0.05 || math.Abs(sd-5) > 0.1 {
		t.Errorf("mean %.3f, SD %.3f", mean, sd)
	}
	b := f.CurveBands(50, 0.95)
	if !(b[0].Low < 40 && 40 < b[0].High) || !(b[1].Low < 5.05 && 4.95 < b[1].High) {
		t.Errorf("intervals %+v", b)
	}
}

func TestFractionalRefuses(t *testing.T) {
	age, value := cohort(200, 3)
	low := append([]float64(nil), value...)
	low[7] = -3
	if _, err := FitFractional(age, low, FractionalOptions{Power: 0}); err == nil {
		t.Error("the logarithm of a value below zero")
	}
	if _, err := FitFractional(age, low, FractionalOptions{Power: 1}); err != nil {
		t.Errorf("a value below zero as it is: %v", err)
	}
	if _, err := FitFractional(age, value, FractionalOptions{Power: -1}); err == nil {
		t.Error("a power below zero")
	}
	if _, err := FitFractional(make([]float64, 200), value, FractionalOptions{Power: 1}); err == nil {
		t.Error("people of one age")
	}
}
