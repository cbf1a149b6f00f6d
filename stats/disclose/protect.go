package disclose

import (
	"math"
	"slices"
)

// mostDimensions bounds the dimensions in which one exchange of people goes
// apart: 2^4 corners.
const mostDimensions = 4

// Protect hides further domains until every sensitive one is protected, at
// little cost. An exchange moves t people between the corners of a box: from one
// class to another in some dimensions, with the signs of a chessboard, so that
// every count that does not tell all of these dimensions apart stays as it is.
// What an exchange moves must be hidden; exchanges are added, the cheapest per
// person gained first, until the hidden count can lie in an interval of the
// width it needs.
//
// Corners are atoms of the table alone: what is not there is taken for known to
// be empty. The result depends on the order of atoms and domains only.
func Protect(t Table) (Protection, error) {
	s := newSearch(&t)
	for i, d := range t.Domains {
		s.hidden[i] = d.Hidden || d.Need > 0
	}
	var p Protection
	for _, i := range s.finestFirst() {
		w, err := s.protect(i)
		if err != nil {
			return Protection{}, err
		}
		p.Witnesses = append(p.Witnesses, w)
	}
	p.Witnesses = s.settle(p.Witnesses)
	p.Hidden, p.Added, p.For = s.hidden, s.added, s.reason
	return p, nil
}

// finestFirst orders the sensitive domains: those of fewest atoms have the least
// choice, and what is hidden for them serves the coarser ones.
func (s *search) finestFirst() []int {
	var list []int
	for i, d := range s.table.Domains {
		if d.Need > 0 {
			list = append(list, i)
		}
	}
	slices.SortStableFunc(list, func(a, b int) int { return len(s.m.atoms[a]) - len(s.m.atoms[b]) })
	return list
}

// search holds what is hidden so far, and room to work in.
type search struct {
	table  *Table
	m      members
	radix  []int
	keys   []int       // by atom: its coordinates as one number
	index  map[int]int // atom by its coordinates
	dense  []int32     // the same in a list, one higher, where it is short enough
	arena  []int
	work   int // exchanges looked at
	widths []int
	base   []int // value of every domain
	hidden []bool
	closed bool // nothing further may be hidden
	shown  int  // a domain that must not be hidden; −1 for none
	added  []int
	reason []int // by added domain: whom it protects
	moved  []int // by domain, zero between uses

	boxes map[int][]exchange // by sensitive domain, once they were asked for
	kept  int                // corners that these have
}

// mostDense bounds the list of atoms by coordinates.
const mostDense = 1 << 20

func newSearch(t *Table) *search {
	s := &search{table: t, shown: -1, m: t.members(), widths: t.widths(), index: make(map[int]int, len(t.Atoms)),
		hidden: make([]bool, len(t.Domains)), moved: make([]int, len(t.Domains)), boxes: map[int][]exchange{}, base: make([]int, len(t.Domains))}
	s.radix = make([]int, t.Dimensions)
	step := 1
	for d, w := range s.widths {
		s.radix[d] = step
		step *= w
	}
	if step <= mostDense {
		s.dense = make([]int32, step)
	}
	for a := range t.Atoms {
		key := 0
		for d, class := range t.Atoms[a].At {
			key += class * s.radix[d]
		}
		s.keys = append(s.keys, key)
		if s.dense != nil {
			s.dense[key] = int32(a) + 1
		} else {
			s.index[key] = a
		}
	}
	for i := range t.Domains {
		s.base[i] = t.value(s.m.atoms[i])
	}
	return s
}

// protect adds exchanges for one domain until it has the width it needs.
func (s *search) protect(domain int) (Witness, error) {
	need := s.table.Domains[domain].Need
	up, down := s.newWorld(1), s.newWorld(-1)
	boxes := s.exchanges(domain)
	for up.gain+down.gain < need {
		best := s.best(boxes, up, down, need-up.gain-down.gain)
		if best < 0 {
			return Witness{}, &ErrUnprotected{domain, up.gain + down.gain}
		}
		s.apply(domain, &boxes[best], up, down)
	}
	return Witness{Domain: domain, Up: up.changes(), Down: down.changes(), Rise: up.gain, Fall: down.gain}, nil
}

