package regress

import (
	"cmp"
	"math"
	"slices"
)

// derivativeAlong is the slope of the objective when basis row j is let go so
// that its residual moves to the side −sign.
func (v *vertex) derivativeAlong(j int, sign float64) float64 {
	return -sign*dot(v.pull, v.inverse[j]) - float64(v.w(v.basis[j])*sign*v.slope(-sign))
}

// steepest returns the basis row to let go, the sign and the slope; −1 at the
// minimum.
func (v *vertex) steepest() (row int, sign, derivative float64) {
	row = -1
	var best float64
	for j, direction := range v.inverse {
		length := norm(direction)
		for _, s := range []float64{1, -1} {
			d := v.derivativeAlong(j, s)
			if d < -v.noise*length && d/length < best {
				best, row, sign, derivative = d/length, j, s, d
			}
		}
	}
	return row, sign, derivative
}

// crossing is where a row changes sides along a line.
type crossing struct {
	row         int
	at, shifted float64 // position, and its symbolic part
	weight      float64 // by how much the slope grows there
}

// search finds the row at which the slope along the direction, derivative at
// first, stops being negative.
func (v *vertex) search(direction []float64, derivative float64) (enter int, step float64) {
	found := v.found[:0]
	least := 1e-13 * v.large * norm(direction)
	for i, side := range v.side {
		if side == 0 {
			continue
		}
		z := dot(v.row(i), direction)
		if !(z*side > least) {
			continue
		}
		at := v.r[i] / z
		if math.Abs(v.r[i]) <= v.zero {
			at = 0
		}
		found = append(found, crossing{row: i, at: at, weight: v.w(i) * math.Abs(z)})
	}
	v.found = found
	if len(found) == 0 {
		return -1, 0
	}
	at := turningPoint(found, -derivative)
	return v.tieBreak(direction, derivative, at)
}

// tieBreak orders the crossings at one place by their symbolic shifts.
func (v *vertex) tieBreak(direction []float64, slope, at float64) (enter int, step float64) {
	margin := float64(1e-12 * math.Abs(at))
	var ties []crossing
	for _, c := range v.found {
		switch {
		case c.at < at-margin:
			slope += c.weight
		case c.at <= at+margin:
			z := dot(v.row(c.row), direction)
			c.shifted = (v.shift(c.row) - dot(v.row(c.row), v.shifts)) / z
			ties = append(ties, c)
		}
	}
	slices.SortFunc(ties, func(a, b crossing) int {
		return cmp.Or(cmp.Compare(a.shifted, b.shifted), cmp.Compare(a.row, b.row))
	})
	for _, c := range ties {
		slope += c.weight
		if slope >= 0 {
			return c.row, c.at
		}
	}
	last := ties[len(ties)-1]
	return last.row, last.at
}

// exchange moves by step along the direction and swaps basis row j for enter.
func (v *vertex) exchange(j int, sign float64, enter int, direction []float64, step float64) {
	leave := v.basis[j]
	axpy(step, direction, v.b)
	pivot := v.row(enter)
	weights := multiply(v.inverse, pivot)
	for k := range v.inverse[j] {
		v.inverse[j][k] /= weights[j]
	}
	for k := range v.inverse {
		if k != j {
			axpy(-weights[k], v.inverse[j], v.inverse[k])
		}
	}
	axpy(-v.w(enter)*v.slope(v.side[enter]), pivot, v.pull)
	v.basis[j] = enter
	v.inBasis[leave], v.inBasis[enter] = false, true
	v.updateShifts()
	for i := range v.r {
		v.r[i] -= float64(step * dot(v.row(i), direction))
		if i == enter {
			v.r[i], v.side[i] = 0, 0
			continue
		}
		side := v.sideOf(i)
		if i == leave && math.Abs(v.r[i]) > v.zero {
			side = -sign
		}
		if side != v.side[i] {
			change := v.slope(side)
			if v.side[i] != 0 {
				change -= v.slope(v.side[i])
			}
			axpy(v.w(i)*change, v.row(i), v.pull)
			v.side[i] = side
		}
	}
}

// turningPoint returns the place at which the summed weights of the crossings
// up to it first reach need; the last place where they never do. It reorders part.
func turningPoint(part []crossing, need float64) float64 {
	for len(part) > 32 {
		pivot := medianOfThree(part[0].at, part[len(part)/2].at, part[len(part)-1].at)
		below, above := 0, len(part) // part[:below] < pivot = part[below:i], part[above:] > pivot
		var weightBelow, weightLevel float64
		for i := 0; i < above; {
			c := part[i]
			switch {
			case c.at < pivot:
				part[i], part[below] = part[below], c
				weightBelow += c.weight
				below++
				i++
			case c.at > pivot:
				above--
				part[i], part[above] = part[above], c
			default:
				weightLevel += c.weight
				i++
			}
		}
		switch {
		case weightBelow >= need && below > 0:
			part = part[:below]
		case weightBelow+weightLevel >= need || above == len(part):
			return pivot
		default:
			need -= weightBelow + weightLevel
			part = part[above:]
		}
	}
	slices.SortFunc(part, func(a, b crossing) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.row, b.row))
	})
	for _, c := range part {
		need -= c.weight
		if need <= 0 {
			return c.at
		}
	}
	return part[len(part)-1].at
}

func medianOfThree(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }
