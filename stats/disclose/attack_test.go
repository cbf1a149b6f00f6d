package disclose_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"

	"tonocohort/stats/disclose"
)

// attacker knows what is published and what anybody knows of the rest, and
// bounds a hidden count by linear programming. It shares no code with Protect.
type attacker struct {
	rows   [][]float64 // equations over the atoms and the slacks
	right  []float64
	holds  [][]bool // by domain, by atom
	slacks int
}

func newAttacker(t disclose.Table, hidden []bool) *attacker {
	a := &attacker{}
	n := len(t.Atoms)
	for i, d := range t.Domains {
		row := make([]float64, n)
		sum := 0.0
		in := make([]bool, n)
		for k, atom := range t.Atoms {
			if in[k] = inside(d, atom); in[k] {
				row[k] = 1
				sum += float64(atom.Value)
			}
		}
		a.holds = append(a.holds, in)
		switch {
		case !hidden[i]:
			a.equation(row, sum, 0)
		case d.Need == 0 && d.Floor > 0:
			a.equation(row, float64(d.Floor), -1)
		}
		if hidden[i] && d.Need == 0 && d.Ceiling > 0 && d.Ceiling < disclose.Unbounded {
			a.equation(row, float64(d.Ceiling), 1)
		}
	}
	for k, atom := range t.Atoms {
		if atom.Capacity < disclose.Unbounded {
			row := make([]float64, n)
			row[k] = 1
			a.equation(row, float64(atom.Capacity), 1)
		}
	}
	return a
}

// equation adds row·x + slack·s = right, s ≥ 0 of its own unless slack is 0.
func (a *attacker) equation(row []float64, right, slack float64) {
	wide := append([]float64(nil), row...)
	for range a.slacks {
		wide = append(wide, 0)
	}
	if slack != 0 {
		wide = append(wide, slack)
		a.slacks++
	}
	a.rows = append(a.rows, wide)
	a.right = append(a.right, right)
}

func inside(d disclose.Domain, a disclose.Atom) bool {
	for dim, classes := range d.Classes {
		found := classes == nil
		for _, c := range classes {
			found = found || c == a.At[dim]
		}
		if !found {
			return false
		}
	}
	return true
}

// bounds returns the interval in which the count of the domain must lie.
func (a *attacker) bounds(t *testing.T, domain int) (low, high float64) {
	t.Helper()
	width := len(a.holds[domain]) + a.slacks
	rows, right := independent(a.rows, a.right, width)
	objective := make([]float64, width)
	for k, in := range a.holds[domain] {
		if in {
			objective[k] = 1
		}
	}
	low = solve(t, objective, rows, right)
	for k := range objective {
		objective[k] = -objective[k]
	}
	return low, -solve(t, objective, rows, right)
}

func solve(t *testing.T, c []float64, rows [][]float64, right []float64) float64 {
	t.Helper()
	if len(rows) == 0 {
		for _, v := range c {
			if v < 0 {
				return math.Inf(-1)
			}
		}
		return 0
	}
	flat := mat.NewDense(len(rows), len(c), nil)
	for i, row := range rows {
		flat.SetRow(i, row)
	}
	value, _, err := lp.Simplex(c, flat, right, 1e-9, nil)
	switch err {
	case nil:
		return value
	case lp.ErrUnbounded:
		return math.Inf(-1)
	default:
		t.Fatalf("the attacker's linear programme: %v", err)
		return math.NaN()
	}
}

// independent drops equations that follow from the others, as the solver wants.
func independent(rows [][]float64, right []float64, width int) ([][]float64, []float64) {
	var kept, reduced [][]float64
	var keptRight []float64
	var pivots []int
	for i, row := range rows {
		full := make([]float64, width)
		copy(full, row)
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
		kept, keptRight = append(kept, full), append(keptRight, right[i])
		reduced, pivots = append(reduced, rest), append(pivots, pivot)
	}
	return kept, keptRight
}
