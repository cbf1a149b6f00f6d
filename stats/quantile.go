package stats

import (
	"fmt"
	"math"
)

// QuantileType is one of the nine sample quantiles of Hyndman and Fan 1996, Am
// Stat 50:361-5, by their number.
type QuantileType int

// The nine types by what they do. Types 1 to 3 return values of the sample (or
// the mean of two), types 4 to 9 interpolate between neighbours.
const (
	InverseCDF         QuantileType = iota + 1 // 1: inverse of the empirical distribution
	AveragedInverseCDF                         // 2: as 1, the mean of both neighbours at a step
	NearestEven                                // 3: nearest observation, the even one at a tie
	InterpolatedCDF                            // 4: positions k/n
	MidPositions                               // 5: positions (k − 1/2)/n
	MeanPositions                              // 6: positions k/(n + 1); common for reference limits
	ModePositions                              // 7: positions (k − 1)/(n − 1); the default of most programs
	MedianUnbiased                             // 8: positions (k − 1/3)/(n + 1/3)
	NormalUnbiased                             // 9: positions (k − 3/8)/(n + 1/4)
)

// DefaultQuantileType is the one that its authors recommend: its estimates are
// nearly median-unbiased whatever the distribution. Type 7, the default of most
// programs, draws the outer percentiles of a small stratum inwards, and small
// strata are the rule in a table by sex and decade.
const DefaultQuantileType = MedianUnbiased

// Valid reports whether t is one of the nine.
func (t QuantileType) Valid() bool { return t >= InverseCDF && t <= NormalUnbiased }

// Name is how the type is called beside a number: quantile_type_8.
func (t QuantileType) Name() string { return fmt.Sprintf("quantile_type_%d", int(t)) }

// ParseQuantileType is the inverse of Name.
func ParseQuantileType(name string) (QuantileType, error) {
	for t := InverseCDF; t <= NormalUnbiased; t++ {
		if t.Name() == name {
			return t, nil
		}
	}
	return 0, fmt.Errorf("no quantile type is called %q; there are %s to %s", name, InverseCDF.Name(), NormalUnbiased.Name())
}

// Quantile returns the p-quantile, 0 ≤ p ≤ 1, of a sample that is sorted
// upwards; NaN for no values, for p outside its range and for an unknown type.
//
// Positions are rounded to a whole number where they lie within a few units in
// the last place of it, so that 0.7 · 10 is 7.
func Quantile(sorted []float64, p float64, t QuantileType) float64 {
	return Runs{sorted}.Quantile(p, t)
}

// quantileAt is the quantile of n sorted values of which at gives each by its
// rank, counted from 1.
func quantileAt(n int, p float64, t QuantileType, at func(rank int) float64) float64 {
	position := quantilePosition(n, p, t)
	whole := math.Floor(position)
	share := position - whole
	switch t {
	case InverseCDF:
		share = step(share > 0)
	case AveragedInverseCDF:
		if share > 0 {
			share = 1
		} else {
			share = 0.5
		}
	case NearestEven:
		// position = n·p − 1/2: at a tie the even neighbour is taken.
		share = step(share > 0 || math.Mod(whole, 2) != 0)
	}
	low := clamp(int(whole), n)
	high := clamp(int(whole)+1, n)
	a, b := at(low), at(high)
	switch {
	case share == 0 || a == b:
		return a
	case share == 1:
		return b
	}
	return float64((1-share)*a) + float64(share*b)
}

// quantilePosition returns the position, counted from 1, of the p-quantile
// among n sorted values: its whole part is the lower neighbour, the rest the
// share of the upper one.
func quantilePosition(n int, p float64, t QuantileType) float64 {
	size := float64(n)
	var position float64
	switch t {
	case NearestEven:
		position = float64(size*p) - 0.5
	case MidPositions:
		position = float64(size*p) + 0.5
	case MeanPositions:
		position = (size + 1) * p
	case ModePositions:
		position = float64((size-1)*p) + 1
	case MedianUnbiased:
		position = float64((size+1.0/3)*p) + 1.0/3
	case NormalUnbiased:
		position = float64((size+0.25)*p) + 0.375
	default:
		position = size * p
	}
	if nearest := math.Round(position); math.Abs(position-nearest) <= 4*ulp*math.Max(1, position) {
		return nearest
	}
	return position
}

const ulp = 0x1p-52 // distance from 1 to the next float64

func step(up bool) float64 {
	if up {
		return 1
	}
	return 0
}

func clamp(rank, n int) int { return min(max(rank, 1), n) }