// best returns the exchange with the least cost per person gained, −1 for none.
func (s *search) best(boxes []exchange, up, down *world, need int) int {
	best, bestScore, bestGain := -1, 0.0, 0
	s.work += len(boxes)
	for i := range boxes {
		box := &boxes[i]
		if !s.promising(box, up, down) {
			continue
		}
		cost := s.cost(box)
		if math.IsInf(cost, 1) || best >= 0 && cost >= bestScore*float64(need) && bestGain == need {
			continue // may not, or cannot be better
		}
		gain := min(need, s.reach(box, up, need)+s.reach(box, down, need))
		if gain > 0 {
			score := cost / float64(gain)
			if best < 0 || score < bestScore || score == bestScore && gain > bestGain {
				best, bestScore, bestGain = i, score, gain
			}
		}
		if best == i && bestScore == 0 && bestGain == need {
			break // nothing can be better
		}
	}
	return best
}

// promising tells at a glance whether the atoms alone leave room.
func (s *search) promising(box *exchange, up, down *world) bool {
	return s.rooms(box, up) || s.rooms(box, down)
}

func (s *search) rooms(box *exchange, w *world) bool {
	for k, a := range box.corners {
		if s.room(k, a, w) <= 0 {
			return false
		}
	}
	return true
}

// room is how far one corner can go in a world.
func (s *search) room(corner, a int, w *world) int {
	atom := &s.table.Atoms[a]
	v := atom.Value + w.atoms[a]
	if (w.sign > 0) == negative(corner) {
		return v - atom.Least
	}
	return atom.Capacity - v
}

// shifts returns what an exchange changes, by domain.
func (s *search) shifts(box *exchange) []shift {
	if box.shifts != nil {
		return box.shifts
	}
	count := 0
	for k, a := range box.corners {
		by := 1
		if negative(k) {
			by = -1
		}
		for _, i := range s.m.domains[a] {
			s.moved[i] += by
		}
		count += len(s.m.domains[a])
	}
	list := make([]shift, 0, count)
	for _, a := range box.corners {
		for _, i := range s.m.domains[a] {
			if s.moved[i] != 0 {
				list = append(list, shift{int32(i), int32(s.moved[i])})
				s.moved[i] = 0
			}
		}
	}
	box.shifts = list
	return list
}

// cost is the loss of what an exchange would hide anew; infinite where it may not.
func (s *search) cost(box *exchange) float64 {
	sum := 0.0
	for _, c := range s.shifts(box) {
		if !s.hidden[c.domain] {
			if s.closed || int(c.domain) == s.shown {
				return math.Inf(1)
			}
			sum += s.table.Domains[c.domain].Cost
		}
	}
	return sum
}

// reach is how many people an exchange can move in a world.
func (s *search) reach(box *exchange, w *world, most int) int {
	for k, a := range box.corners {
		most = min(most, s.room(k, a, w))
	}
	if most <= 0 {
		return 0
	}
	for _, c := range s.shifts(box) {
		by := int(c.by) * w.sign
		v := s.base[c.domain] + w.totals[c.domain]
		if by < 0 {
			most = min(most, (v-s.table.Domains[c.domain].Floor)/-by)
		} else if top := s.table.ceiling(int(c.domain)); top != Unbounded {
			most = min(most, (top-v)/by)
		}
	}
	return max(0, most)
}

// apply hides what the exchange moves and carries it out in both worlds.
func (s *search) apply(domain int, box *exchange, up, down *world) {
	need := s.table.Domains[domain].Need
	for _, c := range s.shifts(box) {
		if !s.hidden[c.domain] {
			s.hidden[c.domain] = true
			s.added = append(s.added, int(c.domain))
			s.reason = append(s.reason, domain)
		}
	}
	for _, w := range []*world{up, down} {
		t := s.reach(box, w, need-up.gain-down.gain)
		w.gain += t
		for k, a := range box.corners {
			by := t * w.sign
			if negative(k) {
				by = -by
			}
			w.atoms[a] += by
		}
		for _, c := range s.shifts(box) {
			w.totals[c.domain] += int(c.by) * t * w.sign
		}
	}
}
