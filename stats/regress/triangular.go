package regress

import (
	"math"
	"slices"
)

// blockRows is how many rows are held in a work block at a time. The bounds of
// the blocks depend on nothing but the row number, so the digits do not either.
const blockRows = 512

// rankTolerance is the share of a column's length that must remain after the
// earlier columns have been taken out of it. An exact linear relation leaves
// rounding: 1e-16 of the length at a thousand rows, 5e-15 at a million. The
// hardest certified polynomial (NIST Filip, tenth power) leaves 5e-8.
const rankTolerance = 1e-11

// triangle is an upper triangular matrix that rows are folded into, column by
// column: at[k][j], j ≤ k, is row j of column k.
type triangle [][]float64

func newTriangle(size int) triangle {
	t := make(triangle, size)
	for k := range t {
		t[k] = make([]float64, size)
	}
	return t
}

// fold reduces the rows of block (columns of equal length, destroyed) into t by
// Householder reflections (Golub and Van Loan, Matrix Computations, 5.2; the
// triangle-on-top-of-rows form of Demmel et al 2012, SIAM J Sci Comput
// 34:A206-39).
func (t triangle) fold(block [][]float64) {
	for j, v := range block {
		square := dot(v, v)
		if square == 0 {
			continue
		}
		alpha := t[j][j]
		beta := math.Sqrt(float64(alpha*alpha) + square)
		if alpha > 0 {
			beta = -beta
		}
		head := alpha - beta
		t[j][j] = beta
		tau := -head / beta // with the head of the reflection scaled to one
		for i := range v {
			v[i] /= head
		}
		for k := j + 1; k < len(block); k++ {
			w := float64(tau * (t[k][j] + dot(v, block[k])))
			t[k][j] -= w
			axpy(-w, v, block[k])
		}
	}
}

// ranked picks the columns of t, but for the last (the outcome), that are not
// determined by earlier ones, or the forced ones where there are any, and returns
// their own triangle with the outcome as its last column.
func (t triangle) ranked(forced []int) (active []int, reduced triangle) {
	size := len(t)
	work := newTriangle(size)
	for k := range t {
		copy(work[k], t[k][:k+1])
	}
	for j := 0; j < size-1; j++ {
		r := len(active)
		length := norm(work[j])
		rest := norm(work[j][r:])
		independent := length > 0 && rest > rankTolerance*length
		if forced != nil {
			independent = slices.Contains(forced, j)
		}
		if !independent {
			continue
		}
		if norm(work[j][r+1:]) > 0 {
			reflect(work, j, r)
		}
		active = append(active, j)
	}
	rank := len(active)
	reduced = newTriangle(rank + 1)
	for k, j := range active {
		copy(reduced[k][:k+1], work[j][:k+1])
	}
	copy(reduced[rank][:rank], work[size-1][:rank])
	reduced[rank][rank] = norm(work[size-1][rank:])
	return active, reduced
}

// reflect zeroes column j of work below row r, taking the later columns along.
func reflect(work triangle, j, r int) {
	v := append([]float64(nil), work[j][r:]...)
	beta := norm(v)
	if v[0] > 0 {
		beta = -beta
	}
	head := v[0] - beta
	tau := -head / beta
	for i := range v {
		v[i] /= head
	}
	v[0] = 1
	for k := j; k < len(work); k++ {
		w := float64(tau * dot(v, work[k][r:]))
		axpy(-w, v, work[k][r:])
	}
	work[j][r] = beta
	clear(work[j][r+1:])
}

// inverse returns the inverse of the leading rank columns of t, an upper
// triangular matrix again.
func (t triangle) inverse(rank int) triangle {
	inv := newTriangle(rank)
	for k := 0; k < rank; k++ {
		inv[k][k] = 1 / t[k][k]
		for i := k - 1; i >= 0; i-- {
			var s float64
			for j := i + 1; j <= k; j++ {
				s += float64(t[j][i] * inv[k][j])
			}
			inv[k][i] = -s / t[i][i]
		}
	}
	return inv
}

// solve returns x with T·x = b for the leading rank columns.
func (t triangle) solve(b []float64, rank int) []float64 {
	x := append([]float64(nil), b[:rank]...)
	for j := rank - 1; j >= 0; j-- {
		x[j] /= t[j][j]
		axpy(-x[j], t[j][:j], x[:j])
	}
	return x
}

// solveTransposed returns x with Tᵀ·x = b for the leading rank columns.
func (t triangle) solveTransposed(b []float64, rank int) []float64 {
	x := append([]float64(nil), b[:rank]...)
	for j := 0; j < rank; j++ {
		x[j] = (x[j] - dot(t[j][:j], x[:j])) / t[j][j]
	}
	return x
}

// dot sums products in four interleaved partial sums, an order that does not
// depend on the machine.
func dot(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+4 <= len(a); i += 4 {
		x, y := a[i:i+4:i+4], b[i:i+4:i+4]
		s0 += float64(x[0] * y[0])
		s1 += float64(x[1] * y[1])
		s2 += float64(x[2] * y[2])
		s3 += float64(x[3] * y[3])
	}
	for ; i < len(a); i++ {
		s0 += float64(a[i] * b[i])
	}
	return (s0 + s1) + (s2 + s3)
}

// axpy adds alpha·x to y.
func axpy(alpha float64, x, y []float64) {
	y = y[:len(x)]
	i := 0
	for ; i+4 <= len(x); i += 4 {
		u, v := x[i:i+4:i+4], y[i:i+4:i+4]
		v[0] += float64(alpha * u[0])
		v[1] += float64(alpha * u[1])
		v[2] += float64(alpha * u[2])
		v[3] += float64(alpha * u[3])
	}
	for ; i < len(x); i++ {
		y[i] += float64(alpha * x[i])
	}
}

// norm is the Euclidean length, safe against overflow.
func norm(x []float64) float64 {
	var largest float64
	for _, v := range x {
		largest = max(largest, math.Abs(v))
	}
	if largest == 0 || math.IsInf(largest, 0) {
		return largest
	}
	var s float64
	for _, v := range x {
		r := v / largest
		s += float64(r * r)
	}
	return largest * math.Sqrt(s)
}
