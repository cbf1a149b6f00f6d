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
	below, above := 0, len(x)
	for i := 0; i < above; {
		switch v := x[i]; {
		case v < pivot:
			x[i], x[below] = x[below], v
			below++
			i++
		case v > pivot:
			above--
			x[i], x[above] = x[above], v
		default:
			i++
		}
	}
	placeWithin(x[:below], ranks, from, rounds-1)
	placeWithin(x[above:], ranks, from+above, rounds-1)
}
