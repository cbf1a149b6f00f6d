package agree

import (
	"math/bits"
	"slices"
)

// place brings the values at the given ranks, from 0, to where sorting would leave
// them; the others lie between them in no order. Of millions of slopes a few ranks
// are wanted, and sorting all would take the most of the time.
func place(x []float64, ranks ...int) {
	slices.Sort(ranks)
	placeWithin(x, ranks, 0, 2*bits.Len(uint(len(x))))
}

// placeWithin does so for the part of the values that begins at rank from; after
// so many rounds without an end it sorts.
func placeWithin(x []float64, ranks []int, from, rounds int) {
	for len(ranks) > 0 && ranks[0] < from {
		ranks = ranks[1:]
	}
	for len(ranks) > 0 && ranks[len(ranks)-1] >= from+len(x) {
		ranks = ranks[:len(ranks)-1]
	}
	if len(ranks) == 0 {
		return
	}
	if len(x) < 32 || rounds == 0 {
		slices.Sort(x)
		return
	}
	a, b, c := x[0], x[len(x)/2], x[len(x)-1]
	pivot := max(min(a, b), min(max(a, b), c))
	middle := below(x, pivot)
	placeWithin(x[:middle], ranks, from, rounds-1)
	if middle == 0 { // the pivot is the least: those that are equal to it are in their place
		middle = notAbove(x, pivot)
	}
	placeWithin(x[middle:], ranks, from+middle, rounds-1)
}

// below brings the values below a pivot before the others and returns how many they are.
// It exchanges every value, with itself or another, so that no branch of the loop has to
// be guessed: half the guesses would be wrong.
func below(x []float64, pivot float64) int {
	n := 0
	for i, v := range x {
		x[i], x[n] = x[n], v
		n += is(v < pivot)
	}
	return n
}

// notAbove does so with those that are not above it.
func notAbove(x []float64, pivot float64) int {
	n := 0
	for i, v := range x {
		x[i], x[n] = x[n], v
		n += is(v <= pivot)
	}
	return n
}
