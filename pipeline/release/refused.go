package release

import (
	"fmt"
	"slices"

	"tonocohort/stats/disclose"
)

// pieces numbers the finest groups of people that the crowds tell apart.
func (x *crowds) pieces() (of []int32, sizes []int) {
	of = make([]int32, len(x.members))
	index := map[string]int{}
	key := make([]byte, (len(x.list)+7)/8)
	for i, kind := range x.members {
		clear(key)
		for k := range x.list {
			if x.list[k].in.at(i) {
				key[k/8] |= 1 << (k % 8)
			}
		}
		at, known := index[string(key)]
		if !known {
			at = len(sizes)
			index[string(key)] = at
			sizes = append(sizes, 0)
		}
		of[i] = int32(at)
		sizes[at] += x.of.sizes[kind]
	}
	return of, sizes
}

// refused lists the claims that would give a group of few away.
func (x *crowds) refused() map[claim]bool {
	of, sizes := x.pieces()
	vectors := make([][]float64, len(x.list))
	for k, c := range x.list {
		vectors[k] = make([]float64, len(sizes))
		for i, piece := range of {
			if c.in.at(i) {
				vectors[k][piece] = 1
			}
		}
	}
	sums := &disclose.Sums{}
	for _, k := range x.told {
		sums.Publish(vectors[k])
	}
	open := slices.DeleteFunc(x.targets(vectors, sizes), sums.Follow) // told already
	refused := map[claim]bool{}
	for _, k := range x.wanted {
		if sums.Follow(vectors[x.asked[k]]) && !slices.ContainsFunc(open, func(t []float64) bool { return slices.Equal(t, vectors[x.asked[k]]) }) {
			continue
		}
		more := sums.Clone()
		more.Publish(vectors[x.asked[k]])
		if slices.ContainsFunc(open, more.Follow) {
			refused[k] = true
			continue
		}
		sums = more
	}
	return refused
}

// targets lists the groups of few.
func (x *crowds) targets(vectors [][]float64, sizes []int) [][]float64 {
	var list [][]float64
	seen := map[string]bool{}
	try := func(event bool, in func(piece int) bool) {
		n := 0
		var at []int
		for piece, size := range sizes {
			if in(piece) {
				at = append(at, piece)
				if n += size; n >= x.c.rules.MinCell {
					return
				}
			}
		}
		key := fmt.Sprint(at)
		if !(event && x.c.rules.Few(n) || x.c.few(n)) || seen[key] {
			return
		}
		seen[key] = true
		v := make([]float64, len(sizes))
		for _, piece := range at {
			v[piece] = 1
		}
		list = append(list, v)
	}
	for k, a := range vectors {
		event := x.list[k].event
		try(event, func(p int) bool { return a[p] == 1 })
		for l, b := range vectors[:k] {
			event := event || x.list[l].event
			try(event, func(p int) bool { return a[p] == 1 && b[p] == 0 })
			try(event, func(p int) bool { return b[p] == 1 && a[p] == 0 })
			try(event, func(p int) bool { return a[p] == 1 && b[p] == 1 })
		}
	}
	return list
}
