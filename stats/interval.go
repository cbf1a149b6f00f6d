package stats

import "math"

// MeanInterval returns Student's interval for the mean of independent values.
func MeanInterval(s Sample, level float64) Interval {
	half := StudentQuantile((1+level)/2, float64(s.N-1)) * s.StandardError()
	return around(s.Mean, half, level, MethodT)
}

// StandardDeviationInterval returns the normal-theory interval for a standard
// deviation. It does not hold for skewed values, however many there are.
func StandardDeviationInterval(s Sample, level float64) Interval {
	degrees := float64(s.N - 1)
	tail := (1 - level) / 2
	return Interval{
		Low:    s.SD * math.Sqrt(degrees/ChiSquareQuantile(1-tail, degrees)),
		High:   s.SD * math.Sqrt(degrees/ChiSquareQuantile(tail, degrees)),
		Level:  level,
		Method: MethodChiSquare,
	}
}

// Wilson returns the score interval for a proportion of which successes of n
// have been seen (Wilson 1927, J Am Stat Assoc 22:209-12); NaN for n = 0.
func Wilson(successes, n int, level float64) Interval {
	interval := Interval{Low: math.NaN(), High: math.NaN(), Level: level, Method: MethodWilson}
	if n <= 0 || successes < 0 || successes > n {
		return interval
	}
	size, hits := float64(n), float64(successes)
	z := NormalQuantile((1 + level) / 2)
	square := float64(z * z)
	centre := hits + float64(square/2)
	half := float64(z * math.Sqrt(float64(hits*(size-hits))/size+float64(square/4)))
	interval.Low = math.Max(0, (centre-half)/(size+square))
	interval.High = math.Min(1, (centre+half)/(size+square))
	if successes == 0 {
		interval.Low = 0
	}
	if successes == n {
		interval.High = 1
	}
	return interval
}

// around rounds half first: an inlined product must not be fused into the ends.
func around(centre, half, level float64, method string) Interval {
	half = float64(half)
	return Interval{Low: centre - half, High: centre + half, Level: level, Method: method}
}
