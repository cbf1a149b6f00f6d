package disclose

import "slices"

// mostCorners is the number of corners of the largest box.
const mostCorners = 1 << mostDimensions

// exchange is a box of atoms; the sign of a corner is that of its position:
// plus where the number of its set bits is even.
type exchange []int32

// shift is by how much one person moved changes the count of a domain.
type shift struct{ domain, by int32 }

func negative(corner int) bool { return oddCorners>>corner&1 == 1 }

// oddCorners are the positions of an odd number of set bits.
const oddCorners = 0b0110_1001_1001_0110

// sideCorners are the corners of a side, as a set of positions.
var sideCorners = func() (of [mostDimensions]uint16) {
	for k := range mostCorners {
		for side := range of {
			if k>>side&1 == 1 {
				of[side] |= 1 << k
			}
		}
	}
	return of
}()

// openings tells of an atom in which worlds it may be a corner: two bits for a
// corner of sign plus, two for one of sign minus, the first for the world in which
// the hidden count rises, the second for that in which it falls.
type openings uint8

const everyOpening openings = 15

func (o openings) of(corner int) openings { return o >> (2 * (oddCorners >> corner & 1)) }

// walk visits the boxes with one corner in a domain and every other one outside:
// those change its count by one. A side of a box leads to another class in one
// dimension or in several at once. Of all these it visits those that the atoms
// leave room for in one of the two worlds, and grows no box from which none can
// come.
type walk struct {
	s       *search
	classes [][]int
	open    []openings // by atom, as any corner but the first
	visit   func(corners exchange) (enough bool)
	boxes   [mostDimensions + 1][mostCorners]int32
}

// closedCorners are the positions that have no room in the world that rises, and
// in the one that falls; a corner inside the domain has none in either.
type closedCorners struct{ up, down uint16 }

func (c closedCorners) none() bool { return c.up == 0 || c.down == 0 }

// note adds a corner.
func (c *closedCorners) note(corner int, open openings) {
	open = ^open.of(corner)
	c.up |= uint16(open&1) << corner
	c.down |= uint16(open>>1&1) << corner
}

// exchanges walks through the boxes of a domain until visit has enough.
func (s *search) exchanges(domain int, open []openings, visit func(corners exchange) (enough bool)) {
	w := walk{s: s, classes: s.table.Domains[domain].Classes, open: open, visit: visit}
	inside := s.m.atoms[domain]
	first := make([]openings, len(inside))
	for i, a := range inside {
		first[i], open[a] = open[a], 0 // for no further corner
	}
	for i, a := range inside {
		w.boxes[0][0] = int32(a)
		var closed closedCorners
		closed.note(0, first[i])
		if w.grow(0, 1, 0, closed) {
			break
		}
	}
	for i, a := range inside {
		open[a] = first[i]
	}
}

// grow visits a box and all that come from it in further dimensions.
func (w *walk) grow(used, size, from int, closed closedCorners) (enough bool) {
	if closed.none() && w.visit(w.boxes[used][:size]) {
		return true
	}
	// Slants replace every corner but the first.
	if used == mostDimensions || closed.up&1 == 1 && closed.down&1 == 1 {
		return false
	}
	last := used == mostDimensions-1
	widens := !last || closed.none()
	if last && !widens && !w.opens(size, closed) {
		return false
	}
	first := w.boxes[used][0]
	for d := from; d < w.s.table.Dimensions; d++ {
		// A side that leads nowhere else in a dimension the domain does not tell
		// apart would stay inside.
		if w.classes != nil && w.classes[d] == nil {
			continue
		}
		for class := range w.s.widths[d] {
			if class == w.s.table.Atoms[first].At[d] || w.classes != nil && slices.Contains(w.classes[d], class) {
				continue
			}
			to := w.s.offset[d] + class
			if widens {
				if wider, ok := w.widen(used, size, to, closed); ok && w.grow(used+1, 2*size, d+1, wider) {
					return true
				}
			}
			for side := 0; 1<<side < size; side++ {
				if last && closed.up&^sideCorners[side] != 0 && closed.down&^sideCorners[side] != 0 {
					continue // a corner without room would stay
				}
				if slanted, ok := w.slant(used, size, side, to, closed); ok && w.grow(used+1, size, d+1, slanted) {
					return true
				}
			}
		}
	}
	return false
}

// opens reports whether some side has all corners without room of a world.
func (w *walk) opens(size int, closed closedCorners) bool {
	for side := 0; 1<<side < size; side++ {
		if closed.up&^sideCorners[side] == 0 || closed.down&^sideCorners[side] == 0 {
			return true
		}
	}
	return false
}

// widen doubles a box into another dimension.
func (w *walk) widen(used, size, to int, closed closedCorners) (closedCorners, bool) {
	box, wider := &w.boxes[used], &w.boxes[used+1]
	for k := range size {
		other := w.s.next[int(box[k])*w.s.span+to]
		if other < 0 {
			return closed, false
		}
		wider[k], wider[size+k] = box[k], other
		closed.note(size+k, w.open[other])
	}
	return closed, true
}

// slant lets one side of a box lead to another class in a further dimension.
func (w *walk) slant(used, size, side, to int, closed closedCorners) (closedCorners, bool) {
	box, slanted := &w.boxes[used], &w.boxes[used+1]
	closed.up &^= sideCorners[side]
	closed.down &^= sideCorners[side]
	for k := range size {
		slanted[k] = box[k]
		if k>>side&1 == 0 {
			continue
		}
		other := w.s.next[int(box[k])*w.s.span+to]
		if other < 0 {
			return closed, false
		}
		slanted[k] = other
		closed.note(k, w.open[other])
	}
	return closed, true
}

// neighbours finds for every atom, dimension and class the atom that differs in
// that dimension alone, −1 for none.
func (s *search) neighbours() {
	radix := make([]int, len(s.widths))
	step := 1
	for d, width := range s.widths {
		radix[d] = step
		step *= width
		s.offset = append(s.offset, s.span)
		s.span += width
	}
	keys := make([]int, len(s.table.Atoms))
	index := make(map[int]int32, len(s.table.Atoms))
	for a, atom := range s.table.Atoms {
		for d, class := range atom.At {
			keys[a] += class * radix[d]
		}
		index[keys[a]] = int32(a)
	}
	s.next = make([]int32, len(s.table.Atoms)*s.span)
	for a, atom := range s.table.Atoms {
		for d, width := range s.widths {
			for class := range width {
				other, ok := index[keys[a]+(class-atom.At[d])*radix[d]]
				if !ok {
					other = -1
				}
				s.next[a*s.span+s.offset[d]+class] = other
			}
		}
	}
}
