package regress

import (
	"errors"
	"fmt"
	"math"
)

// simexSteps are the multiples of the error variance that are added.
func simexSteps() []float64 { return []float64{0.5, 1, 1.5, 2} }

// SIMEX corrects coefficients for measurement error by simulation and
// extrapolation (Cook and Stefanski 1994, J Am Stat Assoc 89:1314-28): refit
// returns coefficients and their variances with lambda times the error variance
// added, in the given repetition; lambda 0 is the fit as it is. The means over the
// repetitions are carried by a parabola to lambda = −1, where no error is left, and
// so is the difference of the mean variance and the variance between repetitions
// (Stefanski and Cook 1995, J Am Stat Assoc 90:1247-56; from memory). Where that
// difference ends below zero the error is NaN.
func SIMEX(refit func(lambda float64, repetition int) (coefficients, variances []float64, err error), repetitions int) (coefficients, se []float64, err error) {
	if repetitions < 2 {
		return nil, nil, fmt.Errorf("regress: %d repetitions; two are needed", repetitions)
	}
	b, v, err := refit(0, 0)
	if err != nil {
		return nil, nil, err
	}
	lambdas, means, spreads := []float64{0}, [][]float64{b}, [][]float64{v}
	for _, lambda := range simexSteps() {
		mean, between, within := make([]float64, len(b)), make([]float64, len(b)), make([]float64, len(b))
		var all [][]float64
		for r := range repetitions {
			once, variance, err := refit(lambda, r)
			if err != nil {
				return nil, nil, err
			}
			if len(once) != len(b) {
				return nil, nil, errors.New("regress: a repetition has other coefficients")
			}
			all = append(all, once)
			for j := range b {
				mean[j] += once[j] / float64(repetitions)
				within[j] += variance[j] / float64(repetitions)
			}
		}
		for _, once := range all {
			for j := range b {
				between[j] += float64((once[j]-mean[j])*(once[j]-mean[j])) / float64(repetitions-1)
			}
		}
		for j := range b {
			within[j] -= between[j]
		}
		lambdas, means, spreads = append(lambdas, lambda), append(means, mean), append(spreads, within)
	}
	coefficients, se = make([]float64, len(b)), make([]float64, len(b))
	for j := range b {
		if coefficients[j], err = extrapolated(lambdas, means, j); err != nil {
			return nil, nil, err
		}
		variance, err := extrapolated(lambdas, spreads, j)
		if err != nil {
			return nil, nil, err
		}
		se[j] = math.Sqrt(variance) // NaN where it is negative
	}
	return coefficients, se, nil
}

// extrapolated carries the j-th number by a parabola to lambda = −1.
func extrapolated(lambdas []float64, values [][]float64, j int) (float64, error) {
	y := make([]float64, len(lambdas))
	for i := range y {
		y[i] = values[i][j]
		if math.IsNaN(y[i]) {
			return math.NaN(), nil
		}
	}
	d := NewDesign(true)
	d.AddPolynomial("lambda", lambdas, 2)
	f, err := OLS(d, y, nil)
	if err != nil {
		return math.NaN(), err
	}
	return f.Coefficients[0] - f.Coefficients[1] + f.Coefficients[2], nil
}
