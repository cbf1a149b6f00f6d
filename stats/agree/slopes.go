package agree

import (
	"math"
	"slices"
)

// slopes are the slopes between all pairs of points without those of exactly −1
// and those of equal points. Of the sorted ones those from rank below on, from 0,
// stand in near, in no order.
type slopes struct {
	count, offset int // all, and those below −1
	below         int
	near          []float64
}

// Of so many slopes, spread over the pairs, it is read where the wanted ones lie.
// A share of those below a value is off by its standard error, at most 1/2√m of m,
// of which the bounds keep four; where that is not enough, all slopes are kept.
const (
	sampled     = 8192
	sampleGuard = 4
)

// slopesNear keeps the slopes around the median, half/2 ranks to either side of
// it and what reading them from a sample may be off; half is that of the interval.
func slopesNear(x, y []float64, half float64) slopes {
	n := len(x)
	pairs := n * (n - 1) / 2
	if pairs < 4*sampled {
		return allSlopes(x, y)
	}
	sample := make([]float64, 0, sampled)
	offset := 0
	for k := range sampled {
		i := k % n
		j := (i + 1 + int(uint64(k)*2654435761%uint64(n-1))) % n
		s := (y[j] - y[i]) / (x[j] - x[i])
		if !math.IsNaN(s) && s != -1 {
			sample = append(sample, s)
			if s < -1 {
				offset++
			}
		}
	}
	if len(sample) < sampled/2 {
		return allSlopes(x, y)
	}
	m := float64(len(sample))
	middle := m/2 + float64(offset)
	reach := half/2*m/float64(pairs) + sampleGuard*math.Sqrt(m)/2
	low, high := bounds(sample, int(middle-reach), int(middle+reach)+1)
	room := int(2.5 * reach / m * float64(pairs))
	if s, ok := crossings(x, y, low, high, room); ok {
		return s
	}
	return slopesWithin(x, y, low, high, room)
}

// bounds are values just below the one of the lower rank and just above that of the
// upper one, from 0; infinite where there is no other value. Where values are whole
// numbers slopes are simple fractions, which these parts of the way between two are not.
func bounds(sample []float64, lower, upper int) (low, high float64) {
	const part = 1 / math.Phi
	lower = min(lower, len(sample)-1)
	place(sample, lower, upper)
	low, high = math.Inf(-1), math.Inf(1)
	if lower >= 0 {
		at := sample[lower]
		for _, v := range sample[:lower] {
			if v < at {
				low = max(low, v)
			}
		}
		if !math.IsInf(low, 0) {
			low += (at - low) * part
		}
	}
	if upper < len(sample) {
		at := sample[upper]
		for _, v := range sample[upper+1:] {
			if v > at {
				high = min(high, v)
			}
		}
		if !math.IsInf(high, 0) {
			high -= (high - at) * part
		}
	}
	return low, high
}

// allSlopes keeps all.
func allSlopes(x, y []float64) slopes {
	return slopesWithin(x, y, math.Inf(-1), math.Inf(1), len(x)*(len(x)-1)/2)
}

// slopesWithin keeps the slopes from low to high, for which it makes room. A pair
// above one another has an infinite slope, equal points have NaN, which is on no
// side of any value. The loop counts those above −1, which are nearly all where
// methods agree, without branches: the slopes come in no order, and each wrong
// guess of the processor costs more than a division.
func slopesWithin(x, y []float64, low, high float64, room int) slopes {
	near := make([]float64, max(room, 1))
	kept, below, offset, minusOne, equal := 0, 0, 0, 0, 0
	for i, xi := range x {
		yi, ys := y[i], y[:i]
		for j, xj := range x[:len(ys)] {
			v := (ys[j] - yi) / (xj - xi)
			if kept == len(near) {
				near = append(near, make([]float64, len(near))...)
			}
			if !(v > -1) {
				switch {
				case v < -1:
					offset++
				case v == -1:
					minusOne++
					continue
				default:
					equal++
					continue
				}
			}
			below += is(v < low)
			near[kept] = v // counted or written over
			kept += is(v >= low) & is(v <= high)
		}
	}
	count := len(x)*(len(x)-1)/2 - equal - minusOne
	return slopes{count: count, offset: offset, below: below, near: near[:kept]}
}

// is returns 1 for true.
func is(b bool) int {
	if b {
		return 1
	}
	return 0
}

// hold reports whether the slopes at those of the ranks that there are, from 0,
// were kept.
func (s *slopes) hold(ranks []int) bool {
	return !slices.ContainsFunc(ranks, func(r int) bool {
		return r >= 0 && r < s.count && (r < s.below || r >= s.below+len(s.near))
	})
}

// place brings the slopes at the ranks to where sorting would leave them.
func (s *slopes) place(ranks []int) {
	own := make([]int, len(ranks))
	for k, r := range ranks {
		own[k] = r - s.below
	}
	place(s.near, own...)
}
