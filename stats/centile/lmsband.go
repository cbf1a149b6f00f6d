package centile

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"tonocohort/stats"
)

// sandwich is the covariance of all values at knots: (H + Λ)⁻¹ (J + Λ) (H + Λ)⁻¹
// with the observed information H, the products of scores J and the penalties Λ.
// Without penalties it is the sandwich of Huber and White, which holds where the
// normal model does not; Λ in the middle adds what the smooth curves may have
// missed, taking the penalty for a prior as Wahba 1983 (J R Stat Soc B
// 45:133-50) and Silverman 1985 (J R Stat Soc B 47:1-52; both from memory). J is
// divided by the square of 1 − the mean leverage, which HC3 of linear regression
// does observation by observation.
func (p *lmsProblem) sandwich() (*mat.SymDense, error) {
	var weights [6][]float64
	for k, pair := range pairs {
		weights[k] = make([]float64, len(p.logY))
		for i := range weights[k] {
			weights[k][i] = float64(p.score[pair[0]][i] * p.score[pair[1]][i])
		}
	}
	middle := p.gather(weights)
	kept := 1 - (p.options.DF[0]+p.options.DF[1]+p.options.DF[2])/float64(len(p.logY))
	middle.ScaleSym(1/float64(kept*kept), middle)
	p.addPenalties(middle)
	cholesky, err := p.factorised()
	if err != nil {
		return nil, err
	}
	var inverse mat.SymDense
	if err := cholesky.InverseTo(&inverse); err != nil {
		if _, poor := err.(mat.Condition); !poor {
			return nil, errIll
		}
	}
	return congruent(&inverse, middle), nil
}

// congruent is A M A for symmetric matrices.
func congruent(a, m *mat.SymDense) *mat.SymDense {
	var half, whole mat.Dense
	half.Mul(a, m)
	whole.Mul(&half, a)
	k := a.SymmetricDim()
	out := mat.NewSymDense(k, nil)
	for i := range k {
		for j := i; j < k; j++ {
			out.SetSym(i, j, (whole.At(i, j)+whole.At(j, i))/2)
		}
	}
	return out
}

// Band returns the pointwise interval of the p-centile at an age: formed on the
// logarithm of the variable plus Shift, by t with the degrees of freedom that
// the curves leave, about the centile with S·√(n/(n − df)), as a standard
// deviation is corrected.
func (f *LMSFit) Band(age, p, level float64) stats.Interval {
	none := stats.Interval{Low: math.NaN(), High: math.NaN(), Level: level, Method: BandLMS}
	l, m, s := f.At(age)
	s /= math.Sqrt(1 - f.leverage()) // maximum likelihood makes S too small
	q := float64(s * stats.NormalQuantile(p))
	t := float64(l * q)
	if !(t > -1) || !(m > 0) {
		return none
	}
	// ln C = ln M + q·slowing(Lq), q = S z
	half := f.halfWidth(age, [3]float64{float64(q * q * slowingSlope(t)), 1 / m, q / (1 + t)}, level)
	centre := math.Log(m) + float64(q*slowing(t))
	none.Low, none.High = math.Exp(centre-half)-f.Shift, math.Exp(centre+half)-f.Shift
	return none
}

// CurveBands returns the pointwise intervals of L, M and S at an age; that of S
// is formed on its logarithm.
func (f *LMSFit) CurveBands(age, level float64) [3]stats.Interval {
	l, m, s := f.At(age)
	var out [3]stats.Interval
	for c, centre := range []float64{l, m, math.Log(s)} {
		var gradient [3]float64
		gradient[c] = 1
		half := f.halfWidth(age, gradient, level)
		out[c] = stats.Interval{Low: centre - half, High: centre + half, Level: level, Method: BandLMS}
	}
	out[2].Low, out[2].High = math.Exp(out[2].Low), math.Exp(out[2].High)
	return out
}

// leverage is the mean share of an observation in its own fitted curves.
func (f *LMSFit) leverage() float64 { return (f.DF[0] + f.DF[1] + f.DF[2]) / float64(f.N) }

// halfWidth is that of the interval of a function of L, M and ln S with the
// given derivatives.
func (f *LMSFit) halfWidth(age float64, gradient [3]float64, level float64) float64 {
	x := f.Ages.Position(age)
	if math.IsNaN(x) {
		return x
	}
	var g []float64
	for c, b := range f.bases {
		for _, w := range b.weights(x) {
			g = append(g, float64(w*gradient[c]))
		}
	}
	v := mat.NewVecDense(len(g), g)
	variance := mat.Inner(v, f.covariance, v)
	return stats.StudentQuantile((1+level)/2, float64(f.N)-f.DF[0]-f.DF[1]-f.DF[2]) * math.Sqrt(variance)
}
