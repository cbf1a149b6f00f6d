package regress

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// vertex walks from vertex to vertex of the quantile regression problem: at each
// one as many rows as coefficients are fitted exactly (the basis); one of them is
// let go in the direction of steepest descent, and the exact minimum along that
// line brings in another (Bloomfield and Steiger 1983, Least Absolute
// Deviations; Koenker 2005, Quantile Regression, 6.2). Rows whose side of the
// plane is beyond doubt may stay outside and enter by their sum alone (Portnoy
// and Koenker 1997, Stat Sci 12:279-300).
//
// Rows that a vertex fits by coincidence would stall the walk. Each row
// therefore carries a tiny symbolic shift, which decides the side of rows whose
// residual is zero and no other.
type vertex struct {
	tau   float64
	zero  float64 // residuals below it count as zero
	noise float64 // rounding of pull
	large float64 // largest length of an active row

	rows   []int     // numbers of the active rows
	q      []float64 // their predictors, row by row
	y      []float64
	weight []float64 // nil: all one
	p      int

	outside []float64 // Σ w·ψ·q over the rows that are not active

	basis   []int // positions among the active rows
	inBasis []bool
	inverse [][]float64 // inverse[j] is the direction in which only basis row j changes, by one
	b       []float64
	r       []float64
	side    []float64 // +1 or −1; 0 for basis rows
	pull    []float64 // Σ w·ψ·q over all rows that are not in the basis
	shifts  []float64 // coefficients of the symbolic shifts

	found     []crossing // work space of search
	steps     int
	stuck     []float64 // the way down along which no active row stops the walk
	slopeDown float64   // the slope along stuck
	converged bool
}

func (v *vertex) row(i int) []float64 { return v.q[i*v.p : (i+1)*v.p] }

func (v *vertex) w(i int) float64 {
	if v.weight == nil {
		return 1
	}
	return v.weight[i]
}

// slope is the derivative of the check function on a side.
func (v *vertex) slope(side float64) float64 {
	if side > 0 {
		return v.tau
	}
	return v.tau - 1
}

// shift is the symbolic shift of an active row: a number between 0 and 1 that
// depends on the row's number alone.
func (v *vertex) shift(i int) float64 { return unitHash(uint64(v.rows[i])) }

// unitHash spreads whole numbers over (0, 1) (the finaliser of SplitMix64,
// Steele, Lea and Flood 2014, OOPSLA).
func unitHash(x uint64) float64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	x ^= x >> 31
	return (float64(x>>11) + 0.5) / (1 << 53)
}

// chooseBasis takes rows in the given order as long as each is independent of
// those before it, strictly at first, then leniently. It reports whether it
// found as many as there are coefficients.
func (v *vertex) chooseBasis(order []int) bool {
	v.basis = v.basis[:0]
	var span [][]float64
	for _, share := range []float64{0.1, 1e-7} {
		for _, i := range order {
			if len(v.basis) == v.p {
				return true
			}
			rest := slices.Clone(v.row(i))
			length := norm(rest)
			for range 2 { // twice is enough for full orthogonality
				for _, u := range span {
					axpy(-dot(u, rest), u, rest)
				}
			}
			if left := norm(rest); left > share*length && !slices.Contains(v.basis, i) {
				for k := range rest {
					rest[k] /= left
				}
				span = append(span, rest)
				v.basis = append(v.basis, i)
			}
		}
	}
	return len(v.basis) == v.p
}

// settle computes everything that follows from the basis.
func (v *vertex) settle() bool {
	m := mat.NewDense(v.p, v.p, nil)
	for k, i := range v.basis {
		m.SetRow(k, v.row(i))
	}
	var inverse mat.Dense
	if err := inverse.Inverse(m); err != nil {
		if _, poor := err.(mat.Condition); !poor {
			return false
		}
	}
	v.inverse = make([][]float64, v.p)
	v.b = make([]float64, v.p)
	for k, i := range v.basis {
		v.inverse[k] = mat.Col(nil, k, &inverse)
		axpy(v.y[i], v.inverse[k], v.b)
	}
	for range 2 { // once more for what the inverse has lost
		for k, i := range v.basis {
			axpy(v.y[i]-dot(v.row(i), v.b), v.inverse[k], v.b)
		}
	}
	n := len(v.rows)
	v.inBasis = resized(v.inBasis, n)
	clear(v.inBasis)
	for _, i := range v.basis {
		v.inBasis[i] = true
	}
	v.r, v.side = resized(v.r, n), resized(v.side, n)
	for i := range v.r {
		v.r[i] = v.y[i] - dot(v.row(i), v.b)
	}
	v.updateShifts()
	v.pull = slices.Clone(v.outside)
	for i := range v.r {
		v.side[i] = v.sideOf(i)
		if v.side[i] != 0 {
			axpy(v.w(i)*v.slope(v.side[i]), v.row(i), v.pull)
		}
	}
	return true
}

func (v *vertex) updateShifts() {
	v.shifts = make([]float64, v.p)
	for k, i := range v.basis {
		axpy(v.shift(i), v.inverse[k], v.shifts)
	}
}

// sideOf decides on which side of the plane a row lies; 0 for a basis row.
func (v *vertex) sideOf(i int) float64 {
	if v.inBasis[i] {
		return 0
	}
	r := v.r[i]
	if math.Abs(r) <= v.zero {
		r = v.shift(i) - dot(v.row(i), v.shifts)
	}
	return math.Copysign(1, r)
}

// descend walks until no direction leads down; it stops early after limit steps.
func (v *vertex) descend(limit int) {
	v.converged = false
	for v.steps = 0; v.steps < limit; v.steps++ {
		if v.steps%32 == 0 && !v.settle() {
			return
		}
		j, sign, derivative := v.steepest()
		if j < 0 {
			if v.steps%32 != 0 && v.settle() { // once more from fresh residuals
				if j, sign, derivative = v.steepest(); j < 0 {
					v.converged = true
					return
				}
			} else {
				v.converged = true
				return
			}
		}
		direction := slices.Clone(v.inverse[j])
		for k := range direction {
			direction[k] *= sign
		}
		enter, step := v.search(direction, derivative)
		if enter < 0 {
			v.stuck, v.slopeDown = direction, derivative
			return
		}
		v.exchange(j, sign, enter, direction, step)
	}
}
