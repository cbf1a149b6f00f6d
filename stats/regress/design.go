package regress

import (
	"fmt"
	"math"
	"slices"
)

// Design is the right-hand side of a linear model: columns in the order in
// which they were added, each belonging to a term. The slices are read, never
// changed, and must not be changed by the caller while the Design or a Fit made
// from it is in use.
type Design struct {
	intercept   bool
	names       []string
	terms       []string
	columns     []column
	polynomials []polynomial
	largest     []float64 // magnitude of each column, where it is known
}

// polynomial remembers how the columns first … first+degree-1 were formed:
// column k holds ((x − centre)/scale)^(k+1).
type polynomial struct {
	first, degree int
	centre, scale float64
	x             []float64
}

// NewDesign starts a model; with intercept its first column is the constant.
func NewDesign(intercept bool) *Design {
	d := &Design{intercept: intercept}
	if intercept {
		d.append(Intercept, Intercept, column{})
	}
	return d
}

// Columns makes a Design of plain columns, each a term of its own.
func Columns(intercept bool, names []string, columns [][]float64) *Design {
	d := NewDesign(intercept)
	for i, c := range columns {
		name := fmt.Sprintf("column %d", i+1)
		if i < len(names) {
			name = names[i]
		}
		d.Add(name, c)
	}
	return d
}

// Add adds one column as a term of its own.
func (d *Design) Add(name string, x []float64) { d.append(name, name, column{values: orEmpty(x)}) }

// AddTerm adds several columns that form one term, as those of a factor, an
// interaction or a spline do: joint tests and generalised variance inflation go
// by term.
func (d *Design) AddTerm(term string, names []string, columns [][]float64) {
	for i, c := range columns {
		d.append(term, names[i], column{values: orEmpty(c)})
	}
}

// AddFactor adds for each of the levels a column that is 1 where the row has it and
// 0 elsewhere, as one term.
func (d *Design) AddFactor(term string, names []string, codes, levels []int32) {
	columns := &source{codes: codes, levels: levels, count: len(levels)}
	for k := range levels {
		d.append(term, names[k], column{source: columns, place: k})
	}
}

// AddPolynomial adds x, x², … x^degree as one term. Inside the fit the powers
// are those of (x − c)/h, with c near the middle of the range and h a power of
// two that spans it, so that they are far from collinear; coefficients and
// covariances are taken back to the powers of x in twice the working precision.
// Without an intercept c is 0.
func (d *Design) AddPolynomial(name string, x []float64, degree int) {
	p := polynomial{first: len(d.names), degree: degree, scale: 1, x: x}
	p.centre, p.scale = centreAndScale(x, d.intercept)
	powers := p.source()
	for k := 1; k <= degree; k++ {
		d.append(name, powerName(name, k), column{source: powers, place: k - 1})
	}
	d.polynomials = append(d.polynomials, p)
}

// Names returns the names of the columns, the intercept first.
func (d *Design) Names() []string { return append([]string(nil), d.names...) }

// Terms returns for each column the term that it belongs to.
func (d *Design) Terms() []string { return append([]string(nil), d.terms...) }

func (d *Design) append(term, name string, c column) {
	d.terms = append(d.terms, term)
	d.names = append(d.names, name)
	d.columns, d.largest = append(d.columns, c), nil
}

// orEmpty keeps a nil column apart from the intercept.
func orEmpty(x []float64) []float64 {
	if x == nil {
		return []float64{}
	}
	return x
}

func powerName(name string, k int) string {
	if k == 1 {
		return name
	}
	return fmt.Sprintf("%s^%d", name, k)
}

// centreAndScale returns the middle of the range of x, rounded to a few binary
// digits so that x − centre is exact for ordinary data, and the smallest power
// of two that is not below the half-range.
func centreAndScale(x []float64, centred bool) (centre, scale float64) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		low, high = min(low, v), max(high, v)
	}
	half := (high - low) / 2
	if !centred {
		half = max(math.Abs(low), math.Abs(high))
	}
	if !(half > 0) || math.IsInf(half, 0) {
		return 0, 1
	}
	fraction, exponent := math.Frexp(half)
	if fraction == 0.5 {
		exponent--
	}
	scale = math.Ldexp(1, exponent)
	if centred {
		grid := scale / 64
		centre = math.RoundToEven((float64(low/2)+float64(high/2))/grid) * grid
	}
	return centre, scale
}

