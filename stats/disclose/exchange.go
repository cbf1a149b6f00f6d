package disclose

import "slices"

// exchange is a box of atoms; the sign of a corner is that of its position:
// plus where the number of its set bits is even.
type exchange []int

func negative(corner int) bool {
	odd := false
	for ; corner > 0; corner &= corner - 1 {
		odd = !odd
	}
	return odd
}

// exchanges lists the boxes with one corner in the domain and every other one
// outside: those change its count by one. A side of a box leads to another class
// in one dimension or in several at once.
func (s *search) exchanges(domain int) []exchange {
	var list []exchange
	inside := make([]bool, len(s.table.Atoms))
	for _, a := range s.m.atoms[domain] {
		inside[a] = true
	}
	// A side that leads nowhere else in a dimension the domain does not tell
	// apart would stay inside.
	classes := s.table.Domains[domain].Classes
	var grow func(corners exchange, from, used int)
	grow = func(corners exchange, from, used int) {
		if outside(corners, inside) {
			list = append(list, corners)
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
		grow(exchange{a}, 0, 0)
	}
	return list
}

// outside reports that no corner but the first lies inside the domain.
func outside(corners exchange, inside []bool) bool {
	for _, a := range corners[1:] {
		if inside[a] {
			return false
		}
	}
	return true
}

// widen doubles a box into another dimension.
func (s *search) widen(corners exchange, d, class int) (exchange, bool) {
	wider := make(exchange, 2*len(corners))
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
func (s *search) slant(corners exchange, side, d, class int) (exchange, bool) {
	slanted := slices.Clone(corners)
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
	other, ok := s.index[s.key(a)+(class-s.table.Atoms[a].At[d])*s.radix[d]]
	return other, ok
}
