package agree

import (
	"fmt"
	"math"

	"tonocohort/stats"
)

// Names of the weights of kappa.
const (
	KappaUnweighted = "unweighted" // all disagreements count alike
	KappaLinear     = "linear"     // by their distance in categories
	KappaQuadratic  = "quadratic"  // by the square of it
)

// Kappa is agreement beyond chance between two raters.
type Kappa struct {
	N        int
	Observed float64 // (weighted) share of agreement
	Expected float64 // the same under independence of the raters
	Estimate float64 // (Observed − Expected)/(1 − Expected); NaN where chance alone gives full agreement
	SE       float64 // for intervals, not for the test of no agreement (Fleiss, Cohen and Everitt 1969, Psychol Bull 72:323-7)
	stats.Interval
}

// CohenKappa computes kappa from a square table of counts: row by the first
// rater, column by the second, categories in the same order (Cohen 1960, Educ
// Psychol Meas 20:37-46; 1968, Psychol Bull 70:213-20). weights is
// KappaUnweighted, KappaLinear or KappaQuadratic.
func CohenKappa(counts [][]int, weights string, level float64) (Kappa, error) {
	size := len(counts)
	if size < 2 {
		return Kappa{}, fmt.Errorf("agree: kappa needs two categories, not %d", size)
	}
	k := Kappa{}
	row, column := make([]float64, size), make([]float64, size)
	for i, line := range counts {
		if len(line) != size {
			return k, fmt.Errorf("agree: row %d of the table has %d columns, not %d", i+1, len(line), size)
		}
		for j, c := range line {
			if c < 0 {
				return k, fmt.Errorf("agree: count %d", c)
			}
			k.N += c
			row[i] += float64(c)
			column[j] += float64(c)
		}
	}
	if k.N == 0 {
		return k, fmt.Errorf("agree: the table is empty")
	}
	weight, err := kappaWeights(weights, size)
	if err != nil {
		return k, err
	}
	n := float64(k.N)
	rowMean, columnMean := make([]float64, size), make([]float64, size) // mean weight by category
	for i := range size {
		row[i] /= n
		column[i] /= n
	}
	for i := range size {
		for j := range size {
			k.Observed += float64(weight(i, j) * float64(counts[i][j]) / n)
			k.Expected += float64(weight(i, j) * float64(row[i]*column[j]))
			rowMean[i] += float64(weight(i, j) * column[j])
			columnMean[j] += float64(weight(i, j) * row[i])
		}
	}
	k.Estimate = (k.Observed - k.Expected) / (1 - k.Expected)
	if 1-k.Expected < 1e-15 {
		k.Estimate = math.NaN()
	}
	var variance float64
	for i := range size {
		for j := range size {
			d := weight(i, j) - float64((rowMean[i]+columnMean[j])*(1-k.Estimate))
			variance += float64(float64(float64(counts[i][j])/n) * float64(d*d))
		}
	}
	mean := k.Estimate - float64(k.Expected*(1-k.Estimate))
	k.SE = math.Sqrt((variance-float64(mean*mean))/n) / (1 - k.Expected)
	half := float64(stats.NormalQuantile((1+level)/2) * k.SE)
	k.Interval = stats.Interval{Low: k.Estimate - half, High: k.Estimate + half, Level: level, Method: "kappa_" + weights}
	return k, nil
}

// kappaWeights returns the agreement that counts for a pair of categories.
func kappaWeights(name string, size int) (func(i, j int) float64, error) {
	far := float64(size - 1)
	switch name {
	case KappaUnweighted:
		return func(i, j int) float64 {
			if i == j {
				return 1
			}
			return 0
		}, nil
	case KappaLinear:
		return func(i, j int) float64 { return 1 - math.Abs(float64(i-j))/far }, nil
	case KappaQuadratic:
		return func(i, j int) float64 { d := float64(i-j) / far; return 1 - float64(d*d) }, nil
	}
	return nil, fmt.Errorf("agree: no weights %q for kappa", name)
}
