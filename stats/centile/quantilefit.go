package centile

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// QuantileOptions say how curves of quantile regression are fitted.
type QuantileOptions struct {
	Levels []float64 // shares below, ascending
	DF     int       // columns of the natural spline beside the constant; 0: DefaultQuantileDF
}

// QuantileFit is a fitted reference by quantile regression with what its bands
// need.
type QuantileFit struct {
	Quantiles
	N         int
	DF        int
	NonUnique []float64 // levels at which other curves are as good

	design *regress.Design
	basis  basis
	value  []float64
	spread mat.Cholesky // of the products of the columns
}

// DefaultQuantileDF grows with the number of people, so that neither the bias of
// few columns nor the noise of many outweighs the other: 3 below 1000, 4 below
// 10,000, else 5. Own choice; with it bands cover as they say (see the tests).
func DefaultQuantileDF(n int) int {
	switch {
	case n < 1000:
		return 3
	case n < 10000:
		return 4
	}
	return 5
}

// FitQuantiles fits a curve for each level by exact quantile regression on a
// natural cubic spline of age with knots at the ends and at equal quantiles of
// age, rounded to whole years.
func FitQuantiles(age, value []float64, o QuantileOptions) (*QuantileFit, error) {
	if err := checkSample(age, value); err != nil {
		return nil, err
	}
	if err := checkLevels(o.Levels); err != nil {
		return nil, err
	}
	f := &QuantileFit{N: len(value), DF: o.DF, value: value}
	f.Levels = slices.Clone(o.Levels)
	if f.DF == 0 {
		f.DF = DefaultQuantileDF(f.N)
	}
	var err error
	if f.Ages, err = FindAges(age); err != nil {
		return nil, err
	}
	knots, err := f.knots(age)
	if err != nil {
		return nil, err
	}
	f.basis = newBasis(knots)
	f.design = f.columns(age)
	if err := f.gather(age); err != nil {
		return nil, err
	}
	for _, level := range o.Levels {
		c, unique, err := f.curve(level)
		if err != nil {
			return nil, err
		}
		if !unique {
			f.NonUnique = append(f.NonUnique, level)
		}
		f.Curves = append(f.Curves, c)
	}
	return f, nil
}

// knots places the outer ones at the ends of the fitted ages and the others at
// equal quantiles (type 7) of age, rounded to whole years.
func (f *QuantileFit) knots(age []float64) ([]float64, error) {
	low, high := f.Ages.span()
	sorted := slices.Sorted(slices.Values(age))
	knots := []float64{low}
	for k := 1; k < f.DF; k++ {
		at := math.Round(stats.Quantile(sorted, float64(k)/float64(f.DF), stats.ModePositions))
		if at > knots[len(knots)-1] && at < high {
			knots = append(knots, at)
		}
	}
	knots = append(knots, high)
	if len(knots) < f.DF+1 || f.DF < 1 || f.N <= 2*(f.DF+1) {
		return nil, fmt.Errorf("centile: %d people over ages %g to %g are too few for a spline with %d degrees of freedom", f.N, low, high, f.DF)
	}
	return knots, nil
}

// columns are the curves of the knots along the ages: the coefficients of a
// regression on them are the values at the knots.
func (f *QuantileFit) columns(age []float64) *regress.Design {
	k := len(f.basis.knots)
	columns, names := newMatrix(k, len(age)), make([]string, k)
	for j, knot := range f.basis.knots {
		names[j] = fmt.Sprintf("at %g", knot)
	}
	for i, x := range age {
		for j, w := range f.basis.weights(x) {
			columns[j][i] = w
		}
	}
	return regress.Columns(false, names, columns)
}

// gather sums the products of the columns.
func (f *QuantileFit) gather(age []float64) error {
	r := newRows(f.basis, age)
	one := make([]float64, len(age))
	for i := range one {
		one[i] = 1
	}
	k := len(f.basis.knots)
	sum := mat.NewSymDense(k, nil)
	for i, row := range products(r, r, one) {
		for j := i; j < k; j++ {
			sum.SetSym(i, j, row[j])
		}
	}
	if !f.spread.Factorize(sum) {
		return errIll
	}
	return nil
}

// curve fits one level; unique is false where other curves are as good.
func (f *QuantileFit) curve(level float64) (c Curve, unique bool, err error) {
	fit, err := regress.Quantile(f.design, f.value, nil, level)
	if err != nil {
		return Curve{}, false, err
	}
	if fit.Rank < len(f.basis.knots) {
		return Curve{}, false, errIll
	}
	c, err = NewCurve(f.basis.knots, fit.Coefficients)
	return c, fit.Unique, err
}
