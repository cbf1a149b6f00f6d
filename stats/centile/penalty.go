package centile

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// errIll says that observations do not determine a curve.
var errIll = errors.New("centile: the observations do not determine the curve")

// smoothing finds how strongly a curve must be penalised to have so many
// effective degrees of freedom: the trace of (A + λP)⁻¹A, where A holds the
// information on its values and P the penalty. The trace falls from the number
// of knots at λ = 0 towards 2, a line. guess is where to look first; 0 for
// nowhere.
func smoothing(information, penalty [][]float64, df, guess float64) (float64, error) {
	if guess == 0 {
		guess = trace(information) / trace(penalty)
	}
	excess := func(logLambda float64) (float64, error) {
		t, err := effective(information, penalty, math.Exp(logLambda))
		return t - df, err
	}
	low, high := math.Log(guess), math.Log(guess)
	below, err := excess(low)
	if err != nil {
		return 0, err
	}
	above := below
	for step := 1.0; below <= 0; step *= 2 { // less penalty, more freedom
		high, above = low, below
		low -= step
		if below, err = excess(low); err != nil || step > 64 {
			return 0, fmt.Errorf("centile: %g degrees of freedom are more than the ages allow", df)
		}
	}
	for step := 1.0; above >= 0; step *= 2 {
		low, below = high, above
		high += step
		if above, err = excess(high); err != nil || step > 64 {
			return 0, errIll
		}
	}
	for side := 0; high-low > 1e-12; { // false position that cannot stall (Illinois)
		next := low + (high-low)*below/(below-above)
		e, err := excess(next)
		if err != nil {
			return 0, err
		}
		switch {
		case math.Abs(e) < 1e-11*df:
			return math.Exp(next), nil
		case e > 0:
			low, below = next, e
			if side == 1 {
				above /= 2
			}
			side = 1
		default:
			high, above = next, e
			if side == -1 {
				below /= 2
			}
			side = -1
		}
	}
	return math.Exp(low), nil
}

// effective is the trace of (A + λP)⁻¹A.
func effective(information, penalty [][]float64, lambda float64) (float64, error) {
	k := len(information)
	sum := mat.NewSymDense(k, nil)
	for i := range k {
		for j := i; j < k; j++ {
			sum.SetSym(i, j, information[i][j]+float64(lambda*penalty[i][j]))
		}
	}
	var cholesky mat.Cholesky
	if !cholesky.Factorize(sum) {
		return math.NaN(), errIll
	}
	var x mat.Dense
	if err := cholesky.SolveTo(&x, dense(information)); err != nil {
		if _, poor := err.(mat.Condition); !poor {
			return math.NaN(), errIll
		}
	}
	return mat.Trace(&x), nil
}

func trace(m [][]float64) float64 {
	t := 0.0
	for i := range m {
		t += m[i][i]
	}
	return t
}

func dense(m [][]float64) *mat.Dense {
	out := mat.NewDense(len(m), len(m[0]), nil)
	for i, row := range m {
		out.SetRow(i, row)
	}
	return out
}
