package disclose

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
	for i, d := range t.Domains {
		if d.Need <= 0 {
			continue
		}
		w, err := s.protect(i)
		if err != nil {
			return Protection{}, err
		}
		p.Witnesses = append(p.Witnesses, w)
	}
	p.Hidden, p.Added, p.For = s.hidden, s.added, s.reason
	return p, nil
}

// search holds what is hidden so far, and room to work in.
type search struct {
	table  *Table
	m      members
	radix  []int
	index  map[int]int // atom by its coordinates
	widths []int
	base   []int // value of every domain
	hidden []bool
	added  []int
	reason []int  // by added domain: whom it protects
	moved  []int  // by domain, zero between uses
	seen   []bool // by domain: stands in list
	list   []int  // domains touched
}

func newSearch(t *Table) *search {
	s := &search{table: t, m: t.members(), widths: t.widths(), index: make(map[int]int, len(t.Atoms)),
		hidden: make([]bool, len(t.Domains)), moved: make([]int, len(t.Domains)), seen: make([]bool, len(t.Domains)), base: make([]int, len(t.Domains))}
	s.radix = make([]int, t.Dimensions)
	step := 1
	for d, w := range s.widths {
		s.radix[d] = step
		step *= w
	}
	for a := range t.Atoms {
		s.index[s.key(a)] = a
	}
	for i := range t.Domains {
		s.base[i] = t.value(s.m.atoms[i])
	}
	return s
}

func (s *search) key(a int) int {
	key := 0
	for d, class := range s.table.Atoms[a].At {
		key += class * s.radix[d]
	}
	return key
}

// protect adds exchanges for one domain until it has the width it needs.
func (s *search) protect(domain int) (Witness, error) {
	need := s.table.Domains[domain].Need
	up, down := newWorld(1), newWorld(-1)
	boxes := s.exchanges(domain)
	for up.gain+down.gain < need {
		best := s.best(boxes, up, down, need-up.gain-down.gain)
		if best < 0 {
			return Witness{}, &ErrUnprotected{domain, up.gain + down.gain}
		}
		s.apply(domain, boxes[best], up, down)
	}
	return Witness{Domain: domain, Up: up.changes(), Down: down.changes(), Rise: up.gain, Fall: down.gain}, nil
}

// best returns the exchange with the least cost per person gained, −1 for none.
func (s *search) best(boxes []exchange, up, down *world, need int) int {
	best, bestScore, bestGain := -1, 0.0, 0
	for i, box := range boxes {
		if !s.promising(box, up, down) {
			continue
		}
		s.touch(box)
		gain := min(need, s.reach(box, up, need)+s.reach(box, down, need))
		if gain > 0 {
			score := s.cost() / float64(gain)
			if best < 0 || score < bestScore || score == bestScore && gain > bestGain {
				best, bestScore, bestGain = i, score, gain
			}
		}
		s.release()
		if best == i && bestScore == 0 && bestGain == need {
			break // nothing can be better
		}
	}
	return best
}

// promising tells at a glance whether the atoms alone leave room.
func (s *search) promising(box exchange, up, down *world) bool {
	for _, w := range []*world{up, down} {
		room := true
		for k, a := range box {
			room = room && s.room(k, a, w) > 0
		}
		if room {
			return true
		}
	}
	return false
}

// room is how far one corner can go in a world.
func (s *search) room(corner, a int, w *world) int {
	atom := s.table.Atoms[a]
	v := atom.Value + w.atoms[a]
	if (w.sign > 0) == negative(corner) {
		return v - atom.Least
	}
	return atom.Capacity - v
}

// touch adds the exchange up by domain.
func (s *search) touch(box exchange) {
	for k, a := range box {
		by := 1
		if negative(k) {
			by = -1
		}
		for _, i := range s.m.domains[a] {
			if !s.seen[i] {
				s.seen[i] = true
				s.list = append(s.list, i)
			}
			s.moved[i] += by
		}
	}
}

func (s *search) release() {
	for _, i := range s.list {
		s.moved[i], s.seen[i] = 0, false
	}
	s.list = s.list[:0]
}

// cost is the loss of what the touched exchange would hide anew.
func (s *search) cost() float64 {
	sum := 0.0
	for _, i := range s.list {
		if s.moved[i] != 0 && !s.hidden[i] {
			sum += s.table.Domains[i].Cost
		}
	}
	return sum
}

// reach is how many people the touched exchange can move in a world.
func (s *search) reach(box exchange, w *world, most int) int {
	for k, a := range box {
		most = min(most, s.room(k, a, w))
	}
	for _, i := range s.list {
		by := s.moved[i] * w.sign
		v := s.base[i] + w.totals[i]
		switch {
		case by > 0:
			if top := s.table.ceiling(i); top != Unbounded {
				most = min(most, (top-v)/by)
			}
		case by < 0:
			most = min(most, (v-s.table.Domains[i].Floor)/-by)
		}
	}
	return max(0, most)
}

// apply hides what the exchange moves and carries it out in both worlds.
func (s *search) apply(domain int, box exchange, up, down *world) {
	need := s.table.Domains[domain].Need
	s.touch(box)
	for _, i := range s.list {
		if s.moved[i] != 0 && !s.hidden[i] {
			s.hidden[i] = true
			s.added = append(s.added, i)
			s.reason = append(s.reason, domain)
		}
	}
	for _, w := range []*world{up, down} {
		t := s.reach(box, w, need-up.gain-down.gain)
		w.gain += t
		for k, a := range box {
			by := t * w.sign
			if negative(k) {
				by = -by
			}
			w.atoms[a] += by
		}
		for _, i := range s.list {
			w.totals[i] += s.moved[i] * t * w.sign
		}
	}
	s.release()
}
