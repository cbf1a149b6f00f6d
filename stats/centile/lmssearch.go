package centile

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"tonocohort/stats"
)

// errNoMaximum says that the search did not end.
var errNoMaximum = errors.New("centile: the likelihood has no maximum that the search can find")

// run alternates between the penalties that give the declared degrees of freedom
// and the maximum under them, until both hold.
func (p *lmsProblem) run() error {
	for range outerRounds {
		apart := 0.0
		for c, df := range p.options.DF {
			if df <= 2 {
				continue
			}
			information := p.information(c)
			if p.lambda[c] > 0 {
				now, err := effective(information, p.penalty[c], p.lambda[c])
				if err != nil {
					return err
				}
				apart = max(apart, math.Abs(now-df))
			} else {
				apart = math.Inf(1)
			}
			var err error
			if p.lambda[c], err = smoothing(information, p.penalty[c], df, p.lambda[c]); err != nil {
				return err
			}
		}
		if err := p.maximise(); err != nil {
			return err
		}
		if apart < settledDF {
			return nil
		}
	}
	return errNoMaximum
}

// information is the expected information on the values of one curve.
func (p *lmsProblem) information(c int) [][]float64 {
	diagonal := [3]int{0, 3, 5}[c]
	return products(p.rows[c], p.rows[c], p.expected[diagonal])
}

// maximise climbs to the maximum under the present penalties: by Newton's
// method where the likelihood is curved as at a maximum, else by Fisher scoring;
// a step that leads down is halved. The likelihood has been evaluated where it sets out.
func (p *lmsProblem) maximise() error {
	if !p.weigh(p.values) {
		return errNoMaximum
	}
	for range innerSteps {
		p.steps++
		gradient := p.gradient()
		cholesky, err := p.factorised()
		if err != nil {
			return err
		}
		var step mat.VecDense
		if err := cholesky.SolveVecTo(&step, gradient); err != nil {
			if _, poor := err.(mat.Condition); !poor {
				return errIll
			}
		}
		gain := mat.Dot(gradient, &step) / 2
		if err := p.climb(&step, gain); err != nil {
			return err
		}
		if gain < settled {
			return nil
		}
	}
	return errNoMaximum
}

// climb takes a step, or as much of it as leads upwards.
func (p *lmsProblem) climb(step *mat.VecDense, gain float64) error {
	before := p.objective
	for share := 1.0; share > 1e-9; share /= 2 {
		var next [3][]float64
		for c := range 3 {
			next[c] = slices.Clone(p.values[c])
			for j := range next[c] {
				next[c][j] += float64(share * step.AtVec(p.offset[c]+j))
			}
		}
		// Near the maximum the objective no longer tells up from down.
		if p.evaluate(next) && (p.objective >= before-float64(1e-12*math.Abs(before)) || gain < settled) {
			p.values = next
			return nil
		}
	}
	return errNoMaximum
}

// gradient is that of the objective by the values at all knots.
func (p *lmsProblem) gradient() *mat.VecDense {
	out := mat.NewVecDense(p.offset[3], nil)
	for c := range 3 {
		for j, sum := range p.rows[c].sums(p.score[c]) {
			for m, v := range p.values[c] {
				sum -= float64(p.lambda[c] * p.penalty[c][j][m] * v)
			}
			out.SetVec(p.offset[c]+j, sum)
		}
	}
	return out
}

// curvature gathers weights by pair of curves, and the penalties, into a matrix
// over all knots.
func (p *lmsProblem) curvature(weights [6][]float64) *mat.SymDense {
	out := p.gather(weights)
	p.addPenalties(out)
	return out
}

// factorised is the curvature of the objective: as observed where that is curved
// as at a maximum, else as expected, and where that approximation fails too,
// curve by curve alone.
func (p *lmsProblem) factorised() (*mat.Cholesky, error) {
	alone := p.expected
	zero := make([]float64, len(p.logY))
	alone[1], alone[2], alone[4] = zero, zero, zero
	var cholesky mat.Cholesky
	for _, weights := range [][6][]float64{p.observed, p.expected, alone} {
		if cholesky.Factorize(p.curvature(weights)) {
			return &cholesky, nil
		}
	}
	return nil, errIll
}

func (p *lmsProblem) gather(weights [6][]float64) *mat.SymDense {
	out := mat.NewSymDense(p.offset[3], nil)
	for k, pair := range pairs {
		a, b := pair[0], pair[1]
		for i, row := range products(p.rows[a], p.rows[b], weights[k]) {
			for j, v := range row {
				if r, c := p.offset[a]+i, p.offset[b]+j; r <= c {
					out.SetSym(r, c, v)
				}
			}
		}
	}
	return out
}

func (p *lmsProblem) addPenalties(m *mat.SymDense) {
	for c := range 3 {
		for i, row := range p.penalty[c] {
			for j := i; j < len(row); j++ {
				r, s := p.offset[c]+i, p.offset[c]+j
				m.SetSym(r, s, m.At(r, s)+float64(p.lambda[c]*row[j]))
			}
		}
	}
}

// result makes the fit of the final curves.
func (p *lmsProblem) result() (*LMSFit, error) {
	f := &LMSFit{N: len(p.logY), Steps: p.steps}
	f.Shift, f.Ages = p.options.Shift, p.ages
	for c, curve := range []*Curve{&f.L, &f.M, &f.LogS} {
		var err error
		if *curve, err = NewCurve(p.rows[c].knots, p.values[c]); err != nil {
			return nil, err
		}
		f.bases[c] = p.rows[c].basis
		f.DF[c] = p.options.DF[c]
		if f.DF[c] > 2 {
			if f.DF[c], err = effective(p.information(c), p.penalty[c], p.lambda[c]); err != nil {
				return nil, err
			}
		}
	}
	for _, year := range f.Ages.Years() {
		if _, m, _ := f.At(f.Ages.OfYear(year)); !(m > 0) {
			return nil, errors.New("centile: the median curve is not above zero at every age")
		}
	}
	f.LogLikelihood = p.logLikelihood()
	var err error
	f.covariance, err = p.sandwich()
	return f, err
}

// logLikelihood is the whole, with the constant and without the penalties.
func (p *lmsProblem) logLikelihood() float64 {
	whole := make([]float64, len(p.logY))
	for i, logY := range p.logY {
		whole[i] = p.likelihood[i] - logY
	}
	return stats.Sum(whole) - float64(float64(len(p.logY))*math.Log(2*math.Pi))/2
}
