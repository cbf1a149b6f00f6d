package centile

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"tonocohort/stats"
)

// free returns the polynomial with twice as many terms that moves with the
// powers: beside b·x^p stands its derivative by p, x^p·ln x. Powers that were
// picked because they fit are estimates, and count as one parameter each (Royston
// and Altman 1994, Appl Stat 43:429-67). The single power of the SD hardly
// matters and counts as given.
func (p Polynomial) free() Polynomial {
	var powers []float64
	for k := 0; k < len(p.Powers); {
		equal := 1
		for k+equal < len(p.Powers) && p.Powers[k+equal] == p.Powers[k] {
			equal++
		}
		powers = append(powers, slices.Repeat(p.Powers[k:k+1], 2*equal)...)
		k += equal
	}
	p.Powers = powers
	return p
}

// sandwich is the covariance of the coefficients of the mean, with free powers,
// and of the SD, by both estimating equations together: that of the mean, Σ w x (y − xb)
// with w = 1/SD², and that of the SD, Σ v (√(π/2)|y − xb| − vg).
func (f *FractionalFit) sandwich(age, y []float64) ([][]float64, error) {
	x, err := f.Mean.free().Columns(age)
	if err != nil {
		return nil, err
	}
	v, err := f.SD.Columns(age)
	if err != nil {
		return nil, err
	}
	means, err := f.Mean.along(age)
	if err != nil {
		return nil, err
	}
	sds, err := f.SD.along(age)
	if err != nil {
		return nil, err
	}
	p, q := len(x)+1, len(v)+1
	bread, meat := mat.NewDense(p+q, p+q, nil), mat.NewSymDense(p+q, nil)
	row, score := make([]float64, p+q), mat.NewVecDense(p+q, nil)
	for i := range age {
		row[0], row[p] = 1, 1
		for k := range x {
			row[k+1] = x[k][i]
		}
		for k := range v {
			row[p+k+1] = v[k][i]
		}
		sd := sds[i]
		r, w := y[i]-means[i], 1/(sd*sd)
		slope := -math.Copysign(absoluteToSD, r)
		for k := range row {
			if k < p {
				score.SetVec(k, float64(w*r*row[k]))
			} else {
				score.SetVec(k, float64((absoluteToSD*math.Abs(r)-sd)*row[k]))
			}
		}
		meat.SymRankOne(meat, 1, score)
		for k := range p {
			for m := range p {
				bread.Set(k, m, bread.At(k, m)+float64(w*row[k]*row[m]))
			}
		}
		for k := p; k < p+q; k++ {
			for m := range p {
				bread.Set(k, m, bread.At(k, m)-float64(slope*row[k]*row[m]))
			}
			for m := p; m < p+q; m++ {
				bread.Set(k, m, bread.At(k, m)+float64(row[k]*row[m]))
			}
		}
	}
	var inverse, half, whole mat.Dense
	if err := inverse.Inverse(bread); err != nil {
		if _, poor := err.(mat.Condition); !poor {
			return nil, errIll
		}
	}
	half.Mul(&inverse, meat)
	whole.Mul(&half, inverse.T())
	correction := float64(f.N) / float64(f.N-p-q)
	out := newMatrix(p+q, p+q)
	for k := range out {
		for m := range out {
			out[k][m] = correction * whole.At(k, m)
		}
	}
	return out, nil
}

// Band returns the pointwise interval of the p-centile at an age: formed for the
// transformed variable, by t with the degrees of freedom that the coefficients
// leave.
func (f *FractionalFit) Band(age, p, level float64) stats.Interval {
	z := stats.NormalQuantile(p)
	mean, sd := f.At(age)
	half := f.halfWidth(age, 1, z, level)
	centre := mean + float64(z*sd)
	return stats.Interval{Low: f.back(centre - half), High: f.back(centre + half), Level: level, Method: BandFractional}
}

// CurveBands returns the pointwise intervals of mean and SD of the transformed
// variable at an age.
func (f *FractionalFit) CurveBands(age, level float64) [2]stats.Interval {
	mean, sd := f.At(age)
	m, s := f.halfWidth(age, 1, 0, level), f.halfWidth(age, 0, 1, level)
	return [2]stats.Interval{
		{Low: mean - m, High: mean + m, Level: level, Method: BandFractional},
		{Low: sd - s, High: sd + s, Level: level, Method: BandFractional},
	}
}

// halfWidth is that of the interval of a·mean + b·SD.
func (f *FractionalFit) halfWidth(age, a, b, level float64) float64 {
	at := f.Ages.Position(age)
	x, v := f.Mean.free().terms(at), f.SD.terms(at)
	if x == nil || v == nil {
		return math.NaN()
	}
	var g []float64
	for _, t := range x {
		g = append(g, float64(a*t))
	}
	for _, t := range v {
		g = append(g, float64(b*t))
	}
	variance := quadratic(f.covariance, g)
	return stats.StudentQuantile((1+level)/2, float64(f.N-len(g))) * math.Sqrt(variance)
}
