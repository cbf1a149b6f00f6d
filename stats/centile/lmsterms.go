package centile

import "math"

// Positions of the pairs of curves in symmetric triples: LL, LM, LS, MM, MS, SS.
var pairs = [6][2]int{{0, 0}, {0, 1}, {0, 2}, {1, 1}, {1, 2}, {2, 2}}

// lmsTerms are an observation's log-likelihood (but for a constant) and its
// derivatives by L, M and ln S.
type lmsTerms struct {
	likelihood float64
	score      [3]float64
	observed   [6]float64 // minus the second derivatives
	expected   [6]float64 // their expectation (Cole and Green 1992)
}

// termsAt takes the logarithm of an observation.
func termsAt(logY, l, m, logS float64) lmsTerms {
	s := math.Exp(logS)
	u := logY - math.Log(m)
	t := float64(l * u)
	first, second := growthSlopes(t)
	e := math.Exp(t) // (y/M)^L
	z := float64(u*growth(t)) / s
	zL := float64(u*u*first) / s
	zLL := float64(u*u*u*second) / s
	zM := -e / (m * s)
	zLM := float64(u * zM)
	zMM := float64((l+1)*e) / (m * m * s)
	ls := float64(l * s)
	return lmsTerms{
		likelihood: t - logS - float64(z*z)/2,
		score:      [3]float64{u - float64(z*zL), -l/m - float64(z*zM), float64(z*z) - 1},
		observed: [6]float64{
			float64(zL*zL) + float64(z*zLL),
			1/m + float64(zM*zL) + float64(z*zLM),
			float64(-2 * z * zL),
			float64(zM*zM) + float64(z*zMM) - l/(m*m),
			float64(-2 * z * zM),
			float64(2 * z * z),
		},
		expected: [6]float64{
			float64(7*s*s) / 4,
			-1 / (2 * m),
			float64(ls * s),
			(1 + float64(2*ls*ls)) / (m * m * s * s),
			2 * l / m,
			2,
		},
	}
}
