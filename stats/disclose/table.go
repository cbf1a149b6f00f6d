package disclose

import (
	"fmt"
	"math"
	"slices"
)

// Unbounded is the capacity or ceiling of a count that nothing bounds.
const Unbounded = math.MaxInt

// Atom is a group of people that no published number tells apart further: all
// of one class in every dimension.
type Atom struct {
	At       []int // class in each dimension, from 0
	Value    int   // the count that adds up
	Least    int   // the least that a witness may take for its count
	Capacity int   // the most that it could be as far as anybody knows; Unbounded
}

// Domain is a group of people whose count is published, was, or can be worked
// out by subtraction: a cell of a table or of a margin.
type Domain struct {
	Classes [][]int // in each dimension the classes it holds; nil: all of them
	Atoms   []int   // the atoms it holds, where classes cannot say it; Classes is then nil
	Need    int     // protection: width of the interval an attacker may at least be left with; 0: not sensitive
	Hidden  bool    // never published, or hidden already
	Floor   int     // what anybody knows of the count even where it is hidden: at least
	Ceiling int     // and at most; 0: nothing
	Cost    float64 // loss if it is hidden
}

// Table is a set of counts that add up: the atoms, and the domains over them.
type Table struct {
	Dimensions int
	Atoms      []Atom
	Domains    []Domain
}

// Change moves the count of an atom.
type Change struct{ Atom, By int }

// Witness shows that a hidden count is protected: two sets of counts that agree
// with everything published and with every bound that anybody knows, of which
// one has the hidden count higher by Rise and the other lower by Fall.
type Witness struct {
	Domain     int
	Up, Down   []Change // sorted by atom
	Rise, Fall int
}

// Protection is what Protect decided.
type Protection struct {
	Hidden    []bool    // by domain: must not be published
	Added     []int     // domains hidden to protect others, in the order found
	For       []int     // by added domain: the one that it was first hidden for
	Witnesses []Witness // one per sensitive domain
}

// ErrUnprotected says that a count cannot be protected whatever is hidden,
// because what anybody knows of it is narrower than the protection asked for.
type ErrUnprotected struct{ Domain, Width int }

func (e *ErrUnprotected) Error() string {
	return fmt.Sprintf("disclose: domain %d can be protected to a width of %d at most", e.Domain, e.Width)
}

// members lists the atoms of every domain and the domains of every atom.
type members struct {
	atoms   [][]int
	domains [][]int
}

func (t *Table) members() members {
	m := members{atoms: make([][]int, len(t.Domains)), domains: make([][]int, len(t.Atoms))}
	widths := t.widths()
	for i, d := range t.Domains {
		m.atoms[i] = d.Atoms
		if d.Atoms == nil {
			m.atoms[i] = t.box(d.Classes, widths)
		}
		for _, a := range m.atoms[i] {
			m.domains[a] = append(m.domains[a], i)
		}
	}
	return m
}

// box lists the atoms of some classes in every dimension.
func (t *Table) box(of [][]int, widths []int) []int {
	holds := make([][]bool, t.Dimensions)
	for d, classes := range of {
		if classes == nil {
			continue
		}
		holds[d] = make([]bool, widths[d])
		for _, class := range classes {
			if class >= 0 && class < widths[d] {
				holds[d][class] = true
			}
		}
	}
	var atoms []int
	for a := range t.Atoms {
		if within(holds, t.Atoms[a].At) {
			atoms = append(atoms, a)
		}
	}
	return atoms
}

func within(holds [][]bool, at []int) bool {
	for d, h := range holds {
		if h != nil && !h[at[d]] {
			return false
		}
	}
	return true
}

// widths returns the number of classes in each dimension.
func (t *Table) widths() []int {
	widths := make([]int, t.Dimensions)
	for _, a := range t.Atoms {
		for d, class := range a.At {
			widths[d] = max(widths[d], class+1)
		}
	}
	return widths
}

func (t *Table) value(atoms []int) int {
	sum := 0
	for _, a := range atoms {
		sum += t.Atoms[a].Value
	}
	return sum
}

// Check verifies a protection: no witness moves a published count or breaks a
// bound, and every sensitive domain has one that is wide enough. It shares no
// code with the search.
func (t *Table) Check(p Protection) error {
	m := t.members()
	seen := make([]bool, len(t.Domains))
	for _, w := range p.Witnesses {
		rise, err := t.checkWorld(m, p, w.Domain, w.Up)
		if err != nil {
			return err
		}
		fall, err := t.checkWorld(m, p, w.Domain, w.Down)
		if err != nil {
			return err
		}
		if rise != w.Rise || fall != -w.Fall || w.Rise+w.Fall < t.Domains[w.Domain].Need {
			return fmt.Errorf("domain %d: moves by %d and %d, says %d and %d, needs %d", w.Domain, rise, fall, w.Rise, w.Fall, t.Domains[w.Domain].Need)
		}
		seen[w.Domain] = true
	}
	for i, d := range t.Domains {
		if d.Need > 0 && (!seen[i] || !p.Hidden[i]) {
			return fmt.Errorf("domain %d is sensitive and has no witness, or is published", i)
		}
	}
	return nil
}

// checkWorld applies changes and returns by how much the domain moves.
func (t *Table) checkWorld(m members, p Protection, domain int, changes []Change) (int, error) {
	moved := make([]int, len(t.Domains))
	if !slices.IsSortedFunc(changes, func(a, b Change) int { return a.Atom - b.Atom }) {
		return 0, fmt.Errorf("domain %d: changes out of order", domain)
	}
	for _, c := range changes {
		a := t.Atoms[c.Atom]
		if v := a.Value + c.By; v < a.Least || v > a.Capacity {
			return 0, fmt.Errorf("domain %d: atom %d would be %d", domain, c.Atom, v)
		}
		for _, i := range m.domains[c.Atom] {
			moved[i] += c.By
		}
	}
	for i, d := range t.Domains {
		if moved[i] == 0 {
			continue
		}
		if !p.Hidden[i] {
			return 0, fmt.Errorf("domain %d: the published domain %d would move by %d", domain, i, moved[i])
		}
		if v := t.value(m.atoms[i]) + moved[i]; v < d.Floor || v > t.ceiling(i) {
			return 0, fmt.Errorf("domain %d: domain %d would be %d, which anybody knows it is not", domain, i, v)
		}
	}
	return moved[domain], nil
}

// ceiling is what anybody knows a hidden count to be at most.
func (t *Table) ceiling(i int) int {
	if t.Domains[i].Ceiling == 0 {
		return Unbounded
	}
	return t.Domains[i].Ceiling
}
