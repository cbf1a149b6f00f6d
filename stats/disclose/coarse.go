package disclose

import "math"

// Step returns how coarse the ends of an interval must be so that the hidden
// number of people behind it cannot be told from its width: at least minCell
// numbers near n give the same rounded ends. The width of an interval goes with
// the inverse root of n, whatever its method, to first order. The step is 1, 2
// or 5 times a power of ten; 0 where there is no width.
func Step(estimate, low, high float64, n, minCell int) float64 {
	width := high - low
	if !(width > 0) || math.IsInf(width, 0) || math.IsNaN(estimate) || n <= 0 {
		return 0
	}
	step := NiceStep(width * float64(minCell) / (2 * float64(n)))
	for alike(estimate, low, high, n, minCell, step) < minCell && step < width {
		step = NiceStep(step * 1.01)
	}
	return step
}

// alike counts the numbers near n that give the same ends, rounded to step.
func alike(estimate, low, high float64, n, minCell int, step float64) int {
	same := 0
	for m := max(1, n-2*minCell); m <= n+2*minCell; m++ {
		root := math.Sqrt(float64(n) / float64(m))
		a, b := Ends(estimate+(low-estimate)*root, estimate+(high-estimate)*root, step)
		if c, d := Ends(low, high, step); a == c && b == d {
			same++
		}
	}
	return same
}

// ShareStep returns how coarse a share must be so that a hidden denominator near
// n cannot be told from it within minCell where the count above the line is
// known.
func ShareStep(share float64, n, minCell int) float64 {
	if !(share > 0) || n <= 0 {
		return 0
	}
	step := NiceStep(share * float64(minCell) / float64(n))
	for {
		same := 0
		for m := max(1, n-2*minCell); m <= n+2*minCell; m++ {
			if To(share*float64(n)/float64(m), step) == To(share, step) {
				same++
			}
		}
		if same >= minCell || step >= 1 {
			return step
		}
		step = NiceStep(step * 1.01)
	}
}

// NiceStep returns the smallest of 1, 2 and 5 times a power of ten that is at
// least u.
func NiceStep(u float64) float64 {
	if !(u > 0) || math.IsInf(u, 0) {
		return 0
	}
	power := math.Floor(math.Log10(u))
	for _, step := range []float64{1, 2, 5, 10, 20} {
		if s := scaled(step, power); s >= u*(1-1e-12) {
			return s
		}
	}
	return scaled(50, power)
}

// scaled returns step · 10^power as the nearest number to it, so that 0.1 is 0.1.
func scaled(step, power float64) float64 {
	if power < 0 {
		return step / math.Pow(10, -power)
	}
	return step * math.Pow(10, power)
}

// To rounds v to a multiple of step, halves away from zero; a step of 0 leaves
// v alone.
func To(v, step float64) float64 {
	if !(step > 0) || math.IsNaN(v) || math.IsInf(v, 0) {
		return v
	}
	return times(math.Round(v/step), step)
}

// Ends returns the ends of an interval as multiples of step, outwards: it holds
// what it held, and never grows narrower.
func Ends(low, high, step float64) (float64, float64) {
	if !(step > 0) {
		return low, high
	}
	return times(math.Floor(low/step), step), times(math.Ceil(high/step), step)
}

// times returns a multiple of step, such as 0.1 that is the nearest to it.
func times(multiple, step float64) float64 {
	if step < 1 {
		if whole := math.Round(1 / step); math.Abs(whole*step-1) < 1e-9 {
			return multiple/whole + 0 // no minus before a zero
		}
	}
	return multiple*step + 0
}

// Round rounds a count to a multiple of base, halves up; a base below 2 leaves
// it alone.
func Round(count, base int) int {
	if base < 2 {
		return count
	}
	return (count + base/2) / base * base
}
