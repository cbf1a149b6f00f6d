package disclose

import "math"

// Grid is what the ends of an interval are moved outwards to: the multiples of Step
// beyond each end and Margin steps more. A step of 0 moves nothing.
type Grid struct{ Step, Margin float64 }

// GridFor returns how coarse the ends of an interval must be so that the hidden
// number of people behind it cannot be told from its width: at least minCell
// numbers near n give the same ends. The width of an interval goes with the inverse
// root of n, whatever its method, to first order. The step is 1, 2 or 5 times a
// power of ten; 0 where there is no width. Of an end that lies close to a multiple
// of every step a margin takes it away, where a coarser step would have to be as wide
// as the interval.
func GridFor(estimate, low, high float64, n, minCell int) Grid {
	width := high - low
	if !(width > 0) || math.IsInf(width, 0) || math.IsNaN(estimate) || n <= 0 {
		return Grid{}
	}
	step := NiceStep(width * float64(minCell) / (2 * float64(n)))
	for {
		for _, margin := range []float64{0, 0.25, 0.5, 0.75} {
			if g := (Grid{step, margin}); g.alike(estimate, low, high, n, minCell) >= minCell {
				return g
			}
		}
		if step >= width {
			return Grid{Step: step}
		}
		step = NiceStep(step * 1.01)
	}
}

// alike counts the numbers near n that give the same ends on the grid.
func (g Grid) alike(estimate, low, high float64, n, minCell int) int {
	same := 0
	a, b := g.Ends(low, high)
	for m := max(1, n-2*minCell); m <= n+2*minCell; m++ {
		root := math.Sqrt(float64(n) / float64(m))
		if c, d := g.Ends(estimate+(low-estimate)*root, estimate+(high-estimate)*root); a == c && b == d {
			same++
		}
	}
	return same
}

// Ends returns the ends of an interval on the grid: it holds what it held, and never
// grows narrower.
func (g Grid) Ends(low, high float64) (float64, float64) {
	if !(g.Step > 0) {
		return low, high
	}
	return times(math.Floor(low/g.Step-g.Margin), g.Step), times(math.Ceil(high/g.Step+g.Margin), g.Step)
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
