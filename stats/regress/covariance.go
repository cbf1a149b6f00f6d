package regress

import (
	"fmt"
	"math"
	"strings"
)

// Names of the covariance estimators. HC0 to HC3 hold where the variance
// differs between observations (White 1980, Econometrica 48:817-38; MacKinnon
// and White 1985, J Econometrics 29:305-25).
const (
	Classical = "classical" // one variance for all observations
	HC0       = "HC0"       // squared residuals
	HC1       = "HC1"       // HC0 · N/(N − rank)
	HC2       = "HC2"       // squared residuals over 1 − h
	HC3       = "HC3"       // squared residuals over (1 − h)²; the choice at N ≤ 250 (Long and Ervin 2000, Am Stat 54:217-24)
)

// leverageOne is how near to one a leverage must be for its row to fit itself:
// its residual is then rounding, and dividing by 1 − h would spread it to all.
const leverageOne = 1 - 1e-10

// Covariance is an estimated covariance matrix of the coefficients.
type Covariance struct {
	Kind     string
	Matrix   [][]float64 // by column of the design; NaN for aliased columns and for coefficients without an estimate
	DF       []float64   // degrees of freedom of t for each coefficient; NaN where there are none
	Warnings []Warning

	meat [][]float64 // in the orthonormal coordinates of the fit
}

// SE returns the standard errors: the roots of the diagonal.
func (c *Covariance) SE() []float64 {
	se := make([]float64, len(c.Matrix))
	for i, row := range c.Matrix {
		se[i] = math.Sqrt(row[i])
	}
	return se
}

// Covariance estimates the covariance matrix by the named estimator: Classical
// or HC0 to HC3. A row of leverage one adds nothing to HC2 and HC3; the
// coefficients that rest on it have no such estimate and get NaN, the others
// keep theirs, and a Warning says which.
func (f *Fit) Covariance(kind string) (*Covariance, error) {
	switch kind {
	case Classical:
		m := newSquare(f.Rank)
		for k := range m {
			m[k][k] = float64(f.ResidualSD * f.ResidualSD)
		}
		return f.covariance(kind, m), nil
	}
	return f.heteroscedastic(kind)
}

// heteroscedastic is HC0 to HC3.
func (f *Model) heteroscedastic(kind string) (*Covariance, error) {
	switch kind {
	case HC0, HC1, HC2, HC3:
		m, ones := f.heteroscedasticMeat(kind)
		c := f.covariance(kind, m)
		f.dropUnestimable(c, ones)
		return c, nil
	}
	return nil, fmt.Errorf("regress: no covariance estimator %q", kind)
}

// covariance takes a matrix in orthonormal coordinates to the coefficients.
func (f *Model) covariance(kind string, meat [][]float64) *Covariance {
	p := len(f.Names)
	c := &Covariance{Kind: kind, Matrix: newSquare(p), DF: make([]float64, p), meat: meat}
	half := make([][]float64, p)
	for i, row := range f.transform {
		if row == nil {
			continue
		}
		half[i] = make([]float64, f.Rank)
		for k := range half[i] {
			half[i][k] = dot(row, meat[k])
		}
	}
	for i := range c.Matrix {
		c.DF[i] = math.NaN()
		if f.DF > 0 && f.transform[i] != nil {
			c.DF[i] = float64(f.DF)
		}
		for j := range i + 1 {
			v := math.NaN()
			if half[i] != nil && half[j] != nil && f.DF > 0 {
				v = dot(half[i], f.transform[j])
			}
			c.Matrix[i][j], c.Matrix[j][i] = v, v
		}
	}
	return c
}

// dropUnestimable marks what a row of leverage one leaves without an estimate.
func (f *Model) dropUnestimable(c *Covariance, ones []int) {
	if len(ones) == 0 {
		return
	}
	var names []string
	for j := range c.Matrix {
		if c.Kind != HC2 && c.Kind != HC3 || !f.restsOn(j, ones) {
			continue
		}
		names = append(names, f.Names[j])
		c.DF[j] = math.NaN()
		for k := range c.Matrix {
			c.Matrix[j][k], c.Matrix[k][j] = math.NaN(), math.NaN()
		}
	}
	message := fmt.Sprintf("%d of %d rows fit themselves (leverage 1) and tell nothing about the error", len(ones), f.N)
	if names != nil {
		message += "; without a " + c.Kind + " error for that reason: " + strings.Join(names, ", ")
	}
	c.Warnings = append(c.Warnings, Warning{WarnLeverageOne, message, names, ones})
}

// restsOn reports whether coefficient j changes with the outcome of one of the
// rows by more than rounding.
func (f *Model) restsOn(j int, rows []int) bool {
	if f.transform[j] == nil {
		return false
	}
	length := norm(f.transform[j])
	block, work, r := newBlock(f.Rank, 1), newBlock(f.Rank, 1), f.design.reader()
	for _, i := range rows {
		q := f.inverse.product(f.load(r, block, f.active, f.scales, i, i+1), work)
		var influence float64
		for k := range q {
			influence += float64(f.transform[j][k] * q[k][0])
		}
		if math.Abs(influence) > 1e-6*length {
			return true
		}
	}
	return false
}

// Coefficient is a coefficient with its error, test and interval.
type Coefficient struct {
	Name, Term string
	Estimate   float64
	SE         float64
	DF         float64
	T, P       float64 // P two-sided
	Low, High  float64
}

// CoefficientTable returns the coefficients with Student's t intervals at the level.
func (f *Model) CoefficientTable(c *Covariance, level float64) []Coefficient {
	out := make([]Coefficient, len(f.Names))
	for j, se := range c.SE() {
		half := float64(studentQuantile((1+level)/2, c.DF[j]) * se)
		t := f.Coefficients[j] / se
		out[j] = Coefficient{
			Name: f.Names[j], Term: f.Terms[j], Estimate: f.Coefficients[j], SE: se, DF: c.DF[j],
			T: t, P: studentTail(t, c.DF[j]), Low: f.Coefficients[j] - half, High: f.Coefficients[j] + half,
		}
	}
	return out
}

func newSquare(n int) [][]float64 {
	m := make([][]float64, n)
	flat := make([]float64, n*n)
	for i := range m {
		m[i] = flat[i*n : (i+1)*n : (i+1)*n]
	}
	return m
}
