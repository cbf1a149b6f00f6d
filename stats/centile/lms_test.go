package centile

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/optimize"

	"tonocohort/stats"
)

// The worked example of the CDC growth charts of 2000: a boy of 9.5 months weighs
// 9.7 kg, which is z 0.207, the 58th centile; z −1.645 is 7.90 kg, the 3rd centile
// 7.7006244 and the 90th 10.9601722 kg.
func TestCDCWorkedExample(t *testing.T) {
	const l, m, s = -0.1600954, 9.476500305, 0.11218624
	near(t, "z of 9.7 kg", LMSScore(l, m, s, 9.7), 0.2073994118625263, 1e-12)
	near(t, "centile of 9.7 kg", 100*stats.NormalProbability(LMSScore(l, m, s, 9.7)), 58.215102905981155, 1e-12)
	near(t, "z of 8.2 kg", LMSScore(l, m, s, 8.2), -1.3047013993333993, 1e-12)
	near(t, "value at −1.645", LMSValue(l, m, s, -1.645), 7.900629150649941, 1e-12)
	near(t, "P3", LMSValue(l, m, s, stats.NormalQuantile(0.03)), 7.700624410711065, 1e-12)
	near(t, "P90", LMSValue(l, m, s, stats.NormalQuantile(0.90)), 10.960172248111832, 1e-12)
	near(t, "P3 as printed", LMSValue(l, m, s, stats.NormalQuantile(0.03)), 7.7006244, 1e-8)
	near(t, "P90 as printed", LMSValue(l, m, s, stats.NormalQuantile(0.90)), 10.9601722, 1e-8)
}

// z and centiles of R 4.2.2 from a table of L, M and S that is drawn by lines.
func TestLMSAgainstR(t *testing.T) {
	g := readGolden(t, "r07_lms_boot")
	q := readColumns(t, "golden/in/lms_q.csv", "age", "sex", "cpp")
	z, p := listAt(t, g, "lms", "z"), listAt(t, g, "lms", "p")
	shares, centiles := listAt(t, g, "lms", "centile_p"), listAt(t, g, "lms", "centiles_first20", "data_rowmajor")
	for i := range z {
		ref := readWhere(t, "golden/in/lms_ref.csv", map[string]string{"sex": fmt.Sprint(q[1][i])}, "age", "L", "M", "S")
		l, m, s := between(ref[0], ref[1], q[0][i]), between(ref[0], ref[2], q[0][i]), between(ref[0], ref[3], q[0][i])
		got := LMSScore(l, m, s, q[2][i])
		near(t, fmt.Sprintf("z of row %d", i), got, z[i], 1e-9)
		near(t, fmt.Sprintf("p of row %d", i), stats.NormalProbability(got), p[i], 1e-9)
		near(t, "there and back", LMSValue(l, m, s, got), q[2][i], 1e-12)
		for k, share := range shares {
			if i < 20 {
				near(t, fmt.Sprintf("centile %g of row %d", share, i), LMSValue(l, m, s, stats.NormalQuantile(share)), centiles[i*len(shares)+k], 1e-9)
			}
		}
	}
}

// Where a distribution ends there is no value, and no score below zero.
func TestLMSBeyondItsReach(t *testing.T) {
	for what, v := range map[string]float64{
		"value far out": LMSValue(-1, 10, 0.5, 3), "score of zero": LMSScore(0.3, 10, 0.1, 0), "score below zero": LMSScore(0.3, 10, 0.1, -4),
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s: %g", what, v)
		}
	}
	near(t, "no power", LMSScore(0, 10, 0.2, 12), math.Log(1.2)/0.2, 1e-15)
	near(t, "hardly a power", LMSScore(1e-9, 10, 0.2, 12), math.Log(1.2)/0.2, 1e-9)
}

// The derivatives are those of the likelihood, by differences.
func TestLMSDerivatives(t *testing.T) {
	for _, c := range [][4]float64{{3.2, 0.4, 30, -1.6}, {3.9, -1.2, 30, -1.2}, {3.3, 0, 28, -1.5}, {2.2, 2.5, 40, -0.7}} {
		at := func(v [3]float64) lmsTerms { return termsAt(c[0], v[0], v[1], v[2]) }
		centre := [3]float64{c[1], c[2], c[3]}
		exact := at(centre)
		steps := [3]float64{1e-5, 1e-4, 1e-5}
		moved := func(k int, sign float64) lmsTerms {
			v := centre
			v[k] += sign * steps[k]
			return at(v)
		}
		for k := range 3 {
			slope := (moved(k, 1).likelihood - moved(k, -1).likelihood) / (2 * steps[k])
			if d := math.Abs(slope - exact.score[k]); d > 1e-6*(1+math.Abs(slope)) {
				t.Errorf("%v: score %d is %g, by differences %g", c, k, exact.score[k], slope)
			}
			for j, pair := range pairs {
				if pair[0] != k {
					continue
				}
				bend := -(moved(k, 1).score[pair[1]] - moved(k, -1).score[pair[1]]) / (2 * steps[k])
				if d := math.Abs(bend - exact.observed[j]); d > 1e-6*(1+math.Abs(bend)) {
					t.Errorf("%v: second derivative %v is %g, by differences %g", c, pair, exact.observed[j], bend)
				}
			}
		}
	}
}

