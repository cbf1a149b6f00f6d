package regress

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"tonocohort/stats"

	"gonum.org/v1/gonum/stat/distuv"
)

// Test is a hypothesis test.
type Test struct {
	Name      string // what is tested
	Method    string // how
	Statistic float64
	DF1, DF2  float64 // DF2 is NaN for a chi-square statistic
	P         float64
}

// Wald tests that the coefficients of some columns are all zero: F with as many
// numerator degrees of freedom as the columns have independent coefficients and
// the smallest of their own denominator degrees. With the Classical covariance it
// is the F test of nested models. Aliased columns are passed over; a coefficient
// without a variance makes the test NaN.
func (f *Model) Wald(c *Covariance, name string, columns []int) Test {
	var used []int
	degrees := math.Inf(1)
	broken := false
	for _, j := range columns {
		if f.Aliased[j] {
			continue
		}
		used = append(used, j)
		degrees = min(degrees, c.DF[j]) // NaN stays NaN
		broken = broken || math.IsNaN(c.Matrix[j][j])
	}
	test := Test{Name: name, Method: "wald_" + c.Kind, Statistic: math.NaN(), DF1: float64(len(used)), DF2: degrees, P: math.NaN()}
	if broken || len(used) == 0 {
		return test
	}
	chi, rank := quadraticForm(f.testBasis(c, used))
	test.DF1 = float64(rank)
	if rank > 0 {
		test.Statistic = chi / float64(rank)
		test.P = fTail(test.Statistic, test.DF1, test.DF2)
	}
	return test
}

// TermTests tests each term but the intercept, in order.
func (f *Model) TermTests(c *Covariance) []Test {
	var out []Test
	for _, term := range f.termColumns() {
		out = append(out, f.Wald(c, f.Terms[term[0]], term))
	}
	return out
}

// termColumns returns the columns of each term but the intercept, in the order
// in which the terms first appear.
func (f *Model) termColumns() [][]int {
	position := map[string]int{}
	var out [][]int
	for j, term := range f.Terms {
		if j == 0 && f.design.intercept {
			continue
		}
		k, seen := position[term]
		if !seen {
			k = len(out)
			position[term] = k
			out = append(out, nil)
		}
		out[k] = append(out[k], j)
	}
	return out
}

// testBasis returns coefficients and covariance that are zero together with
// those of the columns. Where the columns hold a polynomial from some power up to
// its highest, they are those of the centred powers, which keep their digits.
func (f *Model) testBasis(c *Covariance, columns []int) (b []float64, v [][]float64) {
	rows := make([][]float64, len(columns))
	b = make([]float64, len(columns))
	centred := f.upperPowers(columns)
	for a, j := range columns {
		rows[a], b[a] = f.transform[j], f.Coefficients[j]
		if centred[j] {
			rows[a], b[a] = f.fittedRow(j)
		}
	}
	v = newSquare(len(columns))
	for a := range rows {
		half := multiply(c.meat, rows[a])
		for d := range rows {
			v[a][d] = dot(half, rows[d])
		}
	}
	return b, v
}

// upperPowers marks the columns of polynomials of which no power above the
// lowest one among columns is missing.
func (f *Model) upperPowers(columns []int) map[int]bool {
	among := map[int]bool{}
	for _, j := range columns {
		among[j] = true
	}
	marked := map[int]bool{}
	for _, q := range f.design.polynomials {
		for j := q.first + q.degree - 1; j >= q.first && (among[j] || f.Aliased[j]); j-- {
			marked[j] = true
		}
		for j := q.first; j < q.first+q.degree; j++ {
			if among[j] && !marked[j] { // a gap: the centred powers are another hypothesis
				for k := q.first; k < q.first+q.degree; k++ {
					marked[k] = false
				}
			}
		}
	}
	return marked
}

// fittedRow is the coefficient of the fitted column j and its row of the
// transform from orthonormal coordinates.
func (f *Model) fittedRow(j int) (row []float64, b float64) {
	row = make([]float64, f.Rank)
	for k, column := range f.active {
		if column == j {
			b = f.coordinates[k].float()
			for m := k; m < f.Rank; m++ {
				row[m] = float64(f.scales[k] * f.inverse[m][k])
			}
		}
	}
	return row, b
}

// quadraticForm returns bᵀ·V⁻¹·b and the rank of V. V is brought to unit diagonal
// first, so that units do not matter.
func quadraticForm(b []float64, v [][]float64) (value float64, rank int) {
	k := len(b)
	correlation := mat.NewSymDense(k, nil)
	z := make([]float64, k)
	for i := range b {
		si := math.Sqrt(v[i][i])
		z[i] = b[i] / si
		for j := range b {
			correlation.SetSym(i, j, v[i][j]/(si*math.Sqrt(v[j][j])))
		}
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(correlation, true) {
		return math.NaN(), 0
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	for a, lambda := range eigen.Values(nil) {
		if lambda < 1e-13*float64(k) {
			continue
		}
		rank++
		s := dot(mat.Col(nil, a, &vectors), z)
		value += float64(s*s) / lambda
	}
	return value, rank
}

// Combination estimates a linear combination of the coefficients: weights has
// one entry per column. It gives a contrast, a slope in a subgroup or a fitted
// mean (weights then hold a row of the model matrix, in the user's columns). Its
// degrees of freedom are the smallest among the coefficients that enter.
func (f *Model) Combination(c *Covariance, name string, weights []float64, level float64) Coefficient {
	var estimate, variance float64
	degrees := math.Inf(1)
	for i, w := range weights {
		if w == 0 {
			continue
		}
		estimate += float64(w * f.Coefficients[i])
		degrees = min(degrees, c.DF[i])
		for j, v := range weights {
			if v != 0 {
				variance += float64(float64(w*v) * c.Matrix[i][j])
			}
		}
	}
	se := math.Sqrt(variance)
	half := float64(studentQuantile((1+level)/2, degrees) * se)
	return Coefficient{Name: name, Estimate: estimate, SE: se, DF: degrees,
		T: estimate / se, P: studentTail(estimate/se, degrees), Low: estimate - half, High: estimate + half}
}

// studentQuantile is the normal quantile at infinite degrees of freedom.
func studentQuantile(p, degrees float64) float64 {
	if math.IsInf(degrees, 1) {
		return stats.NormalQuantile(p)
	}
	return stats.StudentQuantile(p, degrees)
}

func studentTail(t, degrees float64) float64 {
	if math.IsInf(degrees, 1) {
		return math.Erfc(math.Abs(t) / math.Sqrt2)
	}
	return stats.StudentTail(t, degrees)
}

func fTail(x, above, below float64) float64 {
	if math.IsInf(below, 1) {
		return chiSquareTail(float64(x*above), above)
	}
	return stats.FTail(x, above, below)
}

// chiSquareTail is the probability of a chi-square value of at least x.
func chiSquareTail(x, degrees float64) float64 {
	if math.IsNaN(x) || !(degrees > 0) {
		return math.NaN()
	}
	return distuv.ChiSquared{K: degrees}.Survival(x)
}
