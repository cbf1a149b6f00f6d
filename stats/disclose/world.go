package disclose

import (
	"cmp"
	"slices"
)

// world is a set of counts that agrees with everything published.
type world struct {
	sign   int // 1: the hidden count is to rise; −1: to fall
	atoms  map[int]int
	totals map[int]int
	gain   int
}

func newWorld(sign int) *world {
	return &world{sign: sign, atoms: map[int]int{}, totals: map[int]int{}}
}

func (w *world) changes() []Change {
	var list []Change
	for a, by := range w.atoms {
		if by != 0 {
			list = append(list, Change{a, by})
		}
	}
	slices.SortFunc(list, func(a, b Change) int { return cmp.Compare(a.Atom, b.Atom) })
	return list
}
