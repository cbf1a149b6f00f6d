// Package exact sums numbers and products of two without any rounding, so that a sum
// is the same in whatever order and grouping it is made, and rounded once when it is
// read. What several workers, shards or strata have summed is joined by Merge.
//
// A sum is kept as a whole number of units of 2⁻²¹⁴⁸, the least product of two numbers
// above zero, in limbs of 32 bits with room for carries (Kulisch's long accumulator, in
// the form of Neal 2015, arXiv:1505.05571; from memory).
package exact

import (
	"encoding/binary"
	"math"
	"math/big"
	"math/bits"
)

const (
	limbBits = 32
	// limbs reach from the unit to 2²⁰⁴⁸, above every product, with two on top for
	// the carries of as many additions as there can be.
	limbs = (unit+2048)/limbBits + 3
	unit  = 2148 // the unit is 2^−unit
	// mostPending additions of less than 2³² fit into a limb before carries must go.
	mostPending = 1 << 30

	fractionBits = 52
	fractionMask = 1<<fractionBits - 1
	notFinite    = 1<<11 - 1 // the biased exponent of NaN and infinities
	limbMask     = 1<<limbBits - 1
	numberShift  = unit - 1075 // from the biased exponent of a number to its lowest bit
	productShift = 2150 - unit // the same of a product, back from the sum of both exponents
)

// Sum is an exact sum; its zero value is 0. A NaN or an infinity that was added makes
// it NaN or infinite, as in floating-point arithmetic.
type Sum struct {
	limb    [limbs]int64
	pending int     // additions since carries went
	special float64 // sum of what was not finite; 0 where all was
}

// split takes a finite number apart: |x| = whole · 2^(exponent − 1075), exponent from 1.
func split(b uint64) (whole uint64, exponent uint) {
	exponent = uint(b>>fractionBits) & notFinite
	whole = b & fractionMask
	if exponent == 0 {
		return whole, 1
	}
	return whole | 1<<fractionBits, exponent
}

// Add adds x.
func (s *Sum) Add(x float64) {
	b := math.Float64bits(x)
	whole, exponent := split(b)
	if exponent == notFinite {
		s.special += x
		return
	}
	at := exponent + numberShift
	l := s.limb[at/limbBits:][:3]
	shift := at % limbBits
	low, high := whole<<shift, whole>>(64-shift)
	sign := int64(b) >> 63 // −1 below zero
	l[0] += (int64(low&limbMask) ^ sign) - sign
	l[1] += (int64(low>>limbBits) ^ sign) - sign
	l[2] += (int64(high) ^ sign) - sign
	if s.pending++; s.pending == mostPending {
		s.carry()
	}
}

// AddProduct adds x·y, all digits of it.
func (s *Sum) AddProduct(x, y float64) {
	a, b := math.Float64bits(x), math.Float64bits(y)
	wholeA, exponentA := split(a)
	wholeB, exponentB := split(b)
	if exponentA == notFinite || exponentB == notFinite {
		s.special += x * y
		return
	}
	at := exponentA + exponentB - productShift
	l := s.limb[at/limbBits:][:5]
	shift := at % limbBits
	high, low := bits.Mul64(wholeA, wholeB) // 106 bits
	first := low << shift
	second := high<<shift | low>>(64-shift)
	third := high >> (64 - shift)
	sign := int64(a^b) >> 63
	l[0] += (int64(first&limbMask) ^ sign) - sign
	l[1] += (int64(first>>limbBits) ^ sign) - sign
	l[2] += (int64(second&limbMask) ^ sign) - sign
	l[3] += (int64(second>>limbBits) ^ sign) - sign
	l[4] += (int64(third) ^ sign) - sign
	if s.pending++; s.pending == mostPending {
		s.carry()
	}
}

// carry brings every limb but the top one into 0 to 2³² − 1.
func (s *Sum) carry() {
	for i := range limbs - 1 {
		over := s.limb[i] >> limbBits // rounds down
		s.limb[i] -= over << limbBits
		s.limb[i+1] += over
	}
	s.pending = 0
}

// Merge adds what other has summed, which stays as it is.
func (s *Sum) Merge(other *Sum) {
	if s.pending+other.pending+2 >= mostPending {
		s.carry()
		o := *other
		o.carry()
		other = &o
	}
	for i, v := range other.limb {
		s.limb[i] += v
	}
	s.pending += other.pending + 1 // a carried limb weighs as much as one addition
	s.special += other.special
}

// units is the sum of what was finite, in units.
func (s *Sum) units() *big.Int {
	s.carry()
	var rest [limbs * limbBits / 8]byte
	for i, v := range s.limb[:limbs-1] {
		binary.BigEndian.PutUint32(rest[(limbs-1-i)*limbBits/8:], uint32(v))
	}
	top := big.NewInt(s.limb[limbs-1])
	top.Lsh(top, (limbs-1)*limbBits)
	return top.Add(top, new(big.Int).SetBytes(rest[:]))
}

// Float64 returns the sum, rounded once to the nearest number.
func (s *Sum) Float64() float64 {
	if s.special != 0 {
		return s.special
	}
	return rounded(s.units(), unit)
}

// rounded returns n · 2^−exponent to the nearest number, to the even one at a tie.
func rounded(n *big.Int, exponent int) float64 {
	f := new(big.Float).SetInt(n) // exact: as many bits as n has
	v, _ := f.SetMantExp(f, -exponent).Float64()
	return v
}
