package disclose

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// plain lists the boxes of a domain in the order of the search, one atom after
// the other, without a thought of which have room.
func plain(s *search, domain int) (boxes []exchange) {
	classes, within := s.table.Domains[domain].Classes, s.m.atoms[domain]
	moved := func(atom int32, d, class int) int32 {
		at := slices.Clone(s.table.Atoms[atom].At)
		at[d] = class
		return int32(slices.IndexFunc(s.table.Atoms, func(a Atom) bool { return slices.Equal(a.At, at) }))
	}
	var grow func(box exchange, from, used int)
	grow = func(box exchange, from, used int) {
		if !slices.ContainsFunc(box[1:], func(a int32) bool { return slices.Contains(within, int(a)) }) {
			boxes = append(boxes, box)
		}
		for d := from; d < s.table.Dimensions && used < mostDimensions; d++ {
			for class := range s.widths[d] {
				if classes != nil && (classes[d] == nil || slices.Contains(classes[d], class)) || class == s.table.Atoms[box[0]].At[d] {
					continue
				}
				wider := slices.Clone(box)
				for _, a := range box {
					wider = append(wider, moved(a, d, class))
				}
				all := []exchange{wider}
				for side := 1; side < len(box); side *= 2 {
					slanted := slices.Clone(box)
					for k, a := range box {
						if k&side != 0 {
							slanted[k] = moved(a, d, class)
						}
					}
					all = append(all, slanted)
				}
				for _, next := range all {
					if !slices.Contains(next, -1) {
						grow(next, d+1, used+1)
					}
				}
			}
		}
	}
	for _, a := range within {
		grow(exchange{int32(a)}, 0, 0)
	}
	return boxes
}

// randomTable has five dimensions, atoms that nobody is in, some that are not
// there, bounds, and groups that classes cannot say.
func randomTable(r *rand.Rand) Table {
	t := Table{Dimensions: 5}
	for k := range 2 * 2 * 3 * 2 * 2 {
		if r.IntN(8) == 0 {
			continue
		}
		a := Atom{At: []int{k % 2, k / 2 % 2, k / 4 % 3, k / 12 % 2, k / 24}, Value: max(0, r.IntN(12)-6), Capacity: Unbounded}
		if r.IntN(6) == 0 {
			a.Capacity = a.Value
		}
		if a.Value > 1 && r.IntN(6) == 0 {
			a.Least = a.Value - 1
		}
		t.Atoms = append(t.Atoms, a)
	}
	for range 90 {
		d := Domain{Cost: float64(1 + r.IntN(5)), Hidden: r.IntN(2) == 0, Floor: r.IntN(2) * 4, Need: r.IntN(2)}
		if r.IntN(2) == 0 {
			d.Classes = make([][]int, 5)
			for k, width := range []int{2, 2, 3, 2, 2} {
				if r.IntN(2) == 0 {
					d.Classes[k] = []int{r.IntN(width)}
				}
			}
		} else {
			for a := range t.Atoms {
				if r.IntN(6) == 0 {
					d.Atoms = append(d.Atoms, a)
				}
			}
		}
		if r.IntN(4) == 0 {
			d.Ceiling = 200
		}
		t.Domains = append(t.Domains, d)
	}
	return t
}

// What the walk leaves out has no room, and what it visits comes in the order of
// plain counting; what sets of domains say of an exchange agrees with what adding
// up one domain after the other says.
func TestTheWalkLeavesOutWhatHasNoRoom(t *testing.T) {
	for seed := range uint64(4) {
		table := randomTable(rand.New(rand.NewPCG(seed, 5)))
		s := newSearch(&table)
		up, down := s.newWorld(1), s.newWorld(-1)
		visited, left := 0, 0
		for domain := range table.Domains {
			if domain%9 != 0 {
				continue
			}
			all := plain(s, domain)
			s.work = 0
			if s.count(domain); s.work != len(all) {
				t.Errorf("table %d, domain %d: %d exchanges counted, there are %d", seed, domain, s.work, len(all))
			}
			want := slices.DeleteFunc(all, func(box exchange) bool {
				shut := func(w *world) bool {
					for k, a := range box {
						if s.room(k, int(a), w) <= 0 {
							return true
						}
					}
					return false
				}
				return shut(up) && shut(down)
			})
			left += s.work - len(want)
			at := 0
			s.exchanges(domain, s.start, func(box exchange) bool {
				if at >= len(want) || !slices.Equal(box, want[at]) {
					t.Fatalf("table %d, domain %d: exchange %d is %v", seed, domain, at, box)
				}
				at++
				s.checkEffect(t, box, up, down)
				return false
			})
			if at != len(want) {
				t.Errorf("table %d, domain %d: %d exchanges of %d with room", seed, domain, at, len(want))
			}
			visited += at
		}
		if visited == 0 || left == 0 {
			t.Errorf("table %d: %d exchanges have room, %d have none", seed, visited, left)
		}
	}
}

func (s *search) checkEffect(t *testing.T, box exchange, worlds ...*world) {
	t.Helper()
	cost := 0.0
	shifts := s.shifts(box)
	for _, c := range shifts {
		if !s.hidden[c.domain] {
			cost += s.table.Domains[c.domain].Cost
		}
	}
	s.effect.take(box)
	if got := s.effect.cost(box); got != cost {
		t.Fatalf("%v costs %g, not %g", box, got, cost)
	}
	for _, w := range worlds {
		reach := 50
		for k, a := range box {
			reach = min(reach, s.room(k, int(a), w))
		}
		for _, c := range shifts {
			for reach > 0 {
				if v := s.base[c.domain] + reach*w.sign*int(c.by); v <= s.table.ceiling(int(c.domain)) && v >= s.table.Domains[c.domain].Floor || int(c.by)*w.sign > 0 && v <= s.table.ceiling(int(c.domain)) {
					break
				}
				reach--
			}
		}
		if got := s.effect.reach(box, w, 50); got != max(0, reach) {
			t.Fatalf("%v moves %d people, not %d", box, got, reach)
		}
	}
}
