package study

import "hash/maphash"

// rowIndex finds a row of a table by its key. The rows hold their keys, so that it holds
// numbers of rows alone: a map would hold every key once more, some 40 bytes a person
// for each table.
type rowIndex[K comparable] struct {
	key   func(row int32) K
	seed  maphash.Seed
	rows  []int32 // open addressing, a power of two: the row plus 1; 0 where there is none
	added int
}

func newRowIndex[K comparable](key func(row int32) K) rowIndex[K] {
	return rowIndex[K]{key: key, seed: maphash.MakeSeed(), rows: make([]int32, 16)}
}

// find returns the row of a key, and whether there is one.
func (x *rowIndex[K]) find(key K) (int32, bool) {
	row := x.rows[x.place(key)]
	return row - 1, row > 0
}

// add takes in a row that has its key already; no row before it has the same.
func (x *rowIndex[K]) add(row int32) {
	const most = 3.0 / 4 // of the places
	if float64(x.added+1) > most*float64(len(x.rows)) {
		before := x.rows
		x.rows = make([]int32, 2*len(before))
		for _, r := range before {
			if r > 0 {
				x.rows[x.place(x.key(r-1))] = r
			}
		}
	}
	x.rows[x.place(x.key(row))] = row + 1
	x.added++
}

// place is where a key stands, or will.
func (x *rowIndex[K]) place(key K) int {
	last := len(x.rows) - 1
	i := int(maphash.Comparable(x.seed, key)) & last
	for x.rows[i] > 0 && x.key(x.rows[i]-1) != key {
		i = (i + 1) & last
	}
	return i
}
