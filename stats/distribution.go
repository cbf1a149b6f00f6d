package stats

import (
	"math"
	"sync/atomic"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// manyDegrees is where the expansion of the t quantile is exact to the last
// digits and the inverse of the incomplete beta function no longer is: that one
// loses as many digits as the degrees of freedom have (measured: 9 correct
// digits left at a million).
const manyDegrees = 1000

// NormalQuantile returns the p-quantile of the standard normal distribution.
func NormalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// NormalProbability returns the probability of a value of the standard normal
// distribution below z, to full relative precision in both tails.
func NormalProbability(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// studentQuantile is a quantile of Student's t that was worked out.
type studentQuantile struct{ p, degrees, t float64 }

// lastStudent is the last one: the band of a curve asks for the same one at each of
// its points, and the inverse of the incomplete beta function takes longest in it.
var lastStudent atomic.Pointer[studentQuantile]

// StudentQuantile returns the p-quantile of Student's t with the given degrees
// of freedom, which need not be whole; NaN where degrees is not above zero.
// From 1000 degrees of freedom on it is the expansion of Abramowitz and Stegun
// 1964, 26.7.5.
func StudentQuantile(p, degrees float64) float64 {
	switch {
	case !(degrees > 0) || !(p > 0 && p < 1):
		return math.NaN()
	case degrees < manyDegrees:
		last := lastStudent.Load()
		if last == nil || last.p != p || last.degrees != degrees {
			last = &studentQuantile{p, degrees, distuv.StudentsT{Sigma: 1, Nu: degrees}.Quantile(p)}
			lastStudent.Store(last)
		}
		return last.t
	}
	x := NormalQuantile(p)
	y := float64(x * x)
	g1 := float64(x * (y + 1) / 4)
	g2 := x * (float64((float64(5*y)+16)*y) + 3) / 96
	g3 := x * (float64((float64((float64(3*y)+19)*y)+17)*y) - 15) / 384
	g4 := x * (float64((float64((float64((float64(79*y)+776)*y)+1482)*y)-1920)*y) - 945) / 92160
	return x + (g1+(g2+(g3+g4/degrees)/degrees)/degrees)/degrees
}

// StudentTail returns the two-sided probability of a value of Student's t at
// least as far from zero as t.
func StudentTail(t, degrees float64) float64 {
	if math.IsNaN(t) || !(degrees > 0) {
		return math.NaN()
	}
	return 2 * distuv.StudentsT{Sigma: 1, Nu: degrees}.Survival(math.Abs(t))
}

// ChiSquareQuantile returns the p-quantile of the chi-square distribution.
func ChiSquareQuantile(p, degrees float64) float64 {
	if !(degrees > 0) || !(p > 0 && p < 1) {
		return math.NaN()
	}
	return distuv.ChiSquared{K: degrees}.Quantile(p)
}

// ChiSquareTail returns the probability of a value of the chi-square distribution
// at least as large as x; NaN where degrees is not above zero.
func ChiSquareTail(x, degrees float64) float64 {
	if math.IsNaN(x) || !(degrees > 0) {
		return math.NaN()
	}
	return mathext.GammaIncRegComp(degrees/2, math.Max(x, 0)/2)
}

// FQuantile returns the p-quantile of the F distribution.
func FQuantile(p, above, below float64) float64 {
	if !(above > 0) || !(below > 0) || !(p > 0 && p < 1) {
		return math.NaN()
	}
	b := mathext.InvRegIncBeta(above/2, below/2, p)
	return below * b / (above * (1 - b))
}

// FTail returns the probability of a value of F at least as large as f.
func FTail(f, above, below float64) float64 {
	if math.IsNaN(f) || !(above > 0) || !(below > 0) {
		return math.NaN()
	}
	if f <= 0 {
		return 1
	}
	return mathext.RegIncBeta(below/2, above/2, below/(below+float64(above*f)))
}

// binomialCDF returns P(X ≤ k) for X the number of successes in n trials.
func binomialCDF(k, n int, p float64) float64 {
	switch {
	case k < 0:
		return 0
	case k >= n:
		return 1
	}
	return mathext.RegIncBeta(float64(n-k), float64(k+1), 1-p)
}
