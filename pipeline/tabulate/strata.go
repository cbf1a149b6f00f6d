package tabulate

import (
	"cmp"
	"maps"
	"math"
	"slices"
)

// Labels of a stratum column beside its levels. No level can be called so: one
// is kept free by Check and the other is no identifier.
const (
	everyLevel   = "all"
	missingLevel = "(missing)"
)

// strata are the cells of the declared stratum columns with every margin: each
// row of a set lies in one cell of each margin. Only cells with rows exist, and
// the cell of all rows always does.
type strata struct {
	labels [][]string // by cell: a label per stratum column
	cells  [][]int    // by margin, then by position in the set's rows: the cell
	size   []int      // by cell: rows of the set
}

// newStrata finds the cells of rows. They are sorted by the stratum columns in
// their declared order, "all" before the levels and a missing level last.
func (c *cohort) newStrata(columns []string, rows []int) strata {
	factors := make([]factor, len(columns))
	for i, name := range columns {
		factors[i] = c.factor(name)
	}
	margins := 1 << len(columns)
	keys := make([][]uint64, margins)
	index := map[uint64]int{0: 0}
	for m := range margins {
		keys[m] = make([]uint64, len(rows))
		for i, row := range rows {
			keys[m][i] = cellKey(factors, row, m)
			index[keys[m][i]] = 0
		}
	}
	s := strata{cells: make([][]int, margins), size: make([]int, len(index))}
	for _, key := range slices.Sorted(maps.Keys(index)) {
		index[key] = len(s.labels)
		s.labels = append(s.labels, cellLabels(factors, key))
	}
	for m := range margins {
		s.cells[m] = make([]int, len(rows))
		for i, key := range keys[m] {
			s.cells[m][i] = index[key]
			s.size[index[key]]++
		}
	}
	return s
}

// cellKey numbers the cell of a row in a margin: digits, the first column the
// most significant, 0 for all levels, else the level from 1, one above the
// last level where it is missing. Bit i of margin says whether column i counts.
func cellKey(factors []factor, row, margin int) uint64 {
	var key uint64
	for i, f := range factors {
		digit := 0
		if margin>>i&1 == 1 {
			digit = f.code[row] + 1
			if digit == 0 {
				digit = len(f.levels) + 1
			}
		}
		key = key*uint64(len(f.levels)+2) + uint64(digit)
	}
	return key
}

func cellLabels(factors []factor, key uint64) []string {
	labels := make([]string, len(factors))
	for i := len(factors) - 1; i >= 0; i-- {
		base := uint64(len(factors[i].levels) + 2)
		switch digit := int(key % base); digit {
		case 0:
			labels[i] = everyLevel
		case len(factors[i].levels) + 1:
			labels[i] = missingLevel
		default:
			labels[i] = factors[i].levels[digit-1]
		}
		key /= base
	}
	return labels
}

// group is what the rows of one cell hold of one variable.
type group struct {
	values  []float64 // sorted upwards, missing ones left out
	person  []int     // by value: number of the person; nil unless persons repeat
	missing int
}

// groups deals the values of a variable out to the cells. They are sorted once,
// before that, so that every cell is sorted and no sum depends on the order in
// which people stand in the table.
func (c *cohort) groups(s strata, rows []int, cells []float64) []group {
	type item struct {
		value float64
		at    int // position in rows
	}
	order := make([]item, 0, len(rows))
	groups := make([]group, len(s.labels))
	present := make([]int, len(groups))
	for i, row := range rows {
		missing := math.IsNaN(cells[row])
		if !missing {
			order = append(order, item{cells[row], i})
		}
		for m := range s.cells {
			if cell := s.cells[m][i]; missing {
				groups[cell].missing++
			} else {
				present[cell]++
			}
		}
	}
	slices.SortFunc(order, func(a, b item) int {
		return cmp.Or(cmp.Compare(a.value, b.value), cmp.Compare(a.at, b.at))
	})
	for cell := range groups {
		groups[cell].values = make([]float64, 0, present[cell])
	}
	for _, o := range order {
		for m := range s.cells {
			g := &groups[s.cells[m][o.at]]
			g.values = append(g.values, o.value)
			if c.repeated {
				g.person = append(g.person, c.subject[rows[o.at]])
			}
		}
	}
	return groups
}
