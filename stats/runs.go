package stats

import "math"

// Runs is a sample in parts, each sorted upwards. Its ordered values are found where
// they stand: the parts need not be joined, nor sorted together.
type Runs [][]float64

// Len returns the number of values.
func (r Runs) Len() int {
	n := 0
	for _, run := range r {
		n += len(run)
	}
	return n
}

// Below returns how many values are below v.
func (r Runs) Below(v float64) int {
	n := 0
	for _, run := range r {
		n += firstFrom(run, v)
	}
	return n
}

// At returns the value of a rank, counted from 1, in the order of all values; NaN where
// there is no such rank. The middle of the longest part that may still hold it is tried
// as a bound, and what lies beyond is put aside in every part.
func (r Runs) At(rank int) float64 {
	if rank < 1 {
		return math.NaN()
	}
	if len(r) == 1 && rank <= len(r[0]) {
		return r[0][rank-1]
	}
	var room [16][]float64
	left := append(room[:0], r...)
	for {
		longest := 0
		for i := range left {
			if len(left[i]) > len(left[longest]) {
				longest = i
			}
		}
		if len(left) == 0 || len(left[longest]) == 0 {
			return math.NaN()
		}
		bound := left[longest][len(left[longest])/2]
		below, upTo := 0, 0
		for _, run := range left {
			below += firstFrom(run, bound)
			upTo += firstAbove(run, bound)
		}
		switch {
		case rank <= below:
			for i, run := range left {
				left[i] = run[:firstFrom(run, bound)]
			}
		case rank <= upTo:
			return bound
		default:
			rank -= upTo
			for i, run := range left {
				left[i] = run[firstAbove(run, bound):]
			}
		}
	}
}

// firstFrom is where the values from v on begin.
func firstFrom(run []float64, v float64) int {
	low, high := 0, len(run)
	for low < high {
		if middle := int(uint(low+high) >> 1); run[middle] < v {
			low = middle + 1
		} else {
			high = middle
		}
	}
	return low
}

// firstAbove is where the values above v begin.
func firstAbove(run []float64, v float64) int {
	low, high := 0, len(run)
	for low < high {
		if middle := int(uint(low+high) >> 1); run[middle] <= v {
			low = middle + 1
		} else {
			high = middle
		}
	}
	return low
}

// Quantile is the function Quantile of all values.
func (r Runs) Quantile(p float64, t QuantileType) float64 {
	n := r.Len()
	if n == 0 || !(p >= 0 && p <= 1) || !t.Valid() {
		return math.NaN()
	}
	return quantileAt(n, p, t, r.At)
}

// RankInterval returns the interval between two ranks, as OrderStatisticRanks gives
// them; both ends NaN where a rank is 0.
func (r Runs) RankInterval(low, high int, level float64) Interval {
	interval := Interval{Low: math.NaN(), High: math.NaN(), Level: level, Method: MethodOrderStatistic}
	if low > 0 && high > 0 {
		interval.Low, interval.High = r.At(low), r.At(high)
	}
	return interval
}
