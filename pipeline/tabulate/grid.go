package tabulate

import (
	"math"
	"slices"
	"strconv"

	"tonocohort/stats"
)

// rounded keeps three significant digits, so that no person's value is shown.
func rounded(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64)
	return r
}

// grid lists round values of a column between its outer 2.5 percents, and the
// one that effects are counted from: the term's own value, or that nearest to
// the median.
func (c curveWriter) grid(name string) (grid []float64, reference float64) {
	sorted := slices.Clone(c.d.sample.numbers[name])
	sortNumbers(sorted, make([]float64, len(sorted)))
	low, high := stats.Quantile(sorted, 0.025, stats.MedianUnbiased), stats.Quantile(sorted, 0.975, stats.MedianUnbiased)
	middle := stats.Quantile(sorted, 0.5, stats.MedianUnbiased)
	step := niceStep((high - low) / gridPoints)
	if !(step > 0) {
		return nil, middle
	}
	for k := math.Ceil(low / step); float64(k*step) <= high; k++ {
		grid = append(grid, rounded12(float64(k*step)))
	}
	reference = math.NaN()
	for _, b := range c.d.blocks {
		if b.term.Column == name && b.term.At != nil {
			return grid, *b.term.At
		}
	}
	for _, x := range grid {
		if math.IsNaN(reference) || math.Abs(x-middle) < math.Abs(reference-middle) {
			reference = x
		}
	}
	return grid, reference
}

// rounded12 takes the dust of a multiplication off.
func rounded12(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	return r
}

// niceStep is the smallest of 1, 2 and 5 times a power of ten that is not below v.
func niceStep(v float64) float64 {
	if !(v > 0) {
		return 0
	}
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, k := range []float64{1, 2, 5} {
		if float64(k*power) >= v {
			return k * power
		}
	}
	return 10 * power
}
