package disclose_test

import (
	"testing"

	"tonocohort/stats/disclose"
	"tonocohort/testdata/attack"
)

// known is what an attacker knows of a table: what is published, and the bounds
// that anybody knows of the rest.
func known(t disclose.Table, hidden []bool) *attack.System {
	s := attack.New(len(t.Atoms))
	for i, d := range t.Domains {
		atoms := inside(t, d)
		if !hidden[i] {
			sum := 0
			for _, k := range atoms {
				sum += t.Atoms[k].Value
			}
			s.Equal(atoms, float64(sum))
			continue
		}
		if d.Floor > 0 {
			s.AtLeast(atoms, float64(d.Floor))
		}
		if d.Ceiling > 0 && d.Ceiling < disclose.Unbounded {
			s.AtMost(atoms, float64(d.Ceiling))
		}
	}
	for k, a := range t.Atoms {
		if a.Capacity < disclose.Unbounded {
			s.AtMost([]int{k}, float64(a.Capacity))
		}
	}
	return s
}

func inside(t disclose.Table, d disclose.Domain) []int {
	var atoms []int
	for k, a := range t.Atoms {
		holds := true
		for dim, classes := range d.Classes {
			found := classes == nil
			for _, c := range classes {
				found = found || c == a.At[dim]
			}
			holds = holds && found
		}
		if holds {
			atoms = append(atoms, k)
		}
	}
	return atoms
}

// bounds places the count of a domain.
func bounds(t *testing.T, table disclose.Table, hidden []bool, domain int) (low, high float64) {
	t.Helper()
	low, high, err := known(table, hidden).Bounds(inside(table, table.Domains[domain]))
	if err != nil {
		t.Fatal(err)
	}
	return low, high
}
