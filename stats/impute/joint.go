package impute

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"tonocohort/stats"
)

// JointTest is a pooled test that several coefficients are zero.
type JointTest struct {
	F, DF1, DF2, P   float64
	RelativeIncrease float64 // of the variance, by missing values, averaged over the coefficients
}

// PoolCovariance combines the coefficients of m ≥ 2 imputations and their
// covariance matrices: the mean, and the total covariance Ū + (1 + 1/m)·B.
func PoolCovariance(estimates [][]float64, covariances [][][]float64) (mean []float64, total [][]float64, err error) {
	mean, within, between, err := moments(estimates, covariances)
	if err != nil {
		return nil, nil, err
	}
	k, factor := len(mean), 1+1/float64(len(estimates))
	total = make([][]float64, k)
	for i := range total {
		total[i] = make([]float64, k)
		for j := range total[i] {
			total[i][j] = within.At(i, j) + float64(factor*between.At(i, j))
		}
	}
	return mean, total, nil
}

// moments returns the mean estimate, the mean covariance and the covariance of
// the estimates.
func moments(estimates [][]float64, covariances [][][]float64) (mean []float64, within, between *mat.SymDense, err error) {
	m := len(estimates)
	if m < 2 || len(covariances) != m {
		return nil, nil, nil, fmt.Errorf("impute: %d estimates with %d covariances; at least two of each are needed", m, len(covariances))
	}
	k := len(estimates[0])
	mean = make([]float64, k)
	within, between = mat.NewSymDense(k, nil), mat.NewSymDense(k, nil)
	column := make([]float64, m)
	for i := range mean {
		for a, e := range estimates {
			if len(e) != k || len(covariances[a]) != k {
				return nil, nil, nil, fmt.Errorf("impute: imputation %d has %d coefficients, the first has %d", a+1, len(e), k)
			}
			column[a] = e[i]
		}
		mean[i] = stats.Mean(column)
	}
	for i := range k {
		for j := range i + 1 {
			var u, b float64
			for a, e := range estimates {
				u += covariances[a][i][j] / float64(m)
				b += float64((e[i]-mean[i])*(e[j]-mean[j])) / float64(m-1)
			}
			within.SetSym(i, j, u)
			between.SetSym(i, j, b)
		}
	}
	return mean, within, between, nil
}

// Joint tests that all coefficients are zero (Li, Raghunathan and Rubin 1991, J
// Am Stat Assoc 86:1065-73): it takes the fraction of missing information to be
// the same for all of them. For a test of some, pass those and their part of the
// covariance matrices.
func Joint(estimates [][]float64, covariances [][][]float64) (JointTest, error) {
	mean, within, between, err := moments(estimates, covariances)
	if err != nil {
		return JointTest{}, err
	}
	var factor mat.Cholesky
	if slices.ContainsFunc(mean, math.IsNaN) || !factor.Factorize(within) {
		return JointTest{}, errors.New("impute: the mean covariance matrix is not positive definite")
	}
	k, m := float64(len(mean)), float64(len(estimates))
	var ratio mat.Dense
	var solved mat.VecDense
	vector := mat.NewVecDense(len(mean), mean)
	if err := errors.Join(factor.SolveTo(&ratio, between), factor.SolveVecTo(&solved, vector)); err != nil {
		return JointTest{}, fmt.Errorf("impute: %w", err)
	}
	r := (1 + 1/m) * mat.Trace(&ratio) / k
	test := JointTest{F: mat.Dot(vector, &solved) / (k * (1 + r)), DF1: k, RelativeIncrease: r}
	t := k * (m - 1)
	switch {
	case r == 0:
		test.DF2 = math.Inf(1)
	case t > 4:
		shrink := 1 + (1-2/t)/r
		test.DF2 = 4 + float64((t-4)*float64(shrink*shrink))
	default:
		test.DF2 = t * (1 + 1/k) * (1 + 1/r) * (1 + 1/r) / 2
	}
	test.P = fTail(test.F, k, test.DF2)
	return test, nil
}

// fTail is the upper tail of F; infinite denominator degrees give chi-square.
func fTail(f, above, below float64) float64 {
	if math.IsInf(below, 1) {
		return distuv.ChiSquared{K: above}.Survival(float64(f * above))
	}
	return stats.FTail(f, above, below)
}
