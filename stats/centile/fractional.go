package centile

import (
	"math"

	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// Fractional is a reference by a mean and a standard deviation over age, each a
// fractional polynomial, of the transformed variable: (value + Shift)^Power, its
// natural logarithm for Power 0. The transformed variable is normal at each age.
type Fractional struct {
	Mean, SD Polynomial
	Power    float64 // 0 or above; 1 leaves the variable as it is
	Shift    float64 // added before the transformation
	Ages     Ages
}

// Polynomial is a fractional polynomial with its coefficients, the constant
// first.
type Polynomial struct {
	regress.FractionalPolynomial
	Coefficients []float64
}

// At returns the polynomial at x; NaN where it is not defined.
func (p Polynomial) At(x float64) float64 {
	terms := p.terms(x)
	if terms == nil {
		return math.NaN()
	}
	sum := 0.0
	for k, b := range p.Coefficients {
		sum += float64(b * terms[k])
	}
	return sum
}

// terms are those of the polynomial at x, the constant first; nil where they are
// not defined.
func (p Polynomial) terms(x float64) []float64 {
	columns, err := p.Columns([]float64{x})
	if err != nil || math.IsNaN(x) {
		return nil
	}
	terms := []float64{1}
	for _, c := range columns {
		terms = append(terms, c[0])
	}
	return terms
}

// Range returns the fitted ages.
func (r Fractional) Range() Ages { return r.Ages }

// At returns mean and standard deviation of the transformed variable at an age;
// NaN outside the fitted ages.
func (r Fractional) At(age float64) (mean, sd float64) {
	x := r.Ages.Position(age)
	return r.Mean.At(x), r.SD.At(x)
}

// Centile returns the value below which the share p lies at an age.
func (r Fractional) Centile(age, p float64) float64 {
	mean, sd := r.At(age)
	if !(sd > 0) {
		return math.NaN()
	}
	return r.back(mean + float64(stats.NormalQuantile(p)*sd))
}

// Score returns where a value lies at an age.
func (r Fractional) Score(age, value float64) Score {
	switch {
	case math.IsNaN(value):
		return noScore(NoteNoValue)
	case !r.Ages.Contains(age):
		return noScore(NoteOutsideAges)
	}
	mean, sd := r.At(age)
	if !(sd > 0) {
		return noScore(NoteNotDefined)
	}
	return scoreOf((r.transform(value) - mean) / sd)
}

// transform is NaN where the power is not 1 and the shifted value not above zero.
func (r Fractional) transform(value float64) float64 {
	v := value + r.Shift
	switch {
	case r.Power == 1:
		return v
	case !(v > 0):
		return math.NaN()
	case r.Power == 0:
		return math.Log(v)
	}
	return math.Pow(v, r.Power)
}

// back undoes transform.
func (r Fractional) back(t float64) float64 {
	switch {
	case r.Power == 1:
		return t - r.Shift
	case r.Power == 0:
		return math.Exp(t) - r.Shift
	case t < 0:
		return math.NaN()
	}
	return math.Pow(t, 1/r.Power) - r.Shift
}
