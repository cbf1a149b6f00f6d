package impute

import (
	"errors"
	"fmt"
	"math"

	"tonocohort/stats"
)

// MethodRubin is the name of the interval of Pool: Rubin's rules with the degrees
// of freedom of Barnard and Rubin.
const MethodRubin = "rubin_barnard"

// Pooled is one quantity combined over imputations.
type Pooled struct {
	Estimate float64 // mean of the estimates
	Within   float64 // mean of their variances
	Between  float64 // variance of the estimates
	Total    float64 // Within + (1 + 1/m)·Between
	SE       float64 // root of Total
	M        int     // imputations

	RelativeIncrease float64 // of the variance, by missing values: (1 + 1/m)·Between/Within
	Lambda           float64 // share of Total that is due to missing values
	FMI              float64 // fraction of missing information; 0 where the imputations agree
	DF               float64

	T, P      float64
	Low, High float64
	Level     float64
}

// Pool combines the estimates of m ≥ 2 imputations with their variances by
// Rubin's rules (Rubin 1987, Multiple Imputation for Nonresponse in Surveys, 3.3),
// with the degrees of freedom of Barnard and Rubin 1999, Biometrika 86:948-55.
// completeDF are those that the analysis would have without missing values,
// math.Inf(1) where it is of large samples. Where all estimates agree (Between =
// 0) the degrees of freedom are those of the observed data,
// completeDF·(completeDF + 1)/(completeDF + 3).
func Pool(estimates, variances []float64, completeDF, level float64) (Pooled, error) {
	m := len(estimates)
	switch {
	case m < 2 || len(variances) != m:
		return Pooled{}, fmt.Errorf("impute: %d estimates with %d variances; at least two of each are needed", m, len(variances))
	case !(completeDF > 0):
		return Pooled{}, fmt.Errorf("impute: %v complete-data degrees of freedom", completeDF)
	}
	for i := range estimates {
		if math.IsNaN(estimates[i]) || math.IsInf(estimates[i], 0) || !(variances[i] >= 0) || math.IsInf(variances[i], 0) {
			return Pooled{}, fmt.Errorf("impute: imputation %d has no estimate with a variance", i+1)
		}
	}
	p := Pooled{Estimate: stats.Mean(estimates), Within: stats.Mean(variances), Between: stats.Variance(estimates), M: m, Level: level}
	extra := float64((1 + 1/float64(m)) * p.Between)
	p.Total = p.Within + extra
	p.SE = math.Sqrt(p.Total)
	if p.Total == 0 {
		return Pooled{}, errors.New("impute: the variance is zero")
	}
	p.RelativeIncrease = extra / p.Within
	p.Lambda = extra / p.Total
	p.DF = barnardRubin(p.Lambda, m, completeDF)
	if extra > 0 {
		p.FMI = p.Lambda + float64((1-p.Lambda)*(2/(p.DF+3)))
	}
	half := float64(studentQuantile((1+level)/2, p.DF) * p.SE)
	p.T = p.Estimate / p.SE
	p.P = studentTail(p.T, p.DF)
	p.Low, p.High = p.Estimate-half, p.Estimate+half
	return p, nil
}

// barnardRubin joins the degrees of freedom of a finite number of imputations
// with those that the observed data leave.
func barnardRubin(lambda float64, m int, complete float64) float64 {
	old := math.Inf(1)
	if lambda > 0 {
		old = float64(m-1) / float64(lambda*lambda)
	}
	if math.IsInf(complete, 1) {
		return old
	}
	observed := complete * ((complete + 1) / (complete + 3)) * (1 - lambda)
	switch {
	case math.IsInf(old, 1):
		return observed
	case observed == 0:
		return 0
	}
	return 1 / (1/old + 1/observed)
}

// PoolR2 combines the coefficients of determination of models fitted to n
// observations, on Fisher's scale of the multiple correlation (Harel 2009, J Appl
// Stat 36:1109-18).
func PoolR2(r2 []float64, n int, level float64) (Pooled, error) {
	z, variances := make([]float64, len(r2)), make([]float64, len(r2))
	for i, v := range r2 {
		z[i] = math.Atanh(math.Sqrt(v))
		variances[i] = 1 / float64(n-3)
	}
	p, err := Pool(z, variances, math.Inf(1), level)
	if err != nil {
		return p, err
	}
	half := float64(stats.NormalQuantile((1+level)/2) * p.SE)
	square := func(v float64) float64 { t := math.Tanh(max(v, 0)); return float64(t * t) }
	p.Low, p.High = square(p.Estimate-half), square(p.Estimate+half)
	p.Estimate = square(p.Estimate)
	return p, nil
}

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
