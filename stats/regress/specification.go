package regress

import (
	"errors"
	"math"
)

// Why a test of the specification does not exist.
var (
	errWeighted = errors.New("regress: the test is not defined for a weighted fit")
	errNoCentre = errors.New("regress: RESET is computed for models with an intercept")
)

// BreuschPagan tests whether the squared residuals depend on the model's
// columns, in the form that does not need normal errors: N times the R² of the
// squared residuals (Koenker 1981, J Econometrics 17:107-12). It is a figure to
// report, never one to choose the errors by.
func (f *Fit) BreuschPagan() (Test, error) {
	test, _, err, _ := f.Specification()
	return test, err
}

// RESET tests whether squares and cubes of the fitted values add to the model
// (Ramsey 1969, J R Stat Soc B 31:350-71): an F test for a wrong form of the
// terms. It needs an intercept.
func (f *Fit) RESET() (Test, error) {
	_, test, _, err := f.Specification()
	return test, err
}

// Specification computes both tests in one pass over the rows: the columns are
// reduced together with what is added to them, the outcome and the squared
// residuals.
func (f *Fit) Specification() (breuschPagan, reset Test, breuschPaganError, resetError error) {
	if f.weights != nil {
		return Test{}, Test{}, errWeighted, errWeighted
	}
	centre, spread := f.fittedSpread()
	t := f.triangulate(f.active, f.scales, 4, func(from, to int, out [][]float64) {
		second, third, squares := out[0], out[1], out[3]
		copy(out[2], f.outcome[from:to])
		for i, e := range f.working[from:to] {
			z := ((f.outcome[from+i] - e) - centre) / spread
			second[i] = float64(z * z)
			third[i] = float64(second[i] * z)
			squares[i] = float64(e * e)
		}
	})
	breuschPagan = f.breuschPagan(t[f.Rank+3])
	if !f.Centred {
		return breuschPagan, Test{}, nil, errNoCentre
	}
	return breuschPagan, f.reset(t[:f.Rank+3]), nil, nil
}

// fittedSpread is mean and spread of the fitted values.
func (f *Fit) fittedSpread() (centre, spread float64) {
	for i, e := range f.working {
		centre += (f.outcome[i] - e) / float64(f.N)
	}
	return centre, math.Sqrt((f.TSS - f.RSS) / float64(f.N))
}

// breuschPagan reads the R² of the squared residuals off their coordinates: those
// of the fitted columns first, then what these leave.
func (f *Fit) breuschPagan(squares []float64) Test {
	constant := 0
	if f.Centred {
		constant = 1 // the first coordinate is along the intercept
	}
	explained, rest := norm(squares[constant:f.Rank]), norm(squares[f.Rank:])
	whole := math.Hypot(explained, rest)
	share := explained / whole
	statistic, df := float64(f.N)*float64(share*share), float64(f.Rank-constant)
	return Test{"constant variance", "breusch_pagan_koenker", statistic, df, math.NaN(), chiSquareTail(statistic, df)}
}

// reset reads the F test of the added powers off the triangle of the fitted
// columns, the powers and the outcome.
func (f *Fit) reset(t triangle) Test {
	test := Test{Name: "form of the terms", Method: "reset_fitted_2_3", Statistic: math.NaN(), DF2: math.NaN(), P: math.NaN()}
	active, reduced := t.ranked(nil)
	rank := len(active)
	test.DF1 = float64(rank - f.Rank)
	if df := f.N - rank; df > 0 {
		test.DF2 = float64(df)
	}
	if outcome := reduced[rank]; test.DF1 > 0 && test.DF2 > 0 {
		ratio := norm(outcome[f.Rank:rank]) / math.Abs(outcome[rank])
		test.Statistic = float64(ratio*ratio) * test.DF2 / test.DF1
		test.P = fTail(test.Statistic, test.DF1, test.DF2)
	}
	return test
}
