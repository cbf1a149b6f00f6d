package regress

import (
	"fmt"
	"math"
	"strings"
)

// Model is what every fit of a linear predictor has. Every slice by column has
// one entry per column of the Design, in its order; an aliased column holds NaN.
type Model struct {
	Names        []string
	Terms        []string
	Coefficients []float64
	Aliased      []bool

	N    int // observations
	Rank int // columns that are not aliased
	DF   int // N − Rank, the residual degrees of freedom

	ConditionNumber float64 // largest over smallest singular value of the fitted columns at unit length (Belsley, Kuh and Welsch 1980)
	Refined         bool    // coefficients were refined with residuals in twice the working precision

	Warnings []Warning

	design      *Design
	outcome     []float64
	weights     []float64
	active      []int          // fitted columns
	scales      []float64      // powers of two, by fitted column
	r           triangle       // of the scaled fitted columns
	inverse     triangle       // of r
	transform   [][]float64    // user's columns × orthonormal coordinates: covariance = transform·M·transformᵀ
	coordinates []doubleDouble // coefficients of the fitted columns
	working     []float64      // residuals that make the scores
	leverages   []float64      // once they are known
	rows        *rowMemory     // that both stand in
}

// decompose finds the triangle of the scaled columns and the outcome, the
// columns that can be fitted and a first solution.
func decompose(d *Design, y, weights []float64) *Model {
	return decomposeAs(d, y, weights, nil)
}

// decomposeAs fits the columns of a former decomposition where active is given.
func decomposeAs(d *Design, y, weights []float64, active []int) *Model {
	f := reduce(d, y, weights, active)
	if f.polynomialBroken() {
		f = reduce(d.uncentred(), y, weights, active)
		f.warn(WarnUncentred, "a power within a polynomial is determined by other columns; the polynomial was formed about zero", nil, nil)
	}
	f.aliasWarning()
	if f.DF == 0 {
		f.warn(WarnSaturated, fmt.Sprintf("%d coefficients from %d observations leave nothing to estimate an error from", f.Rank, f.N), nil, nil)
	}
	return f
}

// reduce does so with the polynomials as the design forms them.
func reduce(d *Design, y, weights []float64, active []int) *Model {
	p := len(d.columns)
	f := &Model{
		Names: d.Names(), Terms: d.Terms(), Aliased: make([]bool, p), N: len(y),
		design: d, outcome: y, weights: weights,
	}
	scales := make([]float64, p)
	for j, largest := range d.magnitudes(f.N) {
		if !d.columns[j].constant() {
			scales[j] = powerOfTwoScale(largest)
			continue
		}
		scales[j] = 1
	}
	t := f.triangulate(allColumns(p), scales, 1, func(from, to int, out [][]float64) { copy(out[0], y[from:to]) })
	var reduced triangle
	f.active, reduced = t.ranked(active)
	f.Rank = len(f.active)
	f.DF = f.N - f.Rank
	for j := range f.Aliased {
		f.Aliased[j] = true
	}
	for _, j := range f.active {
		f.Aliased[j] = false
		f.scales = append(f.scales, scales[j])
	}
	f.r = reduced[:f.Rank]
	f.inverse = f.r.inverse(f.Rank)
	f.ConditionNumber = conditionNumber(f.r)
	for k, v := range f.r.solve(reduced[f.Rank], f.Rank) {
		f.coordinates = append(f.coordinates, doubleDouble{hi: v * f.scales[k]})
	}
	return f
}

// triangulate reduces some columns, scaled, and then further ones, which fill gives
// for a block of rows, all weighted, to their triangle: chunk by chunk, and then the
// triangles of the chunks in their order.
func (f *Model) triangulate(columns []int, scales []float64, further int, fill func(from, to int, out [][]float64)) triangle {
	size := len(columns) + further
	parts := make([]triangle, chunkCount(f.N))
	inChunks(f.N, func() func(chunk, from, to int) {
		block, r := newBlock(size, blockRows), f.design.reader()
		var rows [][]float64
		return func(chunk, from, to int) {
			t := newTriangle(size)
			blocks(from, to, func(from, to int) {
				f.load(r, block, columns, scales, from, to)
				rows = cut(rows, block, to-from)
				fill(from, to, rows[len(columns):])
				for _, row := range rows[len(columns):] {
					f.weigh(row, from)
				}
				t.fold(rows)
			})
			parts[chunk] = t
		}
	})
	for _, part := range parts[1:] {
		parts[0].fold(part)
	}
	return parts[0]
}

// takeBack turns the coefficients of the fitted columns into those of the
// user's columns, and prepares the same for covariances.
func (f *Model) takeBack() {
	t := f.design.backTransform()
	p := len(f.Names)
	f.Coefficients = make([]float64, p)
	f.transform = make([][]float64, p)
	for i := range t {
		if f.Aliased[i] {
			f.Coefficients[i] = math.NaN()
			continue
		}
		var b doubleDouble
		row := make([]doubleDouble, f.Rank)
		for k, j := range f.active {
			if t[i][j].hi == 0 {
				continue
			}
			b = b.add(t[i][j].mul(f.coordinates[k]))
			scaled := t[i][j].mulFloat(f.scales[k])
			for m := k; m < f.Rank; m++ {
				row[m] = row[m].add(scaled.mulFloat(f.inverse[m][k]))
			}
		}
		f.Coefficients[i] = b.float()
		f.transform[i] = make([]float64, f.Rank)
		for m := range row {
			f.transform[i][m] = row[m].float()
		}
	}
}

// polynomialBroken reports whether a power was aliased below a fitted one, so
// that shifted powers would not span what the user's powers span.
func (f *Model) polynomialBroken() bool {
	for _, q := range f.design.polynomials {
		seen := false
		for k := 0; k < q.degree; k++ {
			if f.Aliased[q.first+k] {
				seen = true
			} else if seen && q.centre != 0 {
				return true
			}
		}
	}
	return false
}

func (f *Model) aliasWarning() {
	var names []string
	for j, aliased := range f.Aliased {
		if aliased {
			names = append(names, f.Names[j])
		}
	}
	if names != nil {
		f.warn(WarnAliased, "determined by the columns before it, so not estimated: "+strings.Join(names, ", "), names, nil)
	}
}

func (f *Model) warn(code, message string, terms []string, rows []int) {
	f.Warnings = append(f.Warnings, Warning{code, message, terms, rows})
}
