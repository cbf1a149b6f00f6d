package exact

import (
	"math"
	"math/big"
)

// Pairs are the number of some pairs of values, above and below, with the sums that the
// ratio of their means is made of; the zero value is that of none.
type Pairs struct {
	N                          int
	above, below               Sum
	aboveSquares, belowSquares Sum
	products                   Sum
}

// Add takes a pair in.
func (p *Pairs) Add(above, below float64) {
	p.N++
	p.above.Add(above)
	p.below.Add(below)
	p.aboveSquares.AddProduct(above, above)
	p.belowSquares.AddProduct(below, below)
	p.products.AddProduct(above, below)
}

// Merge takes in what other has taken in.
func (p *Pairs) Merge(other *Pairs) {
	p.N += other.N
	p.above.Merge(&other.above)
	p.below.Merge(&other.below)
	p.aboveSquares.Merge(&other.aboveSquares)
	p.belowSquares.Merge(&other.belowSquares)
	p.products.Merge(&other.products)
}

// Ratio returns the mean above over the mean below and its standard error: that of the
// mean of above − ratio · below, over the mean below (the delta method; Cochran 1977,
// Sampling Techniques, 6.4; from memory). Both are rounded from the true ones, the error
// twice. Without a pair, or where the mean below is 0, both are NaN, and the error alone
// with one pair.
func (p *Pairs) Ratio() (ratio, standardError float64) {
	a, b := p.above.units(), p.below.units()
	if p.above.special != 0 || p.below.special != 0 || b.Sign() == 0 {
		return math.NaN(), math.NaN()
	}
	ratio = quotient(a, b, 0)
	if p.N < 2 {
		return ratio, math.NaN()
	}
	// With sums A and B the squares of the residuals sum to (B²·Saa − 2AB·Sab + A²·Sbb)/B²,
	// and the error is the root of n/(n − 1) times that over B².
	a, b = halfUnits(a), halfUnits(b)
	product := func(x, y *big.Int) *big.Int { return new(big.Int).Mul(x, y) }
	squareB := product(b, b)
	squares := product(squareB, p.aboveSquares.units())
	squares.Sub(squares, product(big.NewInt(2), product(product(a, b), p.products.units())))
	squares.Add(squares, product(product(a, a), p.belowSquares.units()))
	squares.Mul(squares, big.NewInt(int64(p.N)))
	return ratio, math.Sqrt(quotient(squares, product(product(squareB, squareB), big.NewInt(int64(p.N-1))), 0))
}
