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
// added, in the given repetition; lambda 0 is the fit as it is. A repetition adds
// the same draws at every lambda, times the root of lambda, as theirs does; other
// draws at each would only add noise to what is extrapolated. The means over the
// repetitions are carried to lambda = −1, where no error is left, along a + b/(c + λ),
// their rational extrapolant: it is exact for a straight term of least squares,
// which a parabola is not.
//
// The variance is what the difference of the mean variance and the variance
// between repetitions becomes at −1 (Stefanski and Cook 1995, J Am Stat Assoc
// 90:1247-56; from memory), along the same curve and its square, and the variance
// that so few repetitions leave, by a jackknife over them. Where the first ends
// below zero the error is NaN.
func SIMEX(refit func(lambda float64, repetition int) (coefficients, variances []float64, err error), repetitions int) (coefficients, se []float64, err error) {
	if repetitions < 2 {
		return nil, nil, fmt.Errorf("regress: %d repetitions; two are needed", repetitions)
	}
	b, v, err := refit(0, 0)
	if err != nil {
		return nil, nil, err
	}
	lambdas := append([]float64{0}, simexSteps()...)
	all := make([][][]float64, repetitions) // by repetition, step and coefficient
	within := [][]float64{v}
	for r := range all {
		all[r] = [][]float64{b}
	}
	for _, lambda := range simexSteps() {
		sum := make([]float64, len(b))
		for r := range all {
			once, variance, err := refit(lambda, r)
			if err != nil {
				return nil, nil, err
			}
			if len(once) != len(b) {
				return nil, nil, errors.New("regress: a repetition has other coefficients")
			}
			all[r] = append(all[r], once)
			for j := range b {
				sum[j] += variance[j] / float64(repetitions)
			}
		}
		within = append(within, sum)
	}
	coefficients, se = make([]float64, len(b)), make([]float64, len(b))
	for j := range b {
		var variance float64
		coefficients[j], variance = extrapolated(lambdas, all, within, j)
		se[j] = math.Sqrt(variance) // NaN where it is negative
	}
	return coefficients, se, nil
}

// extrapolated carries the j-th coefficient and its variance to lambda = −1.
func extrapolated(lambdas []float64, all [][][]float64, within [][]float64, j int) (coefficient, variance float64) {
	n := float64(len(all))
	mean, spread := make([]float64, len(lambdas)), make([]float64, len(lambdas))
	for k := range lambdas {
		for _, once := range all {
			mean[k] += once[k][j] / n
		}
		spread[k] = within[k][j]
		for _, once := range all {
			d := once[k][j] - mean[k]
			spread[k] -= float64(d*d) / (n - 1)
		}
		if math.IsNaN(mean[k]) || math.IsNaN(spread[k]) {
			return mean[k], math.NaN()
		}
	}
	coefficient, pole := rationalAt(lambdas, mean, -1)
	variance = squaredAt(lambdas, spread, -1, pole)
	if !(variance > 0) {
		return coefficient, math.NaN()
	}
	without, left := make([]float64, len(all)), make([]float64, len(lambdas))
	var centre float64
	for r, once := range all {
		for k := range lambdas {
			left[k] = (float64(n*mean[k]) - once[k][j]) / (n - 1)
		}
		without[r], _ = rationalAt(lambdas, left, -1)
		centre += without[r] / n
	}
	for _, w := range without {
		variance += float64((w-centre)*(w-centre)) * (n - 1) / n
	}
	return coefficient, variance
}

// rationalAt fits y = a + b/(c + x) by least squares and returns its value at a
// place, and c. For each c the other two follow from a straight line, so that c
// alone is searched, on the logarithm of its distance from its pole at that place:
// near it almost all of a column's variance is error, far from it the curve is
// straight.
func rationalAt(x, y []float64, at float64) (value, pole float64) {
	u := make([]float64, len(x))
	line := func(logarithm float64) (value, rest float64) {
		c := math.Exp(logarithm) - at
		for i := range u {
			u[i] = 1 / (c + x[i])
		}
		return lineAt(u, y, 1/(c+at))
	}
	const steps, golden = 40, 0.6180339887498949
	low, high := math.Log(0.02), math.Log(200)
	// A coarse look first: there is more than one valley where y hardly bends.
	best, least := low, math.Inf(1)
	width := (high - low) / (steps - 1)
	for k := range steps {
		l := low + float64(float64(k)*width)
		if _, rest := line(l); rest < least {
			best, least = l, rest
		}
	}
	from, to := max(low, best-width), min(high, best+width)
	for range steps {
		left, right := to-float64(golden*(to-from)), from+float64(golden*(to-from))
		_, restLeft := line(left)
		_, restRight := line(right)
		if restLeft <= restRight {
			to = right
		} else {
			from = left
		}
	}
	value, _ = line((from + to) / 2)
	return value, math.Exp((from+to)/2) - at
}

// squaredAt carries y to a place along a line and a square in 1/(pole + x).
func squaredAt(x, y []float64, at, pole float64) float64 {
	u := make([]float64, len(x))
	first, last := 1/(pole+x[0]), 1/(pole+x[len(x)-1])
	scaled := func(x float64) float64 { return (1/(pole+x) - last) / (first - last) }
	for i := range u {
		u[i] = scaled(x[i])
	}
	d := NewDesign(true)
	d.AddPolynomial("u", u, 2)
	f, err := OLS(d, y, nil)
	if err != nil {
		return math.NaN()
	}
	v := scaled(at)
	return f.Coefficients[0] + float64(v*(f.Coefficients[1]+float64(v*f.Coefficients[2])))
}

// lineAt is the least-squares line of y on u at a place, and its sum of squares
// left.
func lineAt(u, y []float64, at float64) (value, rest float64) {
	n := float64(len(u))
	var meanU, meanY float64
	for i := range u {
		meanU += u[i] / n
		meanY += y[i] / n
	}
	var uu, uy float64
	for i := range u {
		uu += float64((u[i] - meanU) * (u[i] - meanU))
		uy += float64((u[i] - meanU) * (y[i] - meanY))
	}
	slope := uy / uu
	for i := range u {
		r := y[i] - meanY - float64(slope*(u[i]-meanU))
		rest += float64(r * r)
	}
	return meanY + float64(slope*(at-meanU)), rest
}
