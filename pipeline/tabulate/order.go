package tabulate

import (
	"cmp"
	"math"
	"slices"
)

// Below fewKeys sorting by comparison is as fast as by digits.
const (
	fewKeys    = 1 << 10
	digitBits  = 11
	digitCount = 1 << digitBits
	// roughShift leaves of a number its sign, its exponent and 21 bits of its fraction.
	roughShift = 64 - 3*digitBits
)

// sortable maps numbers to whole numbers of the same order.
func sortable(v float64) uint64 {
	bits := math.Float64bits(v)
	if bits>>63 == 1 {
		return ^bits
	}
	return bits | 1<<63
}

// sortNumbers sorts upwards; spare is as long. Many are put in order by digits of their
// upper half, and those alike in it by comparison: three passes for six.
func sortNumbers(values, spare []float64) {
	if len(values) < fewKeys {
		slices.Sort(values)
		return
	}
	if sorted, _, _, _ := byDigits(roughShift, values, spare, nil, nil); &sorted[0] != &values[0] {
		copy(values, sorted)
	}
	for from := 0; from < len(values); {
		rough, to := sortable(values[from])>>roughShift, from+1
		for to < len(values) && sortable(values[to])>>roughShift == rough {
			to++
		}
		if to-from > 1 {
			slices.Sort(values[from:to])
		}
		from = to
	}
}

// byDigits sorts values, and at with them, by the digits of their whole numbers from a
// bit upwards, equal ones in the order in which they stood. Both, and to and toAt, which
// are as long, come back in one order or the other: first those that are sorted. at and
// toAt may be nil.
func byDigits(lowest int, from, to []float64, at, toAt []int32) (sorted, spare []float64, sortedAt, spareAt []int32) {
	for shift := lowest; shift < 64; shift += digitBits {
		var counts [digitCount]int32
		for _, v := range from {
			counts[sortable(v)>>shift&(digitCount-1)]++
		}
		if counts[sortable(from[0])>>shift&(digitCount-1)] == int32(len(from)) {
			continue // all have this digit
		}
		var start int32
		for i, c := range counts {
			counts[i] = start
			start += c
		}
		for i, v := range from {
			next := &counts[sortable(v)>>shift&(digitCount-1)]
			to[*next] = v
			if at != nil {
				toAt[*next] = at[i]
			}
			*next++
		}
		from, to, at, toAt = to, from, toAt, at
	}
	return from, to, at, toAt
}

// sortFew sorts values and at with them, equal values by at.
func sortFew(values []float64, at []int32) {
	type item struct {
		value float64
		at    int32
	}
	items := make([]item, len(values))
	for i, v := range values {
		items[i] = item{v, at[i]}
	}
	slices.SortFunc(items, func(a, b item) int { return cmp.Or(cmp.Compare(a.value, b.value), cmp.Compare(a.at, b.at)) })
	for i, it := range items {
		values[i], at[i] = it.value, it.at
	}
}
