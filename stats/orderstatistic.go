package stats

import "math"

// OrderStatisticRanks returns the ranks, counted from 1, of the two values of a
// sorted sample of n that enclose the p-quantile of its population with at
// least the given level, whatever the distribution, and the coverage they have.
// The interval is equal-tailed: each side misses with at most (1 − level)/2.
//
// A side on which even the outermost value does not reach that far has rank 0,
// and the coverage is then NaN: at 95 % that needs n ≥ 6 for the median, 36 for
// P10 and P90, 72 for P5 and P95, 146 for P2.5 and P97.5.
//
// The number of values below the quantile is binomial, so that the value of
// rank l lies below it with P(X ≥ l) (David and Nagaraja 2003, Order
// Statistics, 7.1; the book from memory).
func OrderStatisticRanks(n int, p, level float64) (low, high int, coverage float64) {
	if n < 1 || !(p > 0 && p < 1) || !(level > 0 && level < 1) {
		return 0, 0, math.NaN()
	}
	tail := (1 - level) / 2
	low = binomialQuantile(tail, n, p)
	high = binomialQuantile(1-tail, n, p) + 1
	if high > n {
		high = 0
	}
	if low == 0 || high == 0 {
		return low, high, math.NaN()
	}
	return low, high, binomialCDF(high-1, n, p) - binomialCDF(low-1, n, p)
}

// QuantileInterval returns the order-statistic interval of the p-quantile of a
// sample that is sorted upwards; both ends NaN where one of them does not exist.
func QuantileInterval(sorted []float64, p, level float64) Interval {
	low, high, _ := OrderStatisticRanks(len(sorted), p, level)
	return Runs{sorted}.RankInterval(low, high, level)
}

// binomialQuantile returns the least k with P(X ≤ k) ≥ q. The search starts at
// the normal approximation, which takes a few steps at any n.
func binomialQuantile(q float64, n int, p float64) int {
	size := float64(n)
	mean := float64(size * p)
	start := mean + float64(NormalQuantile(q)*math.Sqrt(float64(mean*(1-p))))
	k := min(max(int(start), 0), n)
	// The margin keeps the rounding of the distribution function from deciding
	// where it equals q in exact arithmetic.
	const margin = 64 * ulp
	reaches := func(k int) bool { return binomialCDF(k, n, p) >= q*(1-margin) }
	// Strides double until the answer lies between: where n is so large that the
	// distribution function is exact to few digits, single steps would never end.
	low, high := k-1, k // reaches(high), not reaches(low)
	for stride := 1; high < n && !reaches(high); stride *= 2 {
		low, high = high, min(n, high+stride)
	}
	if low < k {
		for stride := 1; low >= 0 && reaches(low); stride *= 2 {
			low, high = max(-1, low-stride), low
		}
	}
	for high-low > 1 {
		if middle := low + (high-low)/2; reaches(middle) {
			high = middle
		} else {
			low = middle
		}
	}
	k = high
	return k
}
