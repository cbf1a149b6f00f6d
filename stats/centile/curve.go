package centile

import (
	"fmt"
	"math"
	"slices"
)

// Curve is the natural cubic spline that passes through its values at its
// knots: cubic between them, with curvature zero at the outermost and straight
// beyond. One knot is a constant, two are a line. Knots and values are all there
// is to it, so that another program can draw the same curve.
type Curve struct {
	Knots, Values []float64
	bends         []float64 // second derivative at each knot
}

// NewCurve returns the curve through the values at the knots, which ascend.
func NewCurve(knots, values []float64) (Curve, error) {
	if len(knots) == 0 || len(knots) != len(values) {
		return Curve{}, fmt.Errorf("centile: %d knots with %d values make no curve", len(knots), len(values))
	}
	for i, k := range knots {
		if math.IsNaN(k) || math.IsInf(k, 0) || math.IsNaN(values[i]) || math.IsInf(values[i], 0) || i > 0 && !(k > knots[i-1]) {
			return Curve{}, fmt.Errorf("centile: knot %d of a curve is no number or does not ascend", i+1)
		}
	}
	return Curve{Knots: slices.Clone(knots), Values: slices.Clone(values), bends: bendsOf(knots, values)}, nil
}

// At returns the curve at x.
func (c Curve) At(x float64) float64 {
	if math.IsNaN(x) {
		return x
	}
	place := placeOf(c.Knots, x)
	k := len(c.Knots)
	var at [4]float64
	for i, position := range place.at {
		if position < k {
			at[i] = c.Values[position]
		} else {
			at[i] = c.bends[position-k]
		}
	}
	return place.dot(at)
}

// place says of which values and bends a curve at some x is made: four of the
// values followed by the bends, with their weights.
type place struct {
	at     [4]int
	weight [4]float64
}

func (p place) dot(v [4]float64) float64 {
	return float64(p.weight[0]*v[0]) + float64(p.weight[1]*v[1]) + float64(p.weight[2]*v[2]) + float64(p.weight[3]*v[3])
}

// placeOf finds the interval of x and the weights there (Green and Silverman
// 1994, Nonparametric Regression and Generalized Linear Models, 2.4.1; from
// memory). Beyond the knots the curve goes on straight.
func placeOf(knots []float64, x float64) place {
	k := len(knots)
	if k == 1 {
		return place{weight: [4]float64{1, 0, 0, 0}}
	}
	i := min(max(sortSearch(knots, x)-1, 0), k-2)
	h := knots[i+1] - knots[i]
	left, right := x-knots[i], knots[i+1]-x
	p := place{at: [4]int{i, i + 1, k + i, k + i + 1}, weight: [4]float64{right / h, left / h, 0, 0}}
	switch {
	case left < 0:
		p.weight[2], p.weight[3] = -h*left/3, -h*left/6
	case right < 0:
		p.weight[2], p.weight[3] = -h*right/6, -h*right/3
	default:
		product := -float64(left*right) / 6
		p.weight[2], p.weight[3] = product*(1+right/h), product*(1+left/h)
	}
	return p
}

// sortSearch counts the knots that are not above x.
func sortSearch(knots []float64, x float64) int {
	i, found := slices.BinarySearch(knots, x)
	if found {
		i++
	}
	return i
}

// bendsOf returns the second derivatives at the knots of the natural spline
// through the values: those at the ends are zero, the others solve the
// tridiagonal system of continuous slopes.
func bendsOf(knots, values []float64) []float64 {
	k := len(knots)
	bends := make([]float64, k)
	if k < 3 {
		return bends
	}
	diagonal, right := make([]float64, k), make([]float64, k)
	for i := 1; i < k-1; i++ {
		before, after := knots[i]-knots[i-1], knots[i+1]-knots[i]
		diagonal[i] = (before + after) / 3
		right[i] = (values[i+1]-values[i])/after - (values[i]-values[i-1])/before
		if i > 1 {
			ratio := before / 6 / diagonal[i-1]
			diagonal[i] -= float64(ratio*before) / 6
			right[i] -= float64(ratio * right[i-1])
		}
	}
	for i := k - 2; i >= 1; i-- {
		bends[i] = (right[i] - float64((knots[i+1]-knots[i])*bends[i+1])/6) / diagonal[i]
	}
	return bends
}

// basis is the space of curves with given knots.
type basis struct {
	knots  []float64
	bends  [][]float64 // by knot: the bends of the curve that is 1 there and 0 at the others
	across [][]float64 // by place of the bend: that of the curve of each knot
}

func newBasis(knots []float64) basis {
	b := basis{knots: knots, bends: make([][]float64, len(knots))}
	unit := make([]float64, len(knots))
	for j := range knots {
		unit[j] = 1
		b.bends[j] = bendsOf(knots, unit)
		unit[j] = 0
	}
	b.across = newMatrix(len(knots), len(knots))
	for j, bends := range b.bends {
		for m, bend := range bends {
			b.across[m][j] = bend
		}
	}
	return b
}

// penalty is the matrix of the integrated squared second derivative.
func (b basis) penalty() [][]float64 {
	k := len(b.knots)
	out := newMatrix(k, k)
	for i := range k - 1 {
		h := b.knots[i+1] - b.knots[i]
		for r := range k {
			for c := range k {
				a0, a1, b0, b1 := b.bends[r][i], b.bends[r][i+1], b.bends[c][i], b.bends[c][i+1]
				out[r][c] += h / 6 * (float64(2*a0*b0) + float64(a0*b1) + float64(a1*b0) + float64(2*a1*b1))
			}
		}
	}
	return out
}

// weights returns the curve of each knot at x.
func (b basis) weights(x float64) []float64 {
	p := placeOf(b.knots, x)
	out := make([]float64, len(b.knots))
	for j := range out {
		for i, position := range p.at {
			switch {
			case position >= len(b.knots):
				out[j] += float64(p.weight[i] * b.bends[j][position-len(b.knots)])
			case position == j:
				out[j] += p.weight[i]
			}
		}
	}
	return out
}

func newMatrix(rows, columns int) [][]float64 {
	cells := make([]float64, rows*columns)
	out := make([][]float64, rows)
	for i := range out {
		out[i] = cells[i*columns : (i+1)*columns]
	}
	return out
}

// evenKnots places so many knots at equal distances from low to high.
func evenKnots(low, high float64, count int) []float64 {
	knots := make([]float64, count)
	for i := range knots {
		knots[i] = low + (high-low)*float64(i)/float64(max(count-1, 1))
	}
	if count > 1 {
		knots[count-1] = high
	}
	return knots
}
