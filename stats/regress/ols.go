package regress

import (
	"fmt"
	"math"
	"strings"

	"tonocohort/stats"
)

// Fit is a least-squares fit. Every slice by column has one entry per column of
// the Design, in its order; an aliased column holds NaN.
type Fit struct {
	Names        []string
	Terms        []string
	Coefficients []float64
	Aliased      []bool

	N    int // observations
	Rank int // columns that are not aliased
	DF   int // N − Rank, the residual degrees of freedom

	ConditionNumber float64 // largest over smallest singular value of the fitted columns at unit length (Belsley, Kuh and Welsch 1980)
	Refined         bool    // coefficients were refined with residuals in twice the working precision

	RSS              float64 // residual sum of squares (weighted where weights are)
	TSS              float64 // total sum of squares: about the mean with an intercept, about zero without
	Centred          bool    // TSS and R2 are about the mean
	R2, R2Adjusted   float64
	ResidualSD       float64 // NaN without residual degrees of freedom
	F, FDF1, FDF2, P float64 // all coefficients but the intercept together; NaN where it does not exist

	Residuals []float64 // outcome − fitted, not weighted

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
}

// OLS fits y on the columns of d by least squares. weights may be nil; else row
// i counts weights[i] > 0 times as much (its variance is taken to be σ²/w). An
// error is returned for unequal lengths, missing or infinite numbers and
// weights that are not positive; collinear columns are no error.
func OLS(d *Design, y, weights []float64) (*Fit, error) {
	if err := checkOutcome(d, y, weights); err != nil {
		return nil, err
	}
	f := decompose(d, y, weights)
	if f.polynomialBroken() {
		f = decompose(d.uncentred(), y, weights)
		f.warn(WarnUncentred, "a power within a polynomial is determined by other columns; the polynomial was formed about zero", nil, nil)
	}
	f.refine(y)
	f.takeBack()
	f.sumsOfSquares(y)
	f.aliasWarning()
	if f.DF == 0 {
		f.warn(WarnSaturated, fmt.Sprintf("%d coefficients from %d observations leave nothing to estimate an error from", f.Rank, f.N), nil, nil)
	}
	return f, nil
}

func checkOutcome(d *Design, y, weights []float64) error {
	if err := d.check(len(y)); err != nil {
		return err
	}
	for i, v := range y {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("regress: the outcome holds %v in row %d; rows with missing values must be left out before", v, i)
		}
	}
	if weights != nil && len(weights) != len(y) {
		return lengthError("weights", len(weights), len(y))
	}
	for i, w := range weights {
		if !(w > 0) || math.IsInf(w, 0) {
			return fmt.Errorf("regress: weight %v in row %d; weights must be positive", w, i)
		}
	}
	return nil
}

// decompose finds the triangle of the scaled columns and the outcome, the
// columns that can be fitted and a first solution.
func decompose(d *Design, y, weights []float64) *Fit {
	p := len(d.columns)
	f := &Fit{
		Names: d.Names(), Terms: d.Terms(), Aliased: make([]bool, p), N: len(y),
		Centred: d.intercept, design: d, outcome: y, weights: weights,
	}
	scales := make([]float64, p)
	for j, c := range d.columns {
		scales[j] = powerOfTwoScale(c)
	}
	t := newTriangle(p + 1)
	block := newBlock(p+1, blockRows)
	for from := 0; from < f.N; from += blockRows {
		to := min(from+blockRows, f.N)
		rows := f.load(block[:p], allColumns(p), scales, from, to)
		outcome := block[p][:to-from]
		copy(outcome, y[from:to])
		f.weigh(outcome, from)
		t.fold(append(rows, outcome))
	}
	var reduced triangle
	f.active, reduced = t.ranked()
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

// takeBack turns the coefficients of the fitted columns into those of the
// user's columns, and prepares the same for covariances.
func (f *Fit) takeBack() {
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
func (f *Fit) polynomialBroken() bool {
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

// sumsOfSquares fills in what follows from the residuals.
func (f *Fit) sumsOfSquares(y []float64) {
	weight := func(i int) float64 {
		if f.weights == nil {
			return 1
		}
		return f.weights[i]
	}
	var mean float64
	if f.Centred {
		total := f.sum(func(i int) float64 { return weight(i) })
		mean = f.sum(func(i int) float64 { return float64(weight(i) * y[i]) }) / total
		mean += f.sum(func(i int) float64 { return float64(weight(i) * (y[i] - mean)) }) / total
	}
	f.RSS = f.sum(func(i int) float64 { return float64(weight(i) * float64(f.Residuals[i]*f.Residuals[i])) })
	f.TSS = f.sum(func(i int) float64 { d := y[i] - mean; return float64(weight(i) * float64(d*d)) })
	explained := f.sum(func(i int) float64 {
		d := (y[i] - mean) - f.Residuals[i]
		return float64(weight(i) * float64(d*d))
	})
	constant := 0
	if f.Centred {
		constant = 1
	}
	nan := math.NaN()
	f.ResidualSD, f.R2, f.R2Adjusted = nan, nan, nan
	f.F, f.FDF1, f.FDF2, f.P = nan, float64(f.Rank-constant), float64(f.DF), nan
	if f.TSS > 0 {
		f.R2 = explained / (explained + f.RSS)
	}
	if f.DF == 0 {
		return
	}
	f.ResidualSD = math.Sqrt(f.RSS / float64(f.DF))
	f.R2Adjusted = 1 - float64((1-f.R2)*(float64(f.N-constant)/float64(f.DF)))
	if f.FDF1 > 0 {
		f.F = (explained / f.FDF1) / (f.RSS / f.FDF2)
		f.P = stats.FTail(f.F, f.FDF1, f.FDF2)
	}
}

// sum adds term(0) … term(N−1) block by block.
func (f *Fit) sum(term func(int) float64) float64 {
	var total doubleDouble
	for from := 0; from < f.N; from += blockRows {
		var part float64
		for i := from; i < min(from+blockRows, f.N); i++ {
			part += term(i)
		}
		total = total.addFloat(part)
	}
	return total.float()
}

func (f *Fit) aliasWarning() {
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

func (f *Fit) warn(code, message string, terms []string, rows []int) {
	f.Warnings = append(f.Warnings, Warning{code, message, terms, rows})
}
