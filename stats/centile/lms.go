package centile

import (
	"math"

	"tonocohort/stats"
)

// LMS is a reference by three curves over age: the power L that makes the
// distribution normal, its median M and its coefficient of variation S, of the
// variable plus Shift (Cole and Green 1992). LogS is the natural logarithm of S.
type LMS struct {
	L, M, LogS Curve
	Shift      float64
	Ages       Ages
}

// At returns L, M and S at an age; NaN outside the fitted ages.
func (r LMS) At(age float64) (l, m, s float64) {
	x := r.Ages.Position(age)
	return r.L.At(x), r.M.At(x), math.Exp(r.LogS.At(x))
}

// Range returns the fitted ages.
func (r LMS) Range() Ages { return r.Ages }

// Centile returns the value below which the share p lies at an age.
func (r LMS) Centile(age, p float64) float64 {
	l, m, s := r.At(age)
	return LMSValue(l, m, s, stats.NormalQuantile(p)) - r.Shift
}

// Score returns where a value lies at an age.
func (r LMS) Score(age, value float64) Score {
	switch {
	case math.IsNaN(value):
		return noScore(NoteNoValue)
	case !r.Ages.Contains(age):
		return noScore(NoteOutsideAges)
	}
	l, m, s := r.At(age)
	return scoreOf(LMSScore(l, m, s, value+r.Shift))
}

// LMSScore returns the z-score of a value: ((value/m)^l − 1)/(l·s), and
// ln(value/m)/s for l = 0; NaN where value or m is not above zero.
func LMSScore(l, m, s, value float64) float64 {
	if !(value > 0) || !(m > 0) {
		return math.NaN()
	}
	u := math.Log(value / m)
	return float64(u*growth(float64(l*u))) / s
}

// LMSValue returns the value at a z-score, the inverse of LMSScore; NaN where
// the distribution does not reach so far.
func LMSValue(l, m, s, z float64) float64 {
	q := float64(s * z)
	t := float64(l * q)
	if !(t > -1) {
		return math.NaN()
	}
	return m * math.Exp(float64(q*slowing(t)))
}

// growth is (e^t − 1)/t.
func growth(t float64) float64 {
	if t == 0 {
		return 1
	}
	return math.Expm1(t) / t
}

// growthSlopes are the first two derivatives of growth. Near zero they are sums
// of t^k/(k! (k + 2)) and t^k/(k! (k + 3)), where the closed forms lose digits.
func growthSlopes(t float64) (first, second float64) {
	if math.Abs(t) > 1 {
		e, m := math.Exp(t), math.Expm1(t)
		return (float64(t*e) - m) / (t * t), (float64(t*t*e) - float64(2*t*e) + 2*m) / (t * t * t)
	}
	term := 1.0
	for k := 0.0; math.Abs(term) > 1e-18; k++ {
		first += term / (k + 2)
		second += term / (k + 3)
		term *= t / (k + 1)
	}
	return first, second
}

// slowing is ln(1 + t)/t.
func slowing(t float64) float64 {
	if t == 0 {
		return 1
	}
	return math.Log1p(t) / t
}

// slowingSlope is the derivative of slowing.
func slowingSlope(t float64) float64 {
	if math.Abs(t) > 0.1 {
		return (t/(1+t) - math.Log1p(t)) / (t * t)
	}
	sum, power := 0.0, 1.0
	for k := 1.0; math.Abs(power) > 1e-18; k++ {
		sum -= float64(power * k / (k + 1))
		power *= -t
	}
	return sum
}
