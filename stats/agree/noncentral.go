package agree

import "math"

// noncentralTCDF is P(T ≤ t) for Student's t with the given degrees of freedom
// and noncentrality: the mean of Φ(t·s − noncentrality) over s, the root of a
// chi-square over its degrees of freedom. On the scale of log s the integrand is
// analytic and falls off at both ends, so that the trapezoidal rule is exact to
// the last digits (Trefethen and Weideman 2014, SIAM Rev 56:385-458).
func noncentralTCDF(t, degrees, noncentrality float64) float64 {
	step := 0.1 / math.Sqrt(2*degrees)
	var total, inside float64
	add := func(x float64) bool {
		// The density of log s, its maximum at 0 taken out.
		exponent := float64(degrees * (x - math.Expm1(2*x)/2))
		weight := math.Exp(exponent)
		total += weight
		inside += float64(weight * 0.5 * math.Erfc(-(float64(t*math.Exp(x))-noncentrality)/math.Sqrt2))
		return exponent > -40
	}
	add(0)
	for _, sign := range []float64{1, -1} {
		for k := 1; add(sign * float64(k) * step); k++ {
		}
	}
	return inside / total
}

// noncentralTQuantile inverts noncentralTCDF by bisection and then secants.
func noncentralTQuantile(p, degrees, noncentrality float64) float64 {
	low, high := noncentrality-1, noncentrality+1
	for width := 1.0; noncentralTCDF(low, degrees, noncentrality) > p; width *= 2 {
		low -= width
	}
	for width := 1.0; noncentralTCDF(high, degrees, noncentrality) < p; width *= 2 {
		high += width
	}
	below := noncentralTCDF(low, degrees, noncentrality) - p
	above := noncentralTCDF(high, degrees, noncentrality) - p
	side := 0
	for range 200 { // false position with halving of the end that stays (Illinois)
		t := high - float64(above*(high-low))/(above-below)
		if !(t > low && t < high) || high-low <= 4e-16*math.Abs(t) {
			break
		}
		switch f := noncentralTCDF(t, degrees, noncentrality) - p; {
		case f == 0:
			return t
		case f < 0:
			low, below = t, f
			if side == -1 {
				above /= 2
			}
			side = -1
		default:
			high, above = t, f
			if side == 1 {
				below /= 2
			}
			side = 1
		}
	}
	if math.Abs(below) < math.Abs(above) {
		return low
	}
	return high
}
