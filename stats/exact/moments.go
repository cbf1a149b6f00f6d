package exact

import (
	"math"
	"math/big"
)

// Moments are the number of some values with their sum and that of their squares; the
// zero value is that of none.
type Moments struct {
	N            int
	sum, squares Sum
}

// Add takes a value in.
func (m *Moments) Add(x float64) {
	m.N++
	m.sum.Add(x)
	m.squares.AddProduct(x, x)
}

// Merge takes in what other has taken in.
func (m *Moments) Merge(other *Moments) {
	m.N += other.N
	m.sum.Merge(&other.sum)
	m.squares.Merge(&other.squares)
}

// Mean returns the arithmetic mean, rounded once from the true one; NaN of no values.
func (m *Moments) Mean() float64 {
	if m.N == 0 {
		return math.NaN()
	}
	if m.sum.special != 0 {
		return m.sum.special
	}
	return quotient(m.sum.units(), big.NewInt(int64(m.N)), unit)
}

// Variance returns the variance with N − 1, rounded once from the true one: nothing
// cancels, however far the values are from zero. NaN below two values.
func (m *Moments) Variance() float64 {
	if m.N < 2 || m.sum.special != 0 {
		return math.NaN()
	}
	n, below := big.NewInt(int64(m.N)), big.NewInt(int64(m.N-1))
	sum := halfUnits(m.sum.units())
	above := new(big.Int).Mul(n, m.squares.units())
	above.Sub(above, sum.Mul(sum, sum))
	return quotient(above, below.Mul(below, n), unit)
}

// halfUnits turns a sum of numbers into units of 2⁻¹⁰⁷⁴, of which it is a whole number
// and whose square is the unit.
func halfUnits(sum *big.Int) *big.Int { return sum.Rsh(sum, unit/2) }

// quotient returns a / b · 2^−exponent, rounded once (below 2⁻¹⁰²² once more).
func quotient(a, b *big.Int, exponent int) float64 {
	q := new(big.Float).SetPrec(fractionBits+1).Quo(new(big.Float).SetInt(a), new(big.Float).SetInt(b))
	v, _ := q.SetMantExp(q, -exponent).Float64()
	return v
}
