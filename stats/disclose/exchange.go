package disclose

import "slices"

// exchange is a box of atoms; the sign of a corner is that of its position:
// plus where the number of its set bits is even.
type exchange struct {
	corners []int
	shifts  []shift // what it changes, once that was asked for
}

// shift is by how much one person moved changes the count of a domain.
type shift struct{ domain, by int32 }

func negative(corner int) bool {
	odd := false
	for ; corner > 0; corner &= corner - 1 {
		odd = !odd
	}
	return odd
}

// mostKept bounds the memory for exchanges that are kept from one use to the next.
const mostKept = 1 << 19

// exchanges lists the boxes with one corner in the domain and every other one
// outside: those change its count by one. A side of a box leads to another class
// in one dimension or in several at once.
func (s *search) exchanges(domain int) []exchange {
	if list, known := s.boxes[domain]; known {
		return list
	}
	var list []exchange
	inside := make([]bool, len(s.table.Atoms))
	for _, a := range s.m.atoms[domain] {
		inside[a] = true
	}
	// A side that leads nowhere else in a dimension the domain does not tell
	// apart would stay inside.
	classes := s.table.Domains[domain].Classes
	var grow func(corners []int, from, used int)
	grow = func(corners []int, from, used int) {
		if outside(corners, inside) {
			list = append(list, exchange{corners: corners})
			s.kept += len(corners)
		}
		if used == mostDimensions {
			return
		}
		for d := from; d < s.table.Dimensions; d++ {
			if classes != nil && classes[d] == nil {
				continue
			}
			for class := range s.widths[d] {
				if class == s.table.Atoms[corners[0]].At[d] || classes != nil && slices.Contains(classes[d], class) {
					continue
				}
				if wider, ok := s.widen(corners, d, class); ok {
					grow(wider, d+1, used+1)
				}
				for side := 1; side < len(corners); side *= 2 {
					if slanted, ok := s.slant(corners, side, d, class); ok {
						grow(slanted, d+1, used+1)
					}
				}
			}
		}
	}
	for _, a := range s.m.atoms[domain] {
		grow([]int{a}, 0, 0)
	}
	if s.kept < mostKept {
		s.boxes[domain] = list
	}
	return list
}

// outside reports that no corner but the first lies inside the domain.
func outside(corners []int, inside []bool) bool {
	for _, a := range corners[1:] {
		if inside[a] {
			return false
		}
	}
	return true
}

// widen doubles a box into another dimension.
func (s *search) widen(corners []int, d, class int) ([]int, bool) {
	wider := s.corners(2 * len(corners))
	copy(wider, corners)
	for k, a := range corners {
		other, ok := s.moveTo(a, d, class)
		if !ok {
			return nil, false
		}
		wider[len(corners)+k] = other
	}
	return wider, true
}

// slant lets one side of a box lead to another class in a further dimension.
func (s *search) slant(corners []int, side, d, class int) ([]int, bool) {
	slanted := s.corners(len(corners))
	copy(slanted, corners)
	for k, a := range corners {
		if k&side == 0 {
			continue
		}
		other, ok := s.moveTo(a, d, class)
		if !ok {
			return nil, false
		}
		slanted[k] = other
	}
	return slanted, true
}

// moveTo finds the atom that differs in one dimension.
func (s *search) moveTo(a, d, class int) (int, bool) {
	key := s.keys[a] + (class-s.table.Atoms[a].At[d])*s.radix[d]
	if s.dense != nil {
		other := s.dense[key] - 1
		return int(other), other >= 0
	}
	other, ok := s.index[key]
	return other, ok
}

// corners returns room for an exchange; small pieces come from larger ones.
func (s *search) corners(n int) []int {
	if len(s.arena) < n {
		s.arena = make([]int, 1<<14)
	}
	piece := s.arena[:n:n]
	s.arena = s.arena[n:]
	return piece
}
