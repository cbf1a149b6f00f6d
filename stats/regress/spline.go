package regress

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/stats"
)

// Kinds of spline bases.
const (
	NaturalSpline = "natural_spline" // cubic between the boundary knots, linear beyond them
	BSpline       = "b_spline"       // piecewise polynomial; beyond the boundary the end pieces go on
)

const maxDegree = 15

// SplineBasis turns a predictor into the columns of a spline: B-splines (de Boor
// 1978, A Practical Guide to Splines), for a natural spline projected onto those
// combinations whose second derivative vanishes at both boundary knots. The
// columns are those of the functions ns and bs of R, so that coefficients
// compare.
type SplineBasis struct {
	Kind      string
	Degree    int
	Knots     []float64  // interior, ascending
	Boundary  [2]float64 // the outermost knots
	Intercept bool       // the columns span the constant, too

	all        []float64    // knots with the repeated boundary
	reflection [2][]float64 // natural: Householder vectors of the two end conditions
	pieces     []piece      // in the order of their places
}

// piece is what the columns are between two knots, or beyond the boundary: powers
// of the distance from an origin.
type piece struct {
	from, origin float64
	powers       []float64 // by column, Degree + 1 each, the constant first
}

// NewNaturalSpline places df − 1 interior knots at equal quantiles (type 7) of x
// and the boundary knots at its extremes; df ≥ 1 is the number of columns.
func NewNaturalSpline(x []float64, df int) (*SplineBasis, error) {
	knots, boundary, err := quantileKnots(x, df-1)
	if err != nil {
		return nil, err
	}
	return NaturalSplineWith(knots, boundary)
}

// NaturalSplineWith makes a natural cubic spline with the given knots: one column
// more than interior knots.
func NaturalSplineWith(knots []float64, boundary [2]float64) (*SplineBasis, error) {
	s, err := newSpline(NaturalSpline, 3, knots, boundary, false)
	if err != nil {
		return nil, err
	}
	s.endConditions()
	s.cutIntoPieces()
	return s, nil
}

// NewBSpline places df − degree interior knots (one fewer with intercept) at
// equal quantiles (type 7) of x and the boundary knots at its extremes.
func NewBSpline(x []float64, df, degree int, intercept bool) (*SplineBasis, error) {
	inner := df - degree
	if intercept {
		inner--
	}
	knots, boundary, err := quantileKnots(x, inner)
	if err != nil {
		return nil, err
	}
	return BSplineWith(knots, boundary, degree, intercept)
}

// BSplineWith makes a B-spline basis with the given knots.
func BSplineWith(knots []float64, boundary [2]float64, degree int, intercept bool) (*SplineBasis, error) {
	s, err := newSpline(BSpline, degree, knots, boundary, intercept)
	if err != nil {
		return nil, err
	}
	s.cutIntoPieces()
	return s, nil
}

func newSpline(kind string, degree int, knots []float64, boundary [2]float64, intercept bool) (*SplineBasis, error) {
	if degree < 1 || degree > maxDegree {
		return nil, fmt.Errorf("regress: a spline needs a degree from 1 to %d, not %d", maxDegree, degree)
	}
	all := slices.Repeat([]float64{boundary[0]}, degree+1)
	all = append(all, knots...)
	for i := degree + 1; i < len(all); i++ {
		if !(all[i] > all[i-1]) || !(all[i] < boundary[1]) {
			return nil, fmt.Errorf("regress: interior knots %v do not ascend strictly between the boundary knots %v", knots, boundary)
		}
	}
	if !(boundary[0] < boundary[1]) {
		return nil, fmt.Errorf("regress: boundary knots %v do not span a range", boundary)
	}
	all = append(all, slices.Repeat([]float64{boundary[1]}, degree+1)...)
	return &SplineBasis{Kind: kind, Degree: degree, Knots: slices.Clone(knots), Boundary: boundary, Intercept: intercept, all: all}, nil
}

// quantileKnots places knots at equally spaced quantiles of x.
func quantileKnots(x []float64, inner int) (knots []float64, boundary [2]float64, err error) {
	if inner < 0 {
		return nil, boundary, fmt.Errorf("regress: too few degrees of freedom for the spline")
	}
	if len(x) == 0 || slices.ContainsFunc(x, func(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) }) {
		return nil, boundary, fmt.Errorf("regress: the predictor of a spline needs finite values")
	}
	sorted := slices.Clone(x)
	slices.Sort(sorted)
	for i := 1; i <= inner; i++ {
		knots = append(knots, stats.Quantile(sorted, float64(i)/float64(inner+1), stats.ModePositions))
	}
	return knots, [2]float64{sorted[0], sorted[len(sorted)-1]}, nil
}

// Columns returns the number of columns of the basis.
func (s *SplineBasis) Columns() int {
	count := len(s.all) - s.Degree - 1
	if s.Kind == NaturalSpline {
		count -= 2
	}
	if !s.Intercept {
		count--
	}
	return count
}