// source computes the powers of the centred and scaled predictor.
func (p polynomial) source() *source {
	return &source{x: p.x, count: p.degree, fill: func(x []float64, out [][]float64) {
		first := out[0]
		for i, v := range x {
			first[i] = (v - p.centre) / p.scale
		}
		for k := 1; k < len(out); k++ {
			for i, u := range first {
				out[k][i] = float64(out[k-1][i] * u)
			}
		}
	}}
}

// uncentred returns the design with every polynomial formed about zero.
func (d *Design) uncentred() *Design {
	out := *d
	out.columns, out.largest = slices.Clone(d.columns), nil
	out.polynomials = append([]polynomial(nil), d.polynomials...)
	for i := range out.polynomials {
		p := &out.polynomials[i]
		p.centre = 0
		_, p.scale = centreAndScale(p.x, false)
		powers := p.source()
		for k := range p.degree {
			out.columns[p.first+k] = column{source: powers, place: k}
		}
	}
	return &out
}

// checked returns the design with what is known of its columns after the check, or
// an error about the first that cannot be used with n observations.
func (d *Design) checked(n int) (*Design, error) {
	if n == 0 {
		return nil, errNoRows
	}
	if len(d.columns) == 0 {
		return nil, errNoColumns
	}
	for j, c := range d.columns {
		if rows := c.rows(); rows >= 0 && rows != n {
			return nil, lengthError(d.names[j], rows, n)
		}
	}
	out := *d
	out.largest = d.magnitudes(n)
	for j, largest := range out.largest {
		if largest <= math.MaxFloat64 {
			continue
		}
		c := d.whole(j, n)
		if i := firstBad(c); i >= 0 {
			return nil, fmt.Errorf("regress: column %q holds %v in row %d; rows with missing values must be left out before", d.names[j], c[i], i)
		}
	}
	return &out, nil
}

// backTransform returns the rows of the matrix that takes the coefficients of
// the fitted columns to those of the user's columns, in double-double.
func (d *Design) backTransform() [][]doubleDouble {
	p := len(d.columns)
	t := make([][]doubleDouble, p)
	for i := range t {
		t[i] = make([]doubleDouble, p)
		t[i][i].hi = 1
	}
	for _, q := range d.polynomials {
		for k := 1; k <= q.degree; k++ {
			column := q.first + k - 1
			for j := 0; j <= k; j++ {
				row := q.first + j - 1
				if j == 0 {
					if q.centre == 0 {
						continue
					}
					row = 0 // the intercept
				}
				t[row][column] = q.expansion(k, j)
			}
		}
	}
	return t
}

// expansion is the coefficient of x^j in ((x − centre)/scale)^k.
func (q polynomial) expansion(k, j int) doubleDouble {
	c := doubleDouble{hi: 1}
	for i := 0; i < j; i++ { // binomial coefficient; every partial product is whole
		c = doubleDouble{hi: math.Round(c.hi * float64(k-i) / float64(i+1))}
	}
	for i := 0; i < k-j; i++ {
		c = c.mulFloat(-q.centre)
	}
	power := math.Ldexp(1, -k*(math.Ilogb(q.scale)))
	return doubleDouble{c.hi * power, c.lo * power}
}

// userColumn returns a column of n rows as the user gave it, nil for the constant.
func (d *Design) userColumn(j, n int) []float64 { return d.userColumnInto(j, n, nil) }

// userColumnInto does so in room, where it has to be computed and room is large enough.
func (d *Design) userColumnInto(j, n int, room []float64) []float64 {
	for _, q := range d.polynomials {
		if k := j - q.first; k >= 0 && k < q.degree {
			q.centre, q.scale = 0, 1
			raw := &Design{columns: []column{{source: q.source(), place: k}}}
			return raw.wholeInto(0, n, room)
		}
	}
	return d.wholeInto(j, n, room)
}
