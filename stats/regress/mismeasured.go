package regress

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ErrorsInColumn says how one column of a design is mismeasured, row by row.
type ErrorsInColumn struct {
	Column     int
	Variance   []float64 // of the column's error, in the column's unit squared
	Covariance []float64 // with the outcome's error; nil: none is shared
}

// Calibrated is a linear model corrected for error in one column.
type Calibrated struct {
	Coefficients []float64
	Matrix       [][]float64 // covariance of the coefficients: sandwich of the corrected equations
	DF           float64
	Reliability  float64 // share of the column's variance, given the others, that is not error
	Explained    float64 // variance of the linear predictor of the true columns
}

// Calibrate corrects least squares for error in one column by its moments: the
// error's variance is taken off the column's own products and its covariance with
// the outcome's error off theirs (Fuller 1987, Measurement Error Models, 2.2 and
// 3.1). With equal error variances this is regression calibration (Carroll,
// Ruppert, Stefanski and Crainiceanu 2006, Measurement Error in Nonlinear Models,
// ch. 4; both from memory). Scores are summed within clusters where cluster is
// given. An error is returned where the error is as large as what the column has
// of its own, for then nothing is left to correct with.
func (f *Fit) Calibrate(e ErrorsInColumn, cluster []int) (*Calibrated, error) {
	p := len(f.Names)
	switch {
	case f.weights != nil:
		return nil, errWeighted
	case f.Rank < p || f.DF < 1:
		return nil, errors.New("regress: a model with aliased columns is not corrected for error")
	case len(e.Variance) != f.N || e.Covariance != nil && len(e.Covariance) != f.N:
		return nil, lengthError("error variance", len(e.Variance), f.N)
	case e.Column < 0 || e.Column >= p || f.design.columns[e.Column].constant():
		return nil, errors.New("regress: the intercept has no error")
	}
	columns, centres := f.centredColumns()
	gram, right := mat.NewSymDense(p, nil), mat.NewVecDense(p, nil)
	for a := range p {
		right.SetVec(a, dot(columns[a], f.outcome))
		for b := range a + 1 {
			gram.SetSym(a, b, dot(columns[a], columns[b]))
		}
	}
	var naive mat.Cholesky
	if !naive.Factorize(gram) {
		return nil, errors.New("regress: the columns are too nearly dependent")
	}
	var inverse mat.SymDense
	if err := naive.InverseTo(&inverse); err != nil {
		return nil, fmt.Errorf("regress: %w", err)
	}
	var variance, covariance float64
	for i, v := range e.Variance {
		variance += v
		if e.Covariance != nil {
			covariance += e.Covariance[i]
		}
	}
	j := e.Column
	out := &Calibrated{Reliability: 1 - float64(variance*inverse.At(j, j)), DF: float64(f.DF)}
	if !(out.Reliability > 0) {
		return nil, fmt.Errorf("regress: the error of %s is as large as what the other columns leave of it", f.Names[j])
	}
	gram.SetSym(j, j, gram.At(j, j)-variance)
	right.SetVec(j, right.AtVec(j)-covariance)
	var corrected mat.Cholesky
	if !corrected.Factorize(gram) {
		return nil, fmt.Errorf("regress: the error of %s is as large as what the other columns leave of it", f.Names[j])
	}
	var b mat.VecDense
	if err := corrected.SolveVecTo(&b, right); err != nil {
		return nil, fmt.Errorf("regress: %w", err)
	}
	out.explained(f, gram, &b)
	meat, groups := f.correctedScores(e, columns, b.RawVector().Data, cluster)
	return out, out.sandwich(f, &corrected, &b, meat, centres, groups)
}

// centredColumns are the user's columns about their means (with an intercept),
// so that products keep their digits.
func (f *Fit) centredColumns() (columns [][]float64, centres []float64) {
	centres = make([]float64, len(f.Names))
	for j := range f.Names {
		x := f.design.userColumn(j, f.N)
		column := make([]float64, f.N)
		if x == nil {
			for i := range column {
				column[i] = 1
			}
		} else {
			if f.design.intercept {
				for _, v := range x {
					centres[j] += v / float64(f.N)
				}
			}
			for i, v := range x {
				column[i] = v - centres[j]
			}
		}
		columns = append(columns, column)
	}
	return columns, centres
}