// Basis evaluates the columns at x.
func (s *SplineBasis) Basis(x []float64) [][]float64 {
	out := newBlock(s.Columns(), len(x))
	s.fill(x, out)
	return out
}

// fill evaluates the columns at x.
func (s *SplineBasis) fill(x []float64, out [][]float64) {
	size := s.Degree + 1
	for i, v := range x {
		at := len(s.pieces) - 1
		for at > 0 && v < s.pieces[at].from {
			at--
		}
		p := &s.pieces[at]
		t, powers := v-p.origin, p.powers
		for k := range out {
			c := powers[k*size : (k+1)*size]
			sum := c[size-1]
			for d := size - 2; d >= 0; d-- {
				sum = float64(sum*t) + c[d]
			}
			out[k][i] = sum
		}
	}
}

// cutIntoPieces finds the polynomial of each column between its knots from the
// derivatives at the left one. Beyond the boundary the outermost pieces go on, those
// of a natural spline as straight lines.
func (s *SplineBasis) cutIntoPieces() {
	add := func(from, origin float64, degree int) {
		p := piece{from: from, origin: origin, powers: make([]float64, s.Columns()*(s.Degree+1))}
		row, factorial := make([]float64, len(s.all)-s.Degree-1), 1.0
		for d := range degree + 1 {
			factorial *= max(1, float64(d))
			s.bsplines(origin, d, row)
			for k, v := range s.project(row) {
				p.powers[k*(s.Degree+1)+d] = v / factorial
			}
		}
		s.pieces = append(s.pieces, p)
	}
	if s.Kind == NaturalSpline {
		add(math.Inf(-1), s.Boundary[0], 1)
	}
	add(s.Boundary[0], s.Boundary[0], s.Degree)
	for _, knot := range s.Knots {
		add(knot, knot, s.Degree)
	}
	if s.Kind == NaturalSpline {
		add(math.Nextafter(s.Boundary[1], math.Inf(1)), s.Boundary[1], 1)
	}
}

// project drops the first column and, for a natural spline, applies the end
// conditions.
func (s *SplineBasis) project(row []float64) []float64 {
	if !s.Intercept {
		row = row[1:]
	}
	if s.Kind != NaturalSpline {
		return row
	}
	for k, v := range s.reflection {
		tail := row[k:]
		axpy(-2*dot(v, tail)/dot(v, v), v, tail)
	}
	return row[2:]
}

// endConditions finds the reflections that turn the two conditions on the second
// derivative into the first two coordinates, which are then left out.
func (s *SplineBasis) endConditions() {
	count := len(s.all) - s.Degree - 1
	var conditions [2][]float64
	for side, edge := range s.Boundary {
		row := make([]float64, count)
		s.bsplines(edge, 2, row)
		conditions[side] = row[1:]
	}
	for k := range s.reflection {
		v := slices.Clone(conditions[k][k:])
		length := norm(v)
		if v[0] < 0 {
			length = -length
		}
		v[0] += length
		s.reflection[k] = v
		for later := k + 1; later < 2; later++ {
			tail := conditions[later][k:]
			axpy(-2*dot(v, tail)/dot(v, v), v, tail)
		}
	}
}

// bsplines fills row with the derivatives of the given order of all B-splines
// at x; the piece of an end interval holds beyond it.
func (s *SplineBasis) bsplines(x float64, derivative int, row []float64) {
	clear(row)
	last := len(s.all) - s.Degree - 2
	j := s.Degree
	for j < last && x >= s.all[j+1] {
		j++
	}
	var room [maxDegree + 1]float64
	values := room[:s.Degree+1]
	values[0] = 1
	for d := 1; d <= s.Degree; d++ {
		differentiate := d > s.Degree-derivative
		var carry float64
		for r := range d {
			left, right := s.all[j+1+r-d], s.all[j+1+r]
			t := values[r] / (right - left)
			if differentiate {
				t *= float64(d)
				values[r] = carry - t
				carry = t
			} else {
				values[r] = carry + float64((right-x)*t)
				carry = float64((x - left) * t)
			}
		}
		values[d] = carry
	}
	copy(row[j-s.Degree:], values)
}

// AddSpline adds the columns of a spline of x as one term.
func (d *Design) AddSpline(name string, x []float64, s *SplineBasis) {
	var names []string
	for k := range s.Columns() {
		names = append(names, fmt.Sprintf("%s spline %d", name, k+1))
	}
	d.AddSplineTerm(name, names, x, s)
}

// AddSplineTerm does so under names of the caller's. The columns are computed from x
// wherever they are wanted.
func (d *Design) AddSplineTerm(term string, names []string, x []float64, s *SplineBasis) {
	columns := &source{x: orEmpty(x), count: s.Columns(), fill: s.fill}
	for k := range columns.count {
		d.append(term, names[k], column{source: columns, place: k})
	}
}
