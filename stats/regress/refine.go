package regress

import "math"

// Refinement solves the seminormal equations RᵀR·d = Xᵀr with the residuals r
// in double-double (Björck 1987, Linear Algebra Appl 88:31-48). It converges
// while the square of the condition number stays well below 2^53; above the
// limit the solution of the orthogonal decomposition stands as it is.
const (
	refinementLimit  = 3e6
	refinementTarget = 1.0 / (1 << 62) / (1 << 13) // so far below a double that small coefficients and differences of large ones keep their digits
	refinementSteps  = 12
)

// refine improves the coefficients and computes the residuals of the result.
func (f *Model) refine(y []float64) {
	if f.ConditionNumber > refinementLimit {
		f.warn(WarnCollinear, "the columns are too nearly collinear for refinement; the last digits of the coefficients are uncertain", nil, nil)
	} else if f.Rank > 0 {
		f.Refined = true
		contraction := min(1, 30*float64(f.ConditionNumber*f.ConditionNumber)/(1<<53))
		last := math.Inf(1)
		for range refinementSteps {
			step := f.correction(f.gradient(y))
			size := f.relativeSize(step)
			if size >= last/2 {
				break
			}
			for k := range f.coordinates {
				f.coordinates[k] = f.coordinates[k].addFloat(step[k])
			}
			contraction = min(contraction, size/last)
			if float64(size*contraction) < refinementTarget {
				break
			}
			last = size
		}
	}
	f.residuals(y)
}

// gradient returns Xᵀ W (y − X b) of the scaled fitted columns.
func (f *Model) gradient(y []float64) []float64 {
	parts := make([][]doubleDouble, chunkCount(f.N))
	inChunks(f.N, func() func(chunk, from, to int) {
		hi, lo, r := make([]float64, blockRows), make([]float64, blockRows), f.design.reader()
		return func(chunk, from, to int) {
			g := make([]doubleDouble, f.Rank)
			blocks(from, to, func(from, to int) { f.addGradient(r, g, y, from, to, hi, lo) })
			parts[chunk] = g
		}
	})
	out := make([]float64, f.Rank)
	for k := range out {
		var total doubleDouble
		for _, g := range parts {
			total = total.add(g[k])
		}
		out[k] = total.float() * f.scales[k]
	}
	return out
}

// addGradient adds what a block of rows has of it, for the columns as they are.
func (f *Model) addGradient(r *reader, g []doubleDouble, y []float64, from, to int, hi, lo []float64) {
	f.residualBlock(r, y, from, to, hi, lo)
	if f.weights != nil {
		for i := range to - from {
			r := doubleDouble{hi[i], lo[i]}.mulFloat(f.weights[from+i])
			hi[i], lo[i] = r.hi, r.lo
		}
	}
	for k, j := range f.active {
		g[k] = g[k].add(dotDouble(r.at(j, from, to), hi[:to-from], lo[:to-from]))
	}
}

// dotDouble is Σ x·(hi + lo) over a block, in double-double; a nil column is one.
func dotDouble(column, hi, lo []float64) doubleDouble {
	var s, c float64
	if column == nil {
		for i, v := range hi {
			t, e := twoSum(s, v)
			s = t
			c += e + lo[i]
		}
	} else {
		column = column[:len(hi)]
		for i, v := range hi {
			p, pe := twoProduct(column[i], v)
			t, e := twoSum(s, p)
			s = t
			c += e + (pe + float64(column[i]*lo[i]))
		}
	}
	s, c = quickTwoSum(s, c)
	return doubleDouble{s, c}
}

// residualBlock computes y − X b of a block of rows in double-double.
func (f *Model) residualBlock(r *reader, y []float64, from, to int, hi, lo []float64) {
	hi, lo = hi[:to-from], lo[:to-from]
	copy(hi, y[from:to])
	clear(lo)
	for k, j := range f.active {
		bh, bl := f.coordinates[k].hi, f.coordinates[k].lo
		column := r.at(j, from, to)
		if column == nil {
			for i := range hi {
				t, e := twoSum(hi[i], -bh)
				hi[i], lo[i] = t, lo[i]+(e-bl)
			}
			continue
		}
		for i, x := range column {
			p, pe := twoProduct(x, -bh)
			t, e := twoSum(hi[i], p)
			hi[i] = t
			lo[i] += e + (pe - float64(x*bl))
		}
	}
	for i := range hi {
		hi[i], lo[i] = quickTwoSum(hi[i], lo[i])
	}
}

// residuals fills in y − X b.
func (f *Model) residuals(y []float64) {
	f.rows = spareRows.take()
	f.rows.residuals = resized(f.rows.residuals, f.N)
	f.working = f.rows.residuals
	f.residualsInto(f.working, y)
}

func (f *Model) residualsInto(out, y []float64) {
	inChunks(f.N, func() func(chunk, from, to int) {
		lo, r := make([]float64, blockRows), f.design.reader()
		return func(_, from, to int) {
			blocks(from, to, func(from, to int) { f.residualBlock(r, y, from, to, out[from:to], lo) })
		}
	})
}

// correction solves the seminormal equations for the scaled columns and
// returns the step of the unscaled coefficients.
func (f *Model) correction(g []float64) []float64 {
	step := f.r.solve(f.r.solveTransposed(g, f.Rank), f.Rank)
	for k := range step {
		step[k] *= f.scales[k]
	}
	return step
}

// relativeSize is the largest change of any column's contribution, as a share
// of the largest contribution.
func (f *Model) relativeSize(step []float64) float64 {
	var change, largest float64
	for k, d := range step {
		length := norm(f.r[k][:k+1]) / f.scales[k]
		change = max(change, math.Abs(d)*length)
		largest = max(largest, math.Abs(f.coordinates[k].hi)*length)
	}
	if change == 0 {
		return 0
	}
	return change / largest
}
