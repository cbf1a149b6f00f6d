// Package attack bounds hidden numbers from published ones by linear
// programming, for tests of disclosure control. It knows nothing of how a table
// was protected.
package attack

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
)

// System is what is known of unknown numbers that are at least zero.
type System struct {
	unknowns int
	rows     [][]float64
	right    []float64
	slack    []float64 // by row: 0 for an equation, 1 for at most, −1 for at least
}

// New starts a system of so many unknowns.
func New(unknowns int) *System { return &System{unknowns: unknowns} }

// Equal says that the sum of the unknowns of a group is known.
func (s *System) Equal(group []int, value float64) { s.add(group, value, 0) }

// AtMost says that the sum is at most value.
func (s *System) AtMost(group []int, value float64) { s.add(group, value, 1) }

// AtLeast says that the sum is at least value.
func (s *System) AtLeast(group []int, value float64) { s.add(group, value, -1) }

// NotAbove says that one unknown is at most another.
func (s *System) NotAbove(low, high int) {
	s.add([]int{low}, 0, 1)
	s.rows[len(s.rows)-1][high] = -1
}

func (s *System) add(group []int, value, slack float64) {
	row := make([]float64, s.unknowns)
	for _, i := range group {
		row[i] = 1
	}
	s.rows = append(s.rows, row)
	s.right = append(s.right, value)
	s.slack = append(s.slack, slack)
}

// Bounds returns the interval in which the sum of a group must lie.
func (s *System) Bounds(group []int) (low, high float64, err error) {
	rows, right := s.independent()
	width := s.unknowns
	if len(rows) > 0 {
		width = len(rows[0])
	}
	objective := make([]float64, width)
	for _, i := range group {
		objective[i] = 1
	}
	if low, err = minimise(objective, slices.Clone(rows), right); err != nil {
		return 0, 0, err
	}
	for i := range objective {
		objective[i] = -objective[i]
	}
	high, err = minimise(objective, rows, right)
	return low, -high, err
}

func minimise(c []float64, rows [][]float64, right []float64) (float64, error) {
	// An unknown in no row is free, and the solver wants none.
	var used []int
	for j, v := range c {
		in := false
		for _, row := range rows {
			in = in || row[j] != 0
		}
		switch {
		case in:
			used = append(used, j)
		case v < 0:
			return math.Inf(-1), nil
		}
	}
	if len(rows) == 0 {
		return 0, nil
	}
	c = pick(c, used)
	for i, row := range rows {
		rows[i] = pick(row, used)
	}
	flat := mat.NewDense(len(rows), len(c), nil)
	for i, row := range rows {
		flat.SetRow(i, row)
	}
	value, _, err := lp.Simplex(c, flat, right, 1e-9, nil)
	switch err {
	case nil:
		return value, nil
	case lp.ErrUnbounded:
		return math.Inf(-1), nil
	}
	return math.NaN(), fmt.Errorf("linear programme: %w", err)
}

func pick(row []float64, columns []int) []float64 {
	out := make([]float64, len(columns))
	for k, j := range columns {
		out[k] = row[j]
	}
	return out
}

// independent gives every inequality its slack and drops equations that follow
// from others, as the solver wants.
func (s *System) independent() (kept [][]float64, keptRight []float64) {
	width := s.unknowns
	for _, slack := range s.slack {
		if slack != 0 {
			width++
		}
	}
	next := s.unknowns
	var reduced [][]float64
	var pivots []int
	for i, row := range s.rows {
		full := make([]float64, width)
		copy(full, row)
		if s.slack[i] != 0 {
			full[next] = s.slack[i]
			next++
		}
		rest := append([]float64(nil), full...)
		for k, r := range reduced {
			if f := rest[pivots[k]]; f != 0 {
				for j := range rest {
					rest[j] -= f * r[j]
				}
			}
		}
		pivot := -1
		for j, v := range rest {
			if math.Abs(v) > 1e-9 {
				pivot = j
				break
			}
		}
		if pivot < 0 {
			continue
		}
		f := rest[pivot]
		for j := range rest {
			rest[j] /= f
		}
		kept, keptRight = append(kept, full), append(keptRight, s.right[i])
		reduced, pivots = append(reduced, rest), append(pivots, pivot)
	}
	return kept, keptRight
}
