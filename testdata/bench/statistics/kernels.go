package main

import (
	"fmt"
	"math/rand/v2"

	"tonocohort/stats/impute"
	"tonocohort/stats/regress"
)

// kernel is a task of the packages of statistics alone, on columns in memory.
type kernel struct {
	columns []string // that it reads
	work    func(c columns) (string, error)
}

// others are the predictors but age.
var others = []string{"sex", "height", "bmi", "hr", "map", "smoker", "diabetes", "glucose", "ldl", "egfr", "med"}

// imputed are the columns of the imputation, outcome last.
var imputed = []string{"age", "sex", "height", "bmi_m", "hr", "map", "smoker", "diabetes", "glucose_m", "ldl_m", "egfr_m", "med", "cpp"}

var kernels = map[string]kernel{
	"hc3_kernel":    {append([]string{"cpp", "age"}, others...), leastSquares},
	"median_kernel": {append([]string{"cpp", "age"}, others...), median},
	"impute_kernel": {imputed, imputation},
}

// leastSquares is the outcome on age, age² and eleven others, with HC3 errors.
func leastSquares(c columns) (string, error) {
	d := regress.NewDesign(true)
	d.AddPolynomial("age", c["age"], 2)
	for _, name := range others {
		d.Add(name, c[name])
	}
	f, err := regress.OLS(d, c["cpp"], nil)
	if err != nil {
		return "", err
	}
	v, err := f.Covariance(regress.HC3)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%.10g %.10g", f.Coefficients[4], v.SE()[4]), nil
}

// median is the median of the outcome on a natural spline of age with five
// columns and eleven others, with errors by local density.
func median(c columns) (string, error) {
	s, err := regress.NewNaturalSpline(c["age"], 5)
	if err != nil {
		return "", err
	}
	d := regress.NewDesign(true)
	d.AddSpline("age", c["age"], s)
	for _, name := range others {
		d.Add(name, c[name])
	}
	f, err := regress.Quantile(d, c["cpp"], nil, 0.5)
	if err != nil {
		return "", err
	}
	v, err := f.Covariance(regress.QuantileNID)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%.8g %.8g", f.Coefficients[7], v.SE()[7]), nil
}

// imputation is five copies of five iterations by predictive mean matching, a
// linear model of each, and Rubin's rules.
func imputation(c columns) (string, error) {
	variables := make([]impute.Variable, len(imputed))
	for i, name := range imputed {
		variables[i] = impute.Variable{Name: name, Values: c[name], Method: impute.PredictiveMeanMatching}
	}
	got, err := impute.ChainedEquations(variables, nil, impute.Settings{Imputations: 5, Iterations: 5,
		Stream: func(copy int, name string) *rand.Rand { return rand.New(rand.NewPCG(uint64(copy), uint64(len(name)))) }})
	if err != nil {
		return "", err
	}
	var estimates, variances []float64
	df := 0.0
	for i := range got.Copies() {
		copied := got.Copy(i)
		f, err := regress.OLS(regress.Columns(true, imputed[:12], copied[:12]), copied[12], nil)
		if err != nil {
			return "", err
		}
		v, err := f.Covariance(regress.Classical)
		if err != nil {
			return "", err
		}
		f.DropRows()
		estimates, variances, df = append(estimates, f.Coefficients[4]), append(variances, v.Matrix[4][4]), float64(f.DF)
	}
	p, err := impute.Pool(estimates, variances, df, 0.95)
	return fmt.Sprintf("%.4g %.4g", p.Estimate, p.SE), err
}
