package central

import "math"

// MovingAverageMethod is the name of the estimate by moving average.
const MovingAverageMethod = "moving_average"

// The windows of the moving average.
const (
	radialWindowS   = 1.0 / 4
	brachialWindowS = 1.0 / 6
)

// MovingAverage returns the largest moving average of one period of a
// calibrated peripheral wave with stepS seconds between samples: an estimate of
// central SBP without a wave. It is NaN and false where the artery has no
// published window, the period is not longer than the window, or the wave holds
// a number that is not finite.
//
// The window is a quarter of a second for a radial wave (Williams 2011, JACC
// 57:951-61: 0.3 ± 1.0 mmHg from a transfer function) and a sixth for a brachial
// one (Shih 2014, Hypertension 63:865: −0.6 ± 7.6 mmHg from a catheter). The
// wave is taken as straight between its samples, so that the window need not be
// a whole number of them; it runs over the end into the start.
func MovingAverage(wave []float64, stepS float64, artery string) (float64, bool) {
	n := len(wave)
	steps := window(artery) / stepS
	if !(steps >= 1 && steps < float64(n)) || !finite(wave) {
		return math.NaN(), false
	}
	whole := int(steps)
	part := steps - float64(whole)
	sum := 0.0 // integral over the whole steps from sample i on, in steps
	for j := range whole {
		sum += 0.5 * (wave[j] + wave[(j+1)%n])
	}
	highest := math.Inf(-1)
	end := whole % n // of the whole steps
	for i, a := range wave {
		b := wave[0]
		if i+1 < n {
			b = wave[i+1]
		}
		c := wave[end]
		if end++; end == n {
			end = 0
		}
		d := wave[end]
		rest := float64(part * (c + float64(0.5*part*(d-c))))
		if average := (sum + rest) / steps; average > highest {
			highest = average
		}
		sum += 0.5 * ((c + d) - (a + b))
	}
	return highest, true
}

// window returns the width of the moving average for an artery, s; 0: none.
func window(artery string) float64 {
	switch artery {
	case Radial:
		return radialWindowS
	case Brachial:
		return brachialWindowS
	}
	return 0
}

// finite reports whether every sample is a number.
func finite(x []float64) bool {
	for _, v := range x {
		if math.IsNaN(v - v) {
			return false
		}
	}
	return true
}
