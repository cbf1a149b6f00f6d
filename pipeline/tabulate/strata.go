package tabulate

import (
	"maps"
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
	labels   [][]string // by cell: a label per stratum column
	cells    [][]int32  // by margin, then by position in the set's rows: the cell
	inMargin [][]int    // by margin: its cells, upwards
	size     []int      // by cell: rows of the set
}

// newStrata finds the cells of rows. They are sorted by the stratum columns in
// their declared order, "all" before the levels and a missing level last.
func (c *cohort) newStrata(columns []string, rows []int) strata {
	factors := make([]factor, len(columns))
	for i, name := range columns {
		factors[i] = c.factor(name)
	}
	margins := 1 << len(columns)
	index := map[uint64]int32{0: 0}
	for m := range margins {
		last := uint64(0)
		for _, row := range rows {
			if key := cellKey(factors, row, m); key != last {
				index[key] = 0
				last = key
			}
		}
	}
	s := strata{cells: make([][]int32, margins), inMargin: make([][]int, margins), size: make([]int, len(index))}
	for _, key := range slices.Sorted(maps.Keys(index)) {
		index[key] = int32(len(s.labels))
		s.labels = append(s.labels, cellLabels(factors, key))
	}
	for m := range margins {
		s.fill(m, rows, factors, index)
	}
	return s
}

// fill puts the rows into the cells of a margin.
func (s *strata) fill(margin int, rows []int, factors []factor, index map[uint64]int32) {
	cells := make([]int32, len(rows))
	last, cell := uint64(0), index[0]
	present := make([]bool, len(s.labels))
	for i, row := range rows {
		if key := cellKey(factors, row, margin); key != last {
			last, cell = key, index[key]
		}
		cells[i] = cell
		s.size[cell]++
		present[cell] = true
	}
	s.cells[margin] = cells
	if margin == 0 {
		present[0] = true // the cell of all rows, even of none
	}
	for cell, there := range present {
		if there {
			s.inMargin[margin] = append(s.inMargin[margin], cell)
		}
	}
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
