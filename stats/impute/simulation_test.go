package impute

import (
	"math"
	"math/rand/v2"
	"testing"

	"tonocohort/stats/regress"
	"tonocohort/testdata"
)

// Internal, not evidence from outside: values missing at random given what is
// observed. Complete rows give a biased slope; imputation must not, and its
// nominal 95 % intervals must cover. TONOCOHORT_COVERAGE runs many more samples, with
// narrower limits. Matching takes its values from few donors where most are
// missing, which the limits allow for.
func TestImputationCoversUnderMissingAtRandom(t *testing.T) {
	samples, full := testdata.Replicates(t, 120)
	slack := 4.0
	if full {
		slack = 3
	}
	for _, method := range []string{Normal, PredictiveMeanMatching} {
		truth := []float64{1, 0.5, -0.8, 0.6}
		covered, sum, square := make([]float64, 4), make([]float64, 4), make([]float64, 4)
		var completeCase float64
		for s := range samples {
			x, y := missingAtRandom(rand.New(rand.NewPCG(uint64(s), 77)), truth)
			completeCase += completeSlope(t, x, y) / float64(samples)
			variables := []Variable{{Name: "x1", Values: x[0]}, {Name: "x2", Values: x[1], Method: method}, {Name: "x3", Values: x[2], Levels: 2, Method: Logistic}, {Name: "y", Values: y}}
			got, err := ChainedEquations(variables, nil, Settings{Imputations: 5, Iterations: 5, Stream: named(uint64(s))})
			if err != nil {
				t.Fatal(err)
			}
			for j, p := range pooledFit(t, got, y) {
				sum[j] += p.Estimate - truth[j]
				square[j] += (p.Estimate - truth[j]) * (p.Estimate - truth[j])
				if p.Low <= truth[j] && truth[j] <= p.High {
					covered[j]++
				}
			}
		}
		n := float64(samples)
		if bias := math.Abs(completeCase - truth[2]); bias < 0.05 {
			t.Errorf("the slope of the complete rows is off by %.3f only: the test shows nothing", bias)
		}
		for j := range truth {
			bias, spread := sum[j]/n, math.Sqrt(square[j]/n)
			coverage, se := covered[j]/n, math.Sqrt(0.95*0.05/n)
			t.Logf("%s, coefficient %d: bias %+.4f (spread %.4f), coverage %.3f", method, j, bias, spread, coverage)
			few := 0.0
			if method == PredictiveMeanMatching {
				few = 0.2
			}
			if math.Abs(bias) > slack*spread/math.Sqrt(n)+(0.05+few)*spread {
				t.Errorf("%s, coefficient %d: bias %.4f of spread %.4f", method, j, bias, spread)
			}
			if coverage < 0.95-slack*se-0.01-few/10 || coverage > 0.95+slack*se+0.01 {
				t.Errorf("%s, coefficient %d: coverage %.3f", method, j, coverage)
			}
		}
	}
}

// missingAtRandom draws 300 rows of y on x1, x2 and x3; x2 and x3 are missing
// more often where y is high.
func missingAtRandom(random *rand.Rand, truth []float64) (x [3][]float64, y []float64) {
	for range 300 {
		x1 := random.NormFloat64()
		x2 := 0.5*x1 + random.NormFloat64()
		x3 := 0.0
		if random.Float64() < 1/(1+math.Exp(-x1)) {
			x3 = 1
		}
		v := truth[0] + truth[1]*x1 + truth[2]*x2 + truth[3]*x3 + random.NormFloat64()
		if random.Float64() < 1/(1+math.Exp(1-0.8*(v-1))) {
			x2 = math.NaN()
		}
		if random.Float64() < 1/(1+math.Exp(2-(v-1))) {
			x3 = math.NaN()
		}
		x[0], x[1], x[2], y = append(x[0], x1), append(x[1], x2), append(x[2], x3), append(y, v)
	}
	return x, y
}

// completeSlope is the slope of x2 among the rows that lack nothing.
func completeSlope(t *testing.T, x [3][]float64, y []float64) float64 {
	t.Helper()
	var kept [3][]float64
	var outcome []float64
	for i := range y {
		if !math.IsNaN(x[1][i]) && !math.IsNaN(x[2][i]) {
			for k := range kept {
				kept[k] = append(kept[k], x[k][i])
			}
			outcome = append(outcome, y[i])
		}
	}
	fit, err := regress.OLS(regress.Columns(true, nil, kept[:]), outcome, nil)
	if err != nil {
		t.Fatal(err)
	}
	return fit.Coefficients[2]
}

// pooledFit fits y on the three completed variables and pools.
func pooledFit(t *testing.T, got *Imputed, y []float64) []Pooled {
	t.Helper()
	estimates, variances := make([][]float64, 4), make([][]float64, 4)
	for i := range got.Copies() {
		copied := got.Copy(i)
		fit, err := regress.OLS(regress.Columns(true, nil, copied[:3]), y, nil)
		if err != nil {
			t.Fatal(err)
		}
		c, err := fit.Covariance(regress.Classical)
		if err != nil {
			t.Fatal(err)
		}
		for j := range estimates {
			estimates[j], variances[j] = append(estimates[j], fit.Coefficients[j]), append(variances[j], c.Matrix[j][j])
		}
	}
	out := make([]Pooled, 4)
	for j := range out {
		var err error
		if out[j], err = Pool(estimates[j], variances[j], float64(len(y)-4), 0.95); err != nil {
			t.Fatal(err)
		}
	}
	return out
}