// Constant L and S and a straight M are plain maximum likelihood: a general
// optimiser on the likelihood as a textbook writes it finds the same. VGAM 1.1-7
// (lms.bcn) stops a little below that maximum.
func TestLMSIsTheMaximum(t *testing.T) {
	c := readColumns(t, "golden/in/cohort.csv", "age", "cpp")
	age, value := c[0], c[1]
	f, err := FitLMS(age, value, LMSOptions{DF: [3]float64{1, 2, 1}})
	if err != nil {
		t.Fatal(err)
	}
	minus := func(v []float64) float64 {
		total := 0.0
		for i, y := range value {
			m, s := v[1]+v[2]*age[i], math.Exp(v[3])
			if !(m > 0) {
				return math.Inf(1)
			}
			z := (math.Pow(y/m, v[0]) - 1) / (v[0] * s)
			total -= v[0]*math.Log(y/m) - math.Log(s) - z*z/2 - math.Log(y) - math.Log(2*math.Pi)/2
		}
		return total
	}
	best, err := optimize.Minimize(optimize.Problem{Func: minus}, []float64{0.5, 11, 0.5, -1.7}, nil, &optimize.NelderMead{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "log-likelihood", f.LogLikelihood, -best.F, 1e-9)
	slope := f.M.At(51) - f.M.At(50)
	for k, got := range []float64{f.L.Values[0], f.M.At(0), slope, f.LogS.Values[0]} {
		near(t, fmt.Sprintf("parameter %d", k), got, best.X[k], 2e-3) // the optimiser's own step
	}
	vgam := listAt(t, map[string]any{"c": values(readGolden(t, "r07_lms_boot")["vglm_lms_bcn"].(map[string]any)["coef"])}, "c")
	below := -minus([]float64{vgam[0], vgam[1], vgam[3], vgam[2]})
	if !(below < f.LogLikelihood && f.LogLikelihood-below < 0.5) {
		t.Errorf("VGAM's coefficients have log-likelihood %g, ours %g", below, f.LogLikelihood)
	}
}

// values lists named coefficients in VGAM's order: L, M at zero, ln S, slope of M.
func values(named any) []any {
	m := named.(map[string]any)
	return []any{m["(Intercept):1"], m["(Intercept):2"], m["(Intercept):3"], m["age"]}
}

// Many people from a known distribution: the curves come back, with the declared
// degrees of freedom.
func TestLMSRecovers(t *testing.T) {
	age, value := cohort(20000, 1)
	f, err := FitLMS(age, value, LMSOptions{DF: [3]float64{2, 6, 3}})
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range []float64{25, 40, 55, 70} {
		l, m, s := f.At(a)
		if math.Abs(l) > 0.15 || math.Abs(m/truth(a, 0.5)-1) > 0.01 || math.Abs(s/(0.17+0.0004*a)-1) > 0.04 {
			t.Errorf("at %g years: L %.3f, M %.2f, S %.4f", a, l, m, s)
		}
	}
	for k, want := range []float64{2, 6, 3} {
		near(t, "degrees of freedom", f.DF[k], want, 1e-6)
	}
}

// A change of unit changes L and S not at all and M by its factor; a shift is
// taken off again.
func TestLMSUnitsAndShift(t *testing.T) {
	age, value := cohort(400, 2)
	scaled, shifted := make([]float64, len(value)), make([]float64, len(value))
	for i, v := range value {
		scaled[i], shifted[i] = v*0.1333224, v-12
	}
	o := LMSOptions{DF: DefaultLMSDF()}
	f, _ := FitLMS(age, value, o)
	g, _ := FitLMS(age, scaled, o)
	o.Shift = 12
	h, err := FitLMS(age, shifted, o)
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range []float64{20, 44.4, 79} {
		l, m, s := f.At(a)
		gl, gm, gs := g.At(a)
		if math.Abs(l-gl) > 1e-5 || math.Abs(gm/m/0.1333224-1) > 1e-6 || math.Abs(gs/s-1) > 1e-5 {
			t.Errorf("in kPa at %g: L %g and %g, M %g and %g, S %g and %g", a, l, gl, m, gm, s, gs)
		}
		near(t, "shifted P5", h.Centile(a, 0.05), f.Centile(a, 0.05)-12, 1e-6)
		near(t, "shifted score", h.Score(a, 20).Z, f.Score(a, 32).Z, 1e-6)
	}
}

func TestLMSRefuses(t *testing.T) {
	age, value := cohort(200, 3)
	low := append([]float64(nil), value...)
	low[7] = -3
	for what, c := range map[string]struct {
		value []float64
		df    [3]float64
	}{
		"a value below zero":      {low, DefaultLMSDF()},
		"less than a line":        {value, [3]float64{1.5, 5, 3}},
		"more than is smooth":     {value, [3]float64{2, 50, 3}},
		"no degree of freedom":    {value, [3]float64{0, 5, 3}},
		"as many values as ages":  {value[:10], DefaultLMSDF()},
		"all values on one level": {make([]float64, 200), DefaultLMSDF()},
	} {
		if _, err := FitLMS(age, c.value, LMSOptions{DF: c.df}); err == nil {
			t.Errorf("%s: fitted", what)
		}
	}
	one := make([]float64, 200)
	if _, err := FitLMS(one, value, LMSOptions{DF: DefaultLMSDF()}); err == nil {
		t.Error("people of one age: fitted")
	}
}
