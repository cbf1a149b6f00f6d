package regress

import "math"

// A double-double is an unevaluated sum hi + lo with |lo| ≤ half a unit in the
// last place of hi: about 32 decimal digits. The error-free transformations are
// those of Dekker 1971 (Numer Math 18:224-42) and Knuth (TAOCP 2, 4.2.2).
type doubleDouble struct{ hi, lo float64 }

// twoSum returns a + b and the rounding error of that sum.
func twoSum(a, b float64) (sum, err float64) {
	sum = a + b
	bb := sum - a
	return sum, (a - (sum - bb)) + (b - bb)
}

// quickTwoSum is twoSum for |a| ≥ |b|.
func quickTwoSum(a, b float64) (sum, err float64) {
	sum = a + b
	return sum, b - (sum - a)
}

// twoProduct returns a·b and its rounding error. math.FMA rounds once on every
// architecture, so the digits do not depend on the machine.
func twoProduct(a, b float64) (product, err float64) {
	product = float64(a * b)
	return product, math.FMA(a, b, -product)
}

func (a doubleDouble) add(b doubleDouble) doubleDouble {
	s, e := twoSum(a.hi, b.hi)
	t, f := twoSum(a.lo, b.lo)
	s, e = quickTwoSum(s, e+t)
	s, e = quickTwoSum(s, e+f)
	return doubleDouble{s, e}
}

func (a doubleDouble) addFloat(b float64) doubleDouble {
	s, e := twoSum(a.hi, b)
	s, e = quickTwoSum(s, e+a.lo)
	return doubleDouble{s, e}
}

func (a doubleDouble) mul(b doubleDouble) doubleDouble {
	p, e := twoProduct(a.hi, b.hi)
	e += float64(a.hi*b.lo) + float64(a.lo*b.hi)
	p, e = quickTwoSum(p, e)
	return doubleDouble{p, e}
}

func (a doubleDouble) mulFloat(b float64) doubleDouble {
	p, e := twoProduct(a.hi, b)
	e += float64(a.lo * b)
	p, e = quickTwoSum(p, e)
	return doubleDouble{p, e}
}

func (a doubleDouble) float() float64 { return a.hi + a.lo }
