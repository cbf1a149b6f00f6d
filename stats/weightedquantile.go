package stats

import (
	"math"
	"slices"
	"sort"
)

// WeightedQuantile returns the p-quantile of a sample that is sorted upwards and
// whose values stand for more or fewer people: cumulated[i] is the sum of the
// weights of sorted[:i+1]. The nine types are those of QuantileType with the
// weight of a value in the place of one person, so that equal weights give the
// same quantile as Quantile; NaN for no values, for p outside 0 to 1, for an
// unknown type and for weights without a sum.
//
// With c the running sum, w the weight and W the sum of all, a value lies at
// c/W (type 4), (c − w/2)/W (5), c/(W + v) (6), (c − w)/(W − v) (7),
// (c − w/3)/(W + v/3) (8) or (c − 3w/8)/(W + v/4) (9), where v is the weight of
// the last value.
func WeightedQuantile(sorted, cumulated []float64, p float64, t QuantileType) float64 {
	n := len(sorted)
	if n == 0 || !(p >= 0 && p <= 1) || !t.Valid() || !(cumulated[n-1] > 0) {
		return math.NaN()
	}
	if t <= NearestEven {
		return steppedQuantile(sorted, cumulated, p, t)
	}
	last := cumulated[n-1]
	if n > 1 {
		last -= cumulated[n-2]
	}
	share, stretch := positionOf(t)
	end := cumulated[n-1] + float64(stretch*last)
	at := func(i int) float64 {
		before := 0.0
		if i > 0 {
			before = cumulated[i-1]
		}
		return before + float64((1-share)*(cumulated[i]-before))
	}
	target := float64(p * end)
	high := sort.Search(n, func(i int) bool { return at(i) >= target-float64(nearly*end) })
	switch {
	case high == 0:
		return sorted[0]
	case high == n:
		return sorted[n-1]
	}
	low := at(high - 1)
	part := (target - low) / (at(high) - low)
	switch {
	case part >= 1 || sorted[high] == sorted[high-1]:
		return sorted[high]
	case part <= 0:
		return sorted[high-1]
	}
	return float64((1-part)*sorted[high-1]) + float64(part*sorted[high])
}

// nearly is the rounding of a running sum, as a share of it, within which two
// positions are one.
const nearly = 8 * ulp

// positionOf gives the share of its own weight that a value's position lies
// below its running sum, and the share of the last weight that the whole is
// stretched by.
func positionOf(t QuantileType) (share, stretch float64) {
	switch t {
	case MidPositions:
		return 0.5, 0
	case MeanPositions:
		return 0, 1
	case ModePositions:
		return 1, -1
	case MedianUnbiased:
		return 1.0 / 3, 1.0 / 3
	case NormalUnbiased:
		return 0.375, 0.25
	}
	return 0, 0
}

// steppedQuantile is for the types that return values of the sample.
func steppedQuantile(sorted, cumulated []float64, p float64, t QuantileType) float64 {
	n := len(sorted)
	whole := cumulated[n-1]
	target := float64(p * whole)
	slack := float64(nearly * whole)
	first := sort.Search(n, func(i int) bool { return cumulated[i] >= target-slack })
	first = min(first, n-1)
	next := min(first+1, n-1)
	step := cumulated[first]-target <= slack
	switch {
	case t == AveragedInverseCDF && step:
		return float64(0.5*sorted[first]) + float64(0.5*sorted[next])
	case t == NearestEven && first > 0:
		above, below := cumulated[first]-target, target-cumulated[first-1]
		// Counted from 1, the even one of two equally near ones.
		if below < above-slack || math.Abs(below-above) <= slack && first%2 == 0 {
			return sorted[first-1]
		}
	}
	return sorted[first]
}

// FrequencyQuantile returns the p-quantile of a sample in which sorted[i] stands
// for as many persons as the running counts rise by: that of the sample with
// each value repeated. Counts are whole.
func FrequencyQuantile(sorted, cumulated []float64, p float64, t QuantileType) float64 {
	if len(sorted) == 0 || !(p >= 0 && p <= 1) || !t.Valid() {
		return math.NaN()
	}
	n := int(cumulated[len(cumulated)-1])
	return quantileAt(n, p, t, func(rank int) float64 { return AtRank(sorted, cumulated, rank) })
}

// AtRank returns the value of a rank, counted from 1, where values stand for
// several persons each.
func AtRank(sorted, cumulated []float64, rank int) float64 {
	i, _ := slices.BinarySearch(cumulated, float64(rank))
	return sorted[i]
}
