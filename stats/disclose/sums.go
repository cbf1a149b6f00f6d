package disclose

import (
	"math"
	"slices"
)

// Sums knows which numbers follow from published ones by adding and subtracting.
// A group of people is a vector over the finest groups that can be told apart: 1
// for those in it, 0 for others. The zero value knows nothing.
//
// A number follows exactly where the group's vector is a linear combination of the
// published ones: the rows are kept as a reduced echelon form, in which a vector
// with few entries is tried in few steps.
type Sums struct {
	rows   [][]float64
	pivots map[int]int // by place: the row that leads there
}

// sumsZero is what elimination leaves of a zero: the entries are ratios of small
// whole numbers.
const sumsZero = 1e-7

// Clone returns a copy that can be added to.
func (s *Sums) Clone() *Sums {
	c := &Sums{pivots: make(map[int]int, len(s.pivots))}
	for _, row := range s.rows {
		c.rows = append(c.rows, slices.Clone(row))
	}
	for at, row := range s.pivots {
		c.pivots[at] = row
	}
	return c
}

// Follow reports whether the number of a group follows from what was published.
func (s *Sums) Follow(group []float64) bool {
	return lead(s.rest(group)) < 0
}

// Publish notes that the number of a group is told.
func (s *Sums) Publish(group []float64) {
	rest := s.rest(group)
	at := lead(rest)
	if at < 0 {
		return
	}
	first := rest[at]
	for i := range rest {
		rest[i] /= first
	}
	for _, row := range s.rows {
		if factor := row[at]; factor != 0 {
			for i, r := range rest {
				row[i] -= float64(factor * r)
			}
		}
	}
	if s.pivots == nil {
		s.pivots = map[int]int{}
	}
	s.pivots[at] = len(s.rows)
	s.rows = append(s.rows, rest)
}

func (s *Sums) rest(group []float64) []float64 {
	out := slices.Clone(group)
	for at, value := range group {
		k, leads := s.pivots[at]
		if value == 0 || !leads {
			continue
		}
		for i, r := range s.rows[k] {
			out[i] -= float64(value * r)
		}
	}
	return out
}

func lead(v []float64) int {
	return slices.IndexFunc(v, func(x float64) bool { return math.Abs(x) > sumsZero })
}
