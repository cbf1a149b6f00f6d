package centile

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// LMSOptions say how an LMS reference is fitted.
type LMSOptions struct {
	DF    [3]float64 // effective degrees of freedom of L, M and S: 1 a constant, 2 a line, above 2 a smooth curve
	Shift float64    // added to the variable, which must then be above zero
}

// LMSFit is a fitted LMS reference with what its bands need.
type LMSFit struct {
	LMS
	N             int
	DF            [3]float64 // effective degrees of freedom reached
	LogLikelihood float64    // of the variable plus Shift, without the penalty
	Steps         int        // of the iteration

	covariance *mat.SymDense // of all values at knots: those of L, of M, of ln S
	bases      [3]basis
}

// Limits of the iteration.
const (
	smoothKnots = 20   // of a curve whose degrees of freedom are above 2
	outerRounds = 60   // of finding the penalties
	innerSteps  = 60   // of maximising under given penalties
	settled     = 1e-8 // gain of log-likelihood below which a maximum is reached
	settledDF   = 1e-7 // distance to the declared degrees of freedom
)

// FitLMS fits L, M and S over age by maximum penalised likelihood: each curve is
// a natural cubic spline, and the integral of its squared second derivative is
// penalised so far that it has its declared degrees of freedom, counted curve by
// curve as by Cole and Green (1992). A smooth curve has 20 equally spaced knots,
// or as many as there are different ages.
func FitLMS(age, value []float64, o LMSOptions) (*LMSFit, error) {
	p, err := newLMSProblem(age, value, o)
	if err != nil {
		return nil, err
	}
	if err := p.start(age, value); err != nil {
		return nil, err
	}
	if err := p.run(); err != nil {
		return nil, err
	}
	return p.result()
}

// lmsProblem is the likelihood with the current curves.
type lmsProblem struct {
	options LMSOptions
	ages    Ages
	logY    []float64
	rows    [3]*rows
	offset  [4]int // where the knots of a curve begin among all of them
	penalty [3][][]float64
	lambda  [3]float64
	values  [3][]float64 // at knots
	steps   int

	eta        [3][]float64 // curves by observation
	likelihood []float64
	score      [3][]float64
	observed   [6][]float64
	expected   [6][]float64
	objective  float64 // log-likelihood, but for a constant, less the penalties
}

func newLMSProblem(age, value []float64, o LMSOptions) (*lmsProblem, error) {
	if err := checkSample(age, value); err != nil {
		return nil, err
	}
	p := &lmsProblem{options: o, logY: make([]float64, len(value)), likelihood: make([]float64, len(value))}
	var err error
	if p.ages, err = FindAges(age); err != nil {
		return nil, err
	}
	low := 0
	for i, v := range value {
		if p.logY[i] = math.Log(v + o.Shift); !(v+o.Shift > 0) {
			low++
		}
	}
	if low > 0 {
		return nil, fmt.Errorf("centile: %d of %d values are not above zero with the shift of %g", low, len(value), o.Shift)
	}
	distinct := countDistinct(age)
	for c, df := range o.DF {
		knots, err := p.knots(df, distinct)
		if err != nil {
			return nil, err
		}
		p.rows[c] = newRows(newBasis(knots), age)
		p.offset[c+1] = p.offset[c] + len(knots)
		p.penalty[c] = p.rows[c].penalty()
	}
	for c := range 3 {
		p.eta[c], p.score[c] = make([]float64, len(age)), make([]float64, len(age))
	}
	for k := range pairs {
		p.observed[k], p.expected[k] = make([]float64, len(age)), make([]float64, len(age))
	}
	return p, nil
}

