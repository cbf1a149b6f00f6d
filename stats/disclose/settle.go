package disclose

import (
	"cmp"
	"slices"
)

// Bounds of the search for something cheaper.
const (
	mostReplaced = 16   // domains tried, the dearest first
	mostWork     = 2e6  // exchanges there were to look at; after that the search takes what it has
	leastShare   = 0.02 // of the whole loss that a domain must make to be tried
)

// settle takes back what turns out not to be needed, and looks for something
// cheaper in place of the dearest: the search hides for one count at a time, and
// what serves several at once shows only in the end. It returns the witnesses
// that hold then.
func (s *search) settle(witnesses []Witness) []Witness {
	witnesses = s.showAgain(witnesses)
	for range 2 {
		better := false
		for _, i := range s.dearest() {
			if s.work > mostWork {
				return witnesses
			}
			if other, ok := s.replace(i, witnesses); ok {
				witnesses, better = other, true
			}
		}
		if !better {
			break
		}
	}
	return witnesses
}

// dearest lists the added domains that cost most.
func (s *search) dearest() []int {
	order := s.byCost()
	loss := s.loss()
	for k, i := range order {
		if k == mostReplaced || s.table.Domains[i].Cost < leastShare*loss {
			return order[:k]
		}
	}
	return order
}

// byCost lists the added domains that are still hidden, downwards.
func (s *search) byCost() []int {
	var list []int
	for _, i := range s.added {
		if s.hidden[i] {
			list = append(list, i)
		}
	}
	slices.SortStableFunc(list, func(a, b int) int { return cmp.Compare(s.table.Domains[b].Cost, s.table.Domains[a].Cost) })
	return list
}

func (s *search) loss() float64 {
	sum := 0.0
	for _, i := range s.byCost() {
		sum += s.table.Domains[i].Cost
	}
	return sum
}

// replace shows a domain and hides others for it where that costs less.
func (s *search) replace(domain int, witnesses []Witness) ([]Witness, bool) {
	if !s.hidden[domain] {
		return nil, false
	}
	hidden, added, reason, loss := slices.Clone(s.hidden), slices.Clone(s.added), slices.Clone(s.reason), s.loss()
	s.take(domain)
	s.shown = domain
	fresh, ok := s.without(domain, witnesses)
	if ok {
		fresh = s.showAgain(fresh)
	}
	s.shown = -1
	if ok && s.loss() < loss*(1-1e-9) {
		return fresh, true
	}
	for i, was := range hidden {
		s.hide(i, was)
	}
	s.added, s.reason = added, reason
	return nil, false
}

// take takes a domain off the list of the hidden.
func (s *search) take(domain int) {
	s.hide(domain, false)
	k := slices.Index(s.added, domain)
	s.added, s.reason = slices.Delete(s.added, k, k+1), slices.Delete(s.reason, k, k+1)
}

// showAgain shows every domain, the dearest first, without which all counts are
// protected by what stays hidden.
func (s *search) showAgain(witnesses []Witness) []Witness {
	s.closed = true
	for _, i := range s.byCost() {
		if s.work > 2*mostWork {
			break
		}
		s.hide(i, false)
		fresh, ok := s.without(i, witnesses)
		if !ok {
			s.hide(i, true)
			continue
		}
		s.hide(i, true)
		s.take(i)
		witnesses = fresh
	}
	s.closed = false
	return witnesses
}

// without finds other witnesses for those that move a domain.
func (s *search) without(domain int, witnesses []Witness) ([]Witness, bool) {
	fresh := slices.Clone(witnesses)
	for k, w := range witnesses {
		if !s.moves(w.Up, domain) && !s.moves(w.Down, domain) {
			continue
		}
		other, err := s.protect(w.Domain)
		if err != nil {
			return nil, false
		}
		fresh[k] = other
	}
	return fresh, true
}

// moves reports whether changes alter the count of a domain.
func (s *search) moves(changes []Change, domain int) bool {
	sum := 0
	for _, c := range changes {
		if s.member[c.Atom*s.words+domain/64]>>(domain%64)&1 == 1 {
			sum += c.By
		}
	}
	return sum != 0
}
