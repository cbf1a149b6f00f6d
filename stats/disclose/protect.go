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
	widths []int
	offset []int   // by dimension: where its classes begin in a row of next
	span   int     // classes of all dimensions
	next   []int32 // by atom, dimension and class: the atom that differs in it
	base   []int   // value of every domain
	start  []openings
	hidden []bool
	closed bool // nothing further may be hidden
	shown  int  // a domain that must not be hidden; −1 for none
	added  []int
	reason []int // by added domain: whom it protects

	// Sets of domains, a bit for each.
	words   int
	member  []uint64 // by atom: those that it lies in
	visible []uint64 // those that are not hidden
	bounded []uint64 // those whose bounds may stop an exchange before its atoms do

	work   int         // exchanges looked at
	counts map[int]int // by sensitive domain: its exchanges
	effect *effect
	moved  []int // by domain, zero between uses
}

func newSearch(t *Table) *search {
	s := &search{table: t, shown: -1, m: t.members(), widths: t.widths(), hidden: make([]bool, len(t.Domains)), base: make([]int, len(t.Domains)),
		counts: map[int]int{}, moved: make([]int, len(t.Domains))}
	s.neighbours()
	s.words = (len(t.Domains) + 63) / 64
	s.member, s.visible, s.bounded = make([]uint64, s.words*len(t.Atoms)), make([]uint64, s.words), make([]uint64, s.words)
	// A count that may fall to nothing is stopped by its atoms, as long as these
	// cannot fall below nothing.
	below := slices.ContainsFunc(t.Atoms, func(a Atom) bool { return a.Value < 0 || a.Least < 0 })
	for i, d := range t.Domains {
		s.base[i] = t.value(s.m.atoms[i])
		for _, a := range s.m.atoms[i] {
			s.member[a*s.words+i/64] |= 1 << (i % 64)
		}
		if below || d.Floor > 0 || d.Ceiling != 0 {
			s.bounded[i/64] |= 1 << (i % 64)
		}
		s.hide(i, d.Hidden || d.Need > 0)
	}
	s.effect = newEffect(s)
	up, down := s.newWorld(1), s.newWorld(-1)
	s.start = make([]openings, len(t.Atoms))
	for a := range s.start {
		s.start[a] = s.openings(a, up, down)
	}
	return s
}

// hide hides a domain, or shows it.
func (s *search) hide(i int, hidden bool) {
	s.hidden[i] = hidden
	if bit := uint64(1) << (i % 64); hidden {
		s.visible[i/64] &^= bit
	} else {
		s.visible[i/64] |= bit
	}
}

// openings tells in which of two worlds an atom may be a corner.
func (s *search) openings(a int, up, down *world) openings {
	var open openings
	for i, w := range []*world{up, down} {
		if s.room(0, a, w) > 0 {
			open |= 1 << i
		}
		if s.room(1, a, w) > 0 {
			open |= 4 << i
		}
	}
	return open
}

// protect adds exchanges for one domain until it has the width it needs.
func (s *search) protect(domain int) (Witness, error) {
	need := s.table.Domains[domain].Need
	up, down := s.newWorld(1), s.newWorld(-1)
	open := slices.Clone(s.start)
	for up.gain+down.gain < need {
		s.count(domain)
		best := s.best(domain, open, up, down, need-up.gain-down.gain)
		if best == nil {
			return Witness{}, &ErrUnprotected{domain, up.gain + down.gain}
		}
		s.apply(domain, best, up, down)
		for _, a := range best {
			open[a] = s.openings(int(a), up, down)
		}
	}
	return Witness{Domain: domain, Up: up.changes(), Down: down.changes(), Rise: up.gain, Fall: down.gain}, nil
}

// count adds the exchanges of a domain, with and without room, to the work done.
// Beyond the most work more of it makes no difference.
func (s *search) count(domain int) {
	if s.work > 2*mostWork {
		return
	}
	n, known := s.counts[domain]
	if !known {
		open := slices.Repeat([]openings{everyOpening}, len(s.table.Atoms))
		s.exchanges(domain, open, func(exchange) bool {
			n++
			return s.work+n > 2*mostWork
		})
		s.counts[domain] = n
	}
	s.work += n
}

// best returns the exchange with the least cost per person gained, nil for none.
func (s *search) best(domain int, open []openings, up, down *world, need int) exchange {
	var best exchange
	bestScore, bestGain := 0.0, 0
	s.exchanges(domain, open, func(box exchange) (enough bool) {
		s.effect.take(box)
		cost := s.effect.cost(box)
		if math.IsInf(cost, 1) || best != nil && cost >= bestScore*float64(need) && bestGain == need {
			return false // may not, or cannot be better
		}
		gain := min(need, s.effect.reach(box, up, need)+s.effect.reach(box, down, need))
		if gain <= 0 {
			return false
		}
		score := cost / float64(gain)
		if best == nil || score < bestScore || score == bestScore && gain > bestGain {
			best, bestScore, bestGain = append(best[:0], box...), score, gain
		}
		return bestScore == 0 && bestGain == need // nothing can be better
	})
	return best
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
func (s *search) shifts(box exchange) []shift {
	for k, a := range box {
		by := 1
		if negative(k) {
			by = -1
		}
		for _, i := range s.m.domains[a] {
			s.moved[i] += by
		}
	}
	var list []shift
	for _, a := range box {
		for _, i := range s.m.domains[a] {
			if s.moved[i] != 0 {
				list = append(list, shift{int32(i), int32(s.moved[i])})
				s.moved[i] = 0
			}
		}
	}
	return list
}

// apply hides what the exchange moves and carries it out in both worlds.
func (s *search) apply(domain int, box exchange, up, down *world) {
	need := s.table.Domains[domain].Need
	shifts := s.shifts(box)
	for _, c := range shifts {
		if !s.hidden[c.domain] {
			s.hide(int(c.domain), true)
			s.added = append(s.added, int(c.domain))
			s.reason = append(s.reason, domain)
		}
	}
	s.effect.take(box)
	for _, w := range []*world{up, down} {
		t := s.effect.reach(box, w, need-up.gain-down.gain)
		w.gain += t
		for k, a := range box {
			by := t * w.sign
			if negative(k) {
				by = -by
			}
			w.atoms[a] += by
		}
		for _, c := range shifts {
			w.totals[c.domain] += int(c.by) * t * w.sign
		}
	}
}
