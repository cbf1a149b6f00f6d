package centile

import (
	"errors"
	"fmt"
	"math"

	"tonocohort/stats/regress"
)

// FractionalOptions say how a fractional-polynomial reference is fitted.
type FractionalOptions struct {
	Power float64 // of the transformation of the variable, 0 for its logarithm, 1 for none
	Shift float64 // added to the variable before the transformation
}

// FractionalFit is a fitted fractional-polynomial reference with what its bands
// need.
type FractionalFit struct {
	Fractional
	N          int
	covariance [][]float64 // of the coefficients of the mean, then those of the SD
}

// Terms of the polynomials: two for the mean, which bends, one for the SD.
const (
	meanTerms = 2
	sdTerms   = 1
)

// FitFractional fits mean and standard deviation over age. The mean is the
// fractional polynomial with two terms of least deviance by least squares; the SD
// is that with one term on the absolute residuals times √(π/2), whose mean is
// the SD where residuals are normal (Altman 1993). The mean is then fitted once
// more with weights 1/SD², and the SD once more to its residuals.
func FitFractional(age, value []float64, o FractionalOptions) (*FractionalFit, error) {
	if err := checkSample(age, value); err != nil {
		return nil, err
	}
	if !(o.Power >= 0) || math.IsInf(o.Power, 0) {
		return nil, fmt.Errorf("centile: a power of transformation is 0 or above, not %g", o.Power)
	}
	f := &FractionalFit{Fractional: Fractional{Power: o.Power, Shift: o.Shift}, N: len(value)}
	var err error
	if f.Ages, err = FindAges(age); err != nil {
		return nil, err
	}
	y, low := make([]float64, len(value)), 0
	for i, v := range value {
		if y[i] = f.transform(v); math.IsNaN(y[i]) {
			low++
		}
	}
	if low > 0 {
		return nil, fmt.Errorf("centile: %d of %d values are not above zero with the shift of %g", low, len(value), o.Shift)
	}
	var weights []float64
	for range 2 {
		residuals, err := f.fitMean(age, y, weights)
		if err != nil {
			return nil, err
		}
		if weights, err = f.fitSD(age, residuals); err != nil {
			return nil, err
		}
	}
	for _, year := range f.Ages.Years() {
		if mean, sd := f.At(f.Ages.OfYear(year)); !(sd > 0) || math.IsNaN(mean) {
			return nil, errors.New("centile: the standard deviation is not above zero at every age")
		}
	}
	f.covariance, err = f.sandwich(age, y)
	return f, err
}

// fitMean returns the residuals.
func (f *FractionalFit) fitMean(age, y, weights []float64) ([]float64, error) {
	var err error
	if f.Mean, err = fitPolynomial(age, y, weights, meanTerms); err != nil {
		return nil, err
	}
	mean, err := f.Mean.along(age)
	if err != nil {
		return nil, err
	}
	for i := range mean {
		mean[i] = y[i] - mean[i]
	}
	return mean, nil
}

// fitSD returns the weights that follow from the SD.
func (f *FractionalFit) fitSD(age, residuals []float64) ([]float64, error) {
	absolute := make([]float64, len(residuals))
	for i, r := range residuals {
		absolute[i] = math.Abs(r) * absoluteToSD
	}
	var err error
	if f.SD, err = fitPolynomial(age, absolute, nil, sdTerms); err != nil {
		return nil, err
	}
	sd, err := f.SD.along(age)
	if err != nil {
		return nil, err
	}
	for i, s := range sd {
		if !(s > 0) {
			return nil, errors.New("centile: the standard deviation is not above zero at every age")
		}
		sd[i] = 1 / float64(s*s)
	}
	return sd, nil
}

// absoluteToSD is √(π/2): the SD of a normal variable over its mean absolute
// deviation.
var absoluteToSD = math.Sqrt(math.Pi / 2)

// fitPolynomial picks the powers of least deviance and fits them.
func fitPolynomial(age, y, weights []float64, terms int) (Polynomial, error) {
	best, _, err := regress.SelectFractional(regress.NewDesign(true), "age", age, y, weights, terms)
	if err != nil {
		return Polynomial{}, err
	}
	d := regress.NewDesign(true)
	if err := d.AddFractional("age", age, best); err != nil {
		return Polynomial{}, err
	}
	fit, err := regress.OLS(d, y, weights)
	if err != nil {
		return Polynomial{}, err
	}
	if fit.Rank < len(fit.Coefficients) {
		return Polynomial{}, errors.New("centile: the ages are too few for a fractional polynomial")
	}
	return Polynomial{FractionalPolynomial: best, Coefficients: fit.Coefficients}, nil
}

// along evaluates the polynomial at many ages.
func (p Polynomial) along(age []float64) ([]float64, error) {
	columns, err := p.Columns(age)
	if err != nil {
		return nil, err
	}
	out := make([]float64, len(age))
	for i := range out {
		out[i] = p.Coefficients[0]
		for k, c := range columns {
			out[i] += float64(p.Coefficients[k+1] * c[i])
		}
	}
	return out, nil
}