// knots places those of a curve with so many degrees of freedom.
func (p *lmsProblem) knots(df float64, distinct int) ([]float64, error) {
	low, high := p.ages.span()
	switch {
	case df == 1:
		return []float64{low}, nil
	case !(df >= 2):
		return nil, fmt.Errorf("centile: %g degrees of freedom: 1 is a constant, 2 a line, more a smooth curve", df)
	case distinct < 2 || df > 2 && float64(distinct) <= df:
		return nil, fmt.Errorf("centile: %d different ages are too few for %g degrees of freedom", distinct, df)
	case df == 2:
		return []float64{low, high}, nil
	case df > smoothKnots/2:
		return nil, fmt.Errorf("centile: more than %d degrees of freedom are not smooth", smoothKnots/2)
	}
	return evenKnots(low, high, min(smoothKnots, distinct)), nil
}

// start sets L to 1, M to the least-squares line and S to the coefficient of
// variation about it: the normal model from which the search sets out.
func (p *lmsProblem) start(age, value []float64) error {
	shifted := make([]float64, len(value))
	for i, v := range value {
		shifted[i] = v + p.options.Shift
	}
	mean, slope := stats.Mean(shifted), 0.0
	centre := stats.Mean(age)
	if len(p.rows[1].knots) > 1 {
		line, err := regress.OLS(regress.Columns(true, []string{"age"}, [][]float64{age}), shifted, nil)
		if err != nil {
			return err
		}
		slope = line.Coefficients[1]
	}
	for c := range 3 {
		p.values[c] = make([]float64, len(p.rows[c].knots))
	}
	for j, k := range p.rows[1].knots {
		p.values[1][j] = max(mean+float64(slope*(k-centre)), mean/10) // a line through zero is no median
	}
	p.rows[1].curve(p.values[1], p.eta[1])
	for i, m := range p.eta[1] {
		shifted[i] = shifted[i]/m - 1
		shifted[i] = float64(shifted[i] * shifted[i])
	}
	s := math.Sqrt(stats.Mean(shifted))
	if !(s > 0) {
		return errors.New("centile: all values are equal, or lie on a line")
	}
	for j := range p.values[0] {
		p.values[0][j] = 1
	}
	for j := range p.values[2] {
		p.values[2][j] = math.Log(s)
	}
	if !p.evaluate(p.values) {
		return errors.New("centile: the search has no place to set out from")
	}
	return nil
}

// evaluate computes everything that follows from curves through some values; it
// reports whether the likelihood exists there.
func (p *lmsProblem) evaluate(values [3][]float64) bool {
	for c := range 3 {
		p.rows[c].curve(values[c], p.eta[c])
	}
	for i, logY := range p.logY {
		if !(p.eta[1][i] > 0) {
			return false
		}
		t := termsAt(logY, p.eta[0][i], p.eta[1][i], p.eta[2][i])
		p.likelihood[i] = t.likelihood
		for c := range 3 {
			p.score[c][i] = t.score[c]
		}
		for k := range pairs {
			p.observed[k][i], p.expected[k][i] = t.observed[k], t.expected[k]
		}
	}
	return p.weigh(values)
}

// weigh computes the objective from the likelihood, which penalties do not enter.
func (p *lmsProblem) weigh(values [3][]float64) bool {
	p.objective = stats.Sum(p.likelihood)
	for c := range 3 {
		p.objective -= float64(p.lambda[c]*quadratic(p.penalty[c], values[c])) / 2
	}
	return !math.IsNaN(p.objective) && !math.IsInf(p.objective, 0)
}

func quadratic(m [][]float64, v []float64) float64 {
	q := 0.0
	for i, row := range m {
		for j, x := range row {
			q += float64(x * v[i] * v[j])
		}
	}
	return q
}

func countDistinct(sample []float64) int {
	seen := map[float64]bool{}
	for _, v := range sample {
		seen[v] = true
	}
	return len(seen)
}

// DefaultLMSDF is used where a plan says nothing: L a line, M a smooth curve with
// 5 and S one with 3 degrees of freedom. Own choice, as Cole and Green 1992
// advise fewer for L and S than for M; the Q-tests tell whether they suffice.
func DefaultLMSDF() [3]float64 { return [3]float64{2, 5, 3} }
