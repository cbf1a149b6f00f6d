package regress

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Influence says row by row how much one observation counts. Where a row fits
// itself (leverage one) all but Leverage is NaN.
type Influence struct {
	Leverage     []float64
	Standardised []float64 // residual over its own standard error
	Studentised  []float64 // the same with the error estimated without the row
	Cook         []float64 // change of all fitted values when the row is left out (Cook 1977, Technometrics 19:15-18)
	DFFITS       []float64 // change of the row's own fitted value, in standard errors
}

// Influence computes the measures of influence.
func (f *Fit) Influence() Influence {
	flat := newBlock(4, f.N)
	m := Influence{f.Leverages(), flat[0], flat[1], flat[2], flat[3]}
	f.InfluenceScale().Measure(f.working, m.Leverage, f.weights, m)
	return m
}

// InfluenceScale is what the measures of influence need of a fit beside residual
// and leverage of their row.
type InfluenceScale struct {
	ResidualSD float64
	DF, Rank   int
}

// InfluenceScale returns it; it holds nothing of the rows.
func (f *Fit) InfluenceScale() InfluenceScale { return InfluenceScale{f.ResidualSD, f.DF, f.Rank} }

// Measure computes the measures of some rows from their residuals, leverages and
// weights (nil: all one) into the slices of m that are there; it leaves m.Leverage
// alone.
func (s InfluenceScale) Measure(residual, leverage, weights []float64, m Influence) {
	df, rank := float64(s.DF), float64(s.Rank)
	set := func(x []float64, i int, v float64) {
		if x != nil {
			x[i] = v
		}
	}
	for i, h := range leverage {
		e := residual[i]
		if weights != nil {
			e = float64(e * math.Sqrt(weights[i]))
		}
		if h > leverageOne {
			e = math.NaN()
		}
		rest := 1 - h
		standardised := e / (s.ResidualSD * math.Sqrt(rest))
		studentised := standardised * math.Sqrt((df-1)/(df-float64(standardised*standardised)))
		set(m.Standardised, i, standardised)
		set(m.Studentised, i, studentised)
		set(m.Cook, i, float64(standardised*standardised)*(h/rest)/rank)
		set(m.DFFITS, i, studentised*math.Sqrt(h/rest))
	}
}

// Inflation is how much larger the variance of a term's coefficients is than if
// the term were uncorrelated with the others.
type Inflation struct {
	Term    string
	Columns int     // coefficients of the term
	GVIF    float64 // generalised variance inflation factor; the usual factor for one column
	PerRoot float64 // GVIF^(1/(2·Columns)), comparable between terms: the factor of a standard error
}

// VarianceInflation computes the generalised variance inflation factor of each
// term (Fox and Monette 1992, J Am Stat Assoc 87:178-83). Without an intercept
// it is about zero instead of about the means. A term with an aliased column, or
// the only term of a model, has NaN or one.
func (f *Model) VarianceInflation() []Inflation {
	var all []int
	terms := f.termColumns()
	for _, columns := range terms {
		for _, j := range columns {
			if !f.Aliased[j] {
				all = append(all, j)
			}
		}
	}
	whole := f.logDeterminant(all)
	out := make([]Inflation, len(terms))
	for t, columns := range terms {
		var rest []int
		inside := map[int]bool{}
		aliased := false
		for _, j := range columns {
			inside[j] = true
			aliased = aliased || f.Aliased[j]
		}
		for _, j := range all {
			if !inside[j] {
				rest = append(rest, j)
			}
		}
		g := math.NaN()
		if !aliased {
			g = math.Exp(f.logDeterminant(columns) + f.logDeterminant(rest) - whole)
		}
		k := len(columns)
		out[t] = Inflation{f.Terms[columns[0]], k, g, math.Pow(g, 1/float64(2*k))}
	}
	return out
}

// logDeterminant is that of the correlation matrix of some coefficients.
func (f *Model) logDeterminant(columns []int) float64 {
	k := len(columns)
	if k == 0 {
		return 0
	}
	unit := mat.NewDense(k, f.Rank, nil)
	for a, j := range columns {
		length := norm(f.transform[j])
		for m, v := range f.transform[j] {
			unit.Set(a, m, v/length)
		}
	}
	var svd mat.SVD
	if !svd.Factorize(unit, mat.SVDNone) {
		return math.NaN()
	}
	var log float64
	for _, s := range svd.Values(nil) {
		log += 2 * math.Log(s)
	}
	return log
}

// DurbinWatson is the sum of squared differences of successive residuals over
// their sum of squares: near 2 where neighbouring rows are uncorrelated. It means
// something only where the order of the rows does.
func (f *Fit) DurbinWatson() float64 {
	var s float64
	for i := 1; i < f.N; i++ {
		d := f.working[i] - f.working[i-1]
		s += float64(d * d)
	}
	var total float64
	for _, e := range f.working {
		total += float64(e * e)
	}
	return s / total
}

// StandardisedCoefficients returns the change of the outcome, in its standard
// deviations, per standard deviation of each column; NaN for the intercept.
func (f *Fit) StandardisedCoefficients() []float64 {
	spread := f.deviation(f.outcome)
	inTriangle := f.deviationsInTriangle()
	out := make([]float64, len(f.Names))
	var room []float64
	for j, b := range f.Coefficients {
		out[j] = math.NaN()
		c := f.design.columns[j]
		if c.constant() {
			continue
		}
		if known, ok := inTriangle[j]; ok {
			out[j] = b * known / spread
			continue
		}
		x := f.design.userColumnInto(j, f.N, room)
		if c.source != nil {
			room = x
		}
		out[j] = b * f.deviation(x) / spread
	}
	return out
}

// deviationsInTriangle are those of the fitted columns that a model with intercept
// has as the user gave them: what the intercept leaves of their length.
func (f *Fit) deviationsInTriangle() map[int]float64 {
	out := map[int]float64{}
	if !f.Centred || len(f.active) == 0 || f.active[0] != 0 {
		return out
	}
	for k, j := range f.active {
		inside := func(q polynomial) bool { return j >= q.first && j < q.first+q.degree }
		if k > 0 && !slices.ContainsFunc(f.design.polynomials, inside) {
			out[j] = norm(f.r[k][1:k+1]) / f.scales[k]
		}
	}
	return out
}

// deviation is the root of the (weighted) sum of squares about the mean; its
// divisor cancels in ratios.
func (f *Fit) deviation(x []float64) float64 {
	mean := f.weightedAbout(x, 0) / f.totalWeight()
	return math.Sqrt(f.squaresAbout(x, mean))
}

// PartialR2 returns for each term the share of what the other terms leave
// unexplained that it explains.
func (f *Fit) PartialR2() ([]Test, error) {
	c, err := f.Covariance(Classical)
	if err != nil {
		return nil, err
	}
	out := f.TermTests(c)
	for i, t := range out {
		chi := t.Statistic * t.DF1
		out[i].Method = "partial_r2"
		out[i].Statistic = chi / (chi + float64(f.DF))
	}
	return out, nil
}
