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
	finest   []int32    // by position in the set's rows: number of the cell by all columns
	sizeOf   []int      // by that number: rows of the set
	cells    [][]int32  // by margin, then by that number: the cell
	inMargin [][]int    // by margin: its cells, upwards
	size     []int      // by cell: rows of the set
}

// at is the cell of a margin in which the row at a position lies.
func (s *strata) at(margin, position int) int32 { return s.cells[margin][s.finest[position]] }

// newStrata finds the cells of rows. They are sorted by the stratum columns in
// their declared order, "all" before the levels and a missing level last.
func (c *cohort) newStrata(columns []string, rows []int32) *strata {
	factors := make([]factor, len(columns))
	for i, name := range columns {
		factors[i] = c.factor(name)
	}
	s := &strata{finest: make([]int32, len(rows)), cells: make([][]int32, 1<<len(columns)), inMargin: make([][]int, 1<<len(columns))}
	digits := s.number(rows, factors)
	index := map[uint64]int32{0: 0}
	for m := range s.cells {
		for _, d := range digits {
			index[cellKey(factors, d, m)] = 0
		}
	}
	for _, key := range slices.Sorted(maps.Keys(index)) {
		index[key] = int32(len(s.labels))
		s.labels = append(s.labels, cellLabels(factors, key))
	}
	s.size = make([]int, len(s.labels))
	for m := range s.cells {
		s.cells[m] = make([]int32, len(digits))
		present := make([]bool, len(s.labels))
		present[0] = m == 0 // the cell of all rows, even of none
		for k, d := range digits {
			cell := index[cellKey(factors, d, m)]
			s.cells[m][k] = cell
			s.size[cell] += s.sizeOf[k]
			present[cell] = true
		}
		for cell, there := range present {
			if there {
				s.inMargin[m] = append(s.inMargin[m], cell)
			}
		}
	}
	return s
}

// number numbers the cells by all columns in the order in which rows first stand in
// them, and returns the digits of each.
func (s *strata) number(rows []int32, factors []factor) (digits [][]int) {
	numbers := map[uint64]int32{}
	last, number := uint64(0), int32(-1)
	digit := make([]int, len(factors))
	for i, row := range rows {
		for k, f := range factors {
			if digit[k] = int(f.code[row]) + 1; digit[k] == 0 {
				digit[k] = len(f.levels) + 1
			}
		}
		if key := cellKey(factors, digit, len(s.cells)-1); number < 0 || key != last {
			known := false
			if number, known = numbers[key]; !known {
				number = int32(len(digits))
				numbers[key] = number
				digits, s.sizeOf = append(digits, slices.Clone(digit)), append(s.sizeOf, 0)
			}
			last = key
		}
		s.finest[i] = number
		s.sizeOf[number]++
	}
	return digits
}

// cellKey numbers the cell of a margin from the digits of the columns, the first
// the most significant: 0 for all levels, else the level from 1, one above the last
// level where it is missing. Bit i of margin says whether column i counts.
func cellKey(factors []factor, digits []int, margin int) uint64 {
	var key uint64
	for i, f := range factors {
		digit := 0
		if margin>>i&1 == 1 {
			digit = digits[i]
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
