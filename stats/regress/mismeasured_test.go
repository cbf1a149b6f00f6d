package regress

import (
	"math"
	"math/rand/v2"
	"testing"

	"tonocohort/testdata"
)

// With one column and equal variances the corrected slope is (Sxy − nc)/(Sxx − nv)
// (Fuller 1987, 1.2.3, without its small-sample term), the naive one over the
// reliability where nothing is shared.
func TestCalibrateOneColumn(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6, 7, 8}
	y := []float64{2.1, 3.9, 6.2, 7.8, 10.1, 12.2, 13.8, 16.1}
	f := mustOLS(t, Columns(true, []string{"x"}, [][]float64{x}), y, nil)
	variance, covariance := make([]float64, 8), make([]float64, 8)
	for i := range variance {
		variance[i], covariance[i] = 0.5, 0.3
	}
	c, err := f.Calibrate(ErrorsInColumn{Column: 1, Variance: variance}, nil)
	if err != nil {
		t.Fatal(err)
	}
	const sxx = 42.0
	near(t, "reliability", c.Reliability, 1-8*0.5/sxx, 1e-12)
	near(t, "slope", c.Coefficients[1], f.Coefficients[1]/(1-8*0.5/sxx), 1e-12)
	var mean float64
	for _, v := range y {
		mean += v / 8
	}
	near(t, "intercept", c.Coefficients[0], mean-4.5*c.Coefficients[1], 1e-12)
	shared, err := f.Calibrate(ErrorsInColumn{Column: 1, Variance: variance, Covariance: covariance}, nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope with shared error", shared.Coefficients[1], (f.Coefficients[1]*sxx-8*0.3)/(sxx-8*0.5), 1e-12)
	none, err := f.Calibrate(ErrorsInColumn{Column: 1, Variance: make([]float64, 8)}, nil)
	if err != nil {
		t.Fatal(err)
	}
	hc1 := mustCovariance(t, f, HC1)
	for j := range none.Coefficients {
		near(t, "no error", none.Coefficients[j], f.Coefficients[j], 1e-12)
		near(t, "its spread is HC1", none.Matrix[j][j], hc1.Matrix[j][j], 1e-10)
	}
	for i := range variance {
		variance[i] = 6
	}
	if _, err := f.Calibrate(ErrorsInColumn{Column: 1, Variance: variance}, nil); err == nil {
		t.Error("an error larger than the column was corrected for")
	}
}

// Internal, not evidence from outside: the error is unequal between rows and
// shared with the outcome. Least squares misses the slope; both corrections find
// it, and their intervals cover. TONOCOHORT_COVERAGE runs more samples, with narrower
// limits.
func TestCorrectionsCover(t *testing.T) {
	const n = 400
	count, full := testdata.Replicates(t, 100)
	samples, slack := float64(count), 3.5
	if full {
		slack = 3
	}
	var naive, calibrated, simulated, coveredC, coveredS float64
	for s := range count {
		random := rand.New(rand.NewPCG(uint64(s), 5))
		w, z, y := make([]float64, n), make([]float64, n), make([]float64, n)
		variance, covariance := make([]float64, n), make([]float64, n)
		for i := range n {
			z[i] = random.NormFloat64()
			x := 0.5*z[i] + random.NormFloat64()
			sd := 0.3 + 0.4*random.Float64()
			u := sd * random.NormFloat64()
			variance[i], covariance[i] = sd*sd, 0.6*sd*sd
			w[i] = x + u
			y[i] = 1 + x - 0.5*z[i] + 0.6*u + random.NormFloat64()
		}
		f := mustOLS(t, Columns(true, []string{"w", "z"}, [][]float64{w, z}), y, nil)
		naive += f.Coefficients[1] / samples
		c, err := f.Calibrate(ErrorsInColumn{Column: 1, Variance: variance, Covariance: covariance}, nil)
		if err != nil {
			t.Fatal(err)
		}
		row := c.Table(f.Names, 0.95)[1]
		calibrated += row.Estimate / samples
		if row.Low <= 1 && 1 <= row.High {
			coveredC += 1 / samples
		}
		b, se, err := SIMEX(func(lambda float64, repetition int) ([]float64, []float64, error) {
			noise := rand.New(rand.NewPCG(uint64(s), 1000+uint64(repetition)))
			w2, y2 := make([]float64, n), make([]float64, n)
			for i := range n {
				u := math.Sqrt(lambda*variance[i]) * noise.NormFloat64()
				w2[i], y2[i] = w[i]+u, y[i]+0.6*u
			}
			g := mustOLS(t, Columns(true, nil, [][]float64{w2, z}), y2, nil)
			v := mustCovariance(t, g, HC3)
			return g.Coefficients, []float64{v.Matrix[0][0], v.Matrix[1][1], v.Matrix[2][2]}, nil
		}, 20)
		if err != nil {
			t.Fatal(err)
		}
		simulated += b[1] / samples
		if math.Abs(b[1]-1) <= 1.96*se[1] {
			coveredS += 1 / samples
		}
	}
	t.Logf("naive %.3f, calibrated %.3f (coverage %.3f), SIMEX %.3f (coverage %.3f)", naive, calibrated, coveredC, simulated, coveredS)
	if math.Abs(naive-1) < 0.05 {
		t.Errorf("least squares gives %.3f: the test shows nothing", naive)
	}
	if math.Abs(calibrated-1) > 0.02 || math.Abs(simulated-1) > 0.02 {
		t.Errorf("calibrated %.3f, SIMEX %.3f, truth 1", calibrated, simulated)
	}
	// Sandwich and normal quantile leave a point at 400 rows.
	low := 0.94 - slack*math.Sqrt(0.95*0.05/samples)
	if coveredC < low || coveredS < low {
		t.Errorf("coverage %.3f and %.3f", coveredC, coveredS)
	}
}

// What is a + b/(c + x) is carried exactly; a straight line nearly so.
func TestRationalExtrapolation(t *testing.T) {
	x := []float64{0, 0.5, 1, 1.5, 2}
	for _, c := range []float64{1.1, 3, 40} {
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = 2 - 7/(c+v)
		}
		value, pole := rationalAt(x, y, -1)
		near(t, "curve", value, 2-7/(c-1), 1e-6)
		near(t, "pole", pole, c, 1e-4)
		for i, v := range x {
			y[i] = 2 - 7/(c+v) + 3/((c+v)*(c+v))
		}
		near(t, "its square", squaredAt(x, y, -1, c), 2-7/(c-1)+3/((c-1)*(c-1)), 1e-6)
	}
	line, _ := rationalAt(x, []float64{5, 6, 7, 8, 9}, -1)
	near(t, "line", line, 3, 0.02)
	level, _ := rationalAt(x, []float64{5, 5, 5, 5, 5}, -1)
	near(t, "level", level, 5, 1e-12)
}
