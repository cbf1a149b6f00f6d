package disclose

import (
	"math"
	"math/bits"
)

// planes holds for 64 domains a number each, one binary digit in every word.
type planes [mostDimensions]uint64

// add counts one more where bit is set.
func (p *planes) add(bit uint64) {
	for i := range p {
		carry := p[i] & bit
		p[i] ^= bit
		if bit = carry; bit == 0 {
			return
		}
	}
}

func (p *planes) at(bit int) int {
	n := 0
	for i := range p {
		n |= int(p[i]>>bit&1) << i
	}
	return n
}

// effect is what an exchange does to the domains that matter for it: those that
// are shown, and those of which anybody knows a bound.
type effect struct {
	s           *search
	changed     []uint64 // set of domains
	left        []uint64
	plus, minus []planes // by word: the corners that lie in a domain
}

func newEffect(s *search) *effect {
	return &effect{s, make([]uint64, s.words), make([]uint64, s.words), make([]planes, s.words), make([]planes, s.words)}
}

// take finds what an exchange changes.
func (e *effect) take(box exchange) {
	s := e.s
	for word := range s.words {
		e.changed[word] = 0
		matter := s.visible[word] | s.bounded[word]
		if matter == 0 {
			continue
		}
		var plus, minus planes
		for k, a := range box {
			if in := s.member[int(a)*s.words+word]; negative(k) {
				minus.add(in)
			} else {
				plus.add(in)
			}
		}
		differ := uint64(0)
		for i := range plus {
			differ |= plus[i] ^ minus[i]
		}
		e.changed[word], e.plus[word], e.minus[word] = differ&matter, plus, minus
	}
}

// cost is the loss of what an exchange would hide anew; infinite where it may
// not. Losses are added in the order of the corners and of their domains.
func (e *effect) cost(box exchange) float64 {
	s, anew := e.s, false
	for word, changed := range e.changed {
		e.left[word] = changed & s.visible[word]
		anew = anew || e.left[word] != 0
	}
	switch {
	case !anew:
		return 0
	case s.closed || s.shown >= 0 && e.left[s.shown/64]>>(s.shown%64)&1 == 1:
		return math.Inf(1)
	}
	sum := 0.0
	for _, a := range box {
		for word, left := range e.left {
			in := left & s.member[int(a)*s.words+word]
			e.left[word] &^= in
			for ; in != 0; in &= in - 1 {
				sum += s.table.Domains[64*word+bits.TrailingZeros64(in)].Cost
			}
		}
	}
	return sum
}

// reach is how many people an exchange can move in a world.
func (e *effect) reach(box exchange, w *world, most int) int {
	s := e.s
	for k, a := range box {
		most = min(most, s.room(k, int(a), w))
	}
	if most <= 0 {
		return 0
	}
	for word, changed := range e.changed {
		for in := changed & s.bounded[word]; in != 0; in &= in - 1 {
			bit := bits.TrailingZeros64(in)
			i := 64*word + bit
			by := (e.plus[word].at(bit) - e.minus[word].at(bit)) * w.sign
			v := s.base[i] + w.totals[i]
			if by < 0 {
				most = min(most, (v-s.table.Domains[i].Floor)/-by)
			} else if top := s.table.ceiling(i); top != Unbounded {
				most = min(most, (top-v)/by)
			}
			if most <= 0 {
				return 0
			}
		}
	}
	return most
}