// explained is the variance of the true linear predictor.
func (c *Calibrated) explained(f *Fit, gram *mat.SymDense, b *mat.VecDense) {
	for a := range f.Names {
		for d := range f.Names {
			if !f.design.columns[a].constant() && !f.design.columns[d].constant() {
				c.Explained += float64(b.AtVec(a)*b.AtVec(d)) * gram.At(a, d) / float64(f.N)
			}
		}
	}
}

// correctedScores sums x·r + (s²·b − c)·eⱼ, whose mean is zero at the corrected
// coefficients, and their products by row or cluster.
func (f *Fit) correctedScores(e ErrorsInColumn, columns [][]float64, b []float64, cluster []int) (meat [][]float64, groups int) {
	rows := make([][]int, 0, f.N)
	if cluster != nil {
		rows = grouped(cluster)
	} else {
		for i := range f.N {
			rows = append(rows, []int{i})
		}
	}
	meat = newSquare(len(b))
	score := make([]float64, len(b))
	for _, group := range rows {
		clear(score)
		for _, i := range group {
			r := f.outcome[i]
			for k := range b {
				r -= float64(columns[k][i] * b[k])
			}
			for k := range b {
				score[k] += float64(columns[k][i] * r)
			}
			score[e.Column] += float64(e.Variance[i] * b[e.Column])
			if e.Covariance != nil {
				score[e.Column] -= e.Covariance[i]
			}
		}
		addOuter(meat, score, 1)
	}
	return meat, len(rows)
}

// sandwich fills in coefficients and covariance on the user's scale.
func (c *Calibrated) sandwich(f *Fit, corrected *mat.Cholesky, b *mat.VecDense, meat [][]float64, centres []float64, groups int) error {
	p := len(f.Names)
	var bread mat.SymDense
	if err := corrected.InverseTo(&bread); err != nil {
		return fmt.Errorf("regress: %w", err)
	}
	middle := mat.NewDense(p, p, nil)
	for a := range p {
		middle.SetRow(a, meat[a])
	}
	back := mat.NewDense(p, p, nil) // from centred columns to the user's
	for a := range p {
		back.Set(a, a, 1)
		if f.design.intercept && a > 0 {
			back.Set(0, a, -centres[a])
		}
	}
	var v, half mat.Dense
	half.Mul(&bread, middle)
	v.Mul(&half, &bread)
	half.Mul(back, &v)
	v.Mul(&half, back.T())
	factor := float64(f.N) / float64(f.DF)
	if groups < f.N {
		factor = float64(groups) / float64(groups-1) * (float64(f.N-1) / float64(f.DF))
		c.DF = float64(groups - 1)
	}
	var user mat.VecDense
	user.MulVec(back, b)
	c.Coefficients = make([]float64, p)
	c.Matrix = newSquare(p)
	for a := range p {
		c.Coefficients[a] = user.AtVec(a)
		for d := range p {
			c.Matrix[a][d] = factor * v.At(a, d)
		}
	}
	return nil
}

// Table returns the corrected coefficients with Student's t intervals.
func (c *Calibrated) Table(names []string, level float64) []Coefficient {
	out := make([]Coefficient, len(names))
	for j, name := range names {
		out[j] = coefficientOf(name, c.Coefficients[j], math.Sqrt(c.Matrix[j][j]), c.DF, level)
	}
	return out
}

func coefficientOf(name string, b, se, degrees, level float64) Coefficient {
	half := float64(studentQuantile((1+level)/2, degrees) * se)
	return Coefficient{Name: name, Estimate: b, SE: se, DF: degrees, T: b / se, P: studentTail(b/se, degrees), Low: b - half, High: b + half}
}
