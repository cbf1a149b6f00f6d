package recording

import (
	"encoding/binary"
	"math"
)

// The WFDB signal formats: https://physionet.org/physiotools/wag/signal-5.htm.

// storage is how a format packs samples. at gives sample k of the stream; size
// is how many bytes n samples take; missing is the smallest value, which stands
// for a missing sample.
type storage struct {
	at         func(b []byte, k int) int
	size       func(n int) int
	missing    int
	difference bool // samples are differences from the one before
}

// storageOf returns the packing of a format; false where it is not supported.
// That of 508, 516 and 524, which hold FLAC, is what unpackFLAC makes of it.
func storageOf(format int) (storage, bool) {
	switch format {
	case 8:
		return storage{func(b []byte, k int) int { return int(int8(b[k])) }, bytesPer(1), math.MinInt, true}, true
	case 16:
		return storage{at: func(b []byte, k int) int { return int(int16(binary.LittleEndian.Uint16(b[2*k:]))) }, size: bytesPer(2), missing: math.MinInt16}, true
	case 24:
		return storage{at: at24, size: bytesPer(3), missing: -1 << 23}, true
	case 32:
		return storage{at: func(b []byte, k int) int { return int(int32(binary.LittleEndian.Uint32(b[4*k:]))) }, size: bytesPer(4), missing: math.MinInt32}, true
	case 61:
		return storage{at: func(b []byte, k int) int { return int(int16(binary.BigEndian.Uint16(b[2*k:]))) }, size: bytesPer(2), missing: math.MinInt16}, true
	case 80:
		return storage{at: func(b []byte, k int) int { return int(b[k]) - 128 }, size: bytesPer(1), missing: -128}, true
	case 160:
		return storage{at: func(b []byte, k int) int { return int(binary.LittleEndian.Uint16(b[2*k:])) - 1<<15 }, size: bytesPer(2), missing: math.MinInt16}, true
	case 212:
		return storage{at: at212, size: func(n int) int { return (3*n + 1) / 2 }, missing: -1 << 11}, true
	case 310:
		return storage{at: at310, size: func(n int) int { return n/3*4 + n%3*2 }, missing: -1 << 9}, true
	case 311:
		return storage{at: at311, size: func(n int) int { return n/3*4 + (n%3*10+7)/8 }, missing: -1 << 9}, true
	case 508, 516, 524:
		return storage{at: at24, size: bytesPer(3), missing: -1 << (flacBits(format) - 1)}, true
	}
	return storage{}, false
}

func bytesPer(size int) func(int) int { return func(n int) int { return n * size } }

// at24 reads three bytes, the lowest first.
func at24(b []byte, k int) int {
	b = b[3*k : 3*k+3]
	return int(b[0]) | int(b[1])<<8 | int(int8(b[2]))<<16
}

// at212 reads twelve bits: two samples stand in three bytes, whose middle one
// holds the high part of the first in its low half, of the second in its high.
func at212(b []byte, k int) int {
	p := k / 2 * 3
	if k&1 == 0 {
		return signExtend(uint(b[p])|uint(b[p+1]&0x0f)<<8, 12)
	}
	return signExtend(uint(b[p+2])|uint(b[p+1]&0xf0)<<4, 12)
}

// at310 reads ten bits: three samples stand in two words of 16 bits, two in
// their bits 1 to 10 and the third in the five top bits of each, those of the
// first word low.
func at310(b []byte, k int) int {
	p := k / 3 * 4
	if k%3 == 1 {
		p += 2
	}
	w := uint(binary.LittleEndian.Uint16(b[p:]))
	if k%3 < 2 {
		return signExtend(w>>1&0x3ff, 10)
	}
	return signExtend(w>>11|uint(b[p+3]>>3)<<5, 10)
}

// at311 reads ten bits: three samples stand in the lower 30 bits of a word of
// 32. Sample k ends in byte k mod 3 + 1 of its word, so that the last word of a
// file may be short.
func at311(b []byte, k int) int {
	p := k/3*4 + k%3
	w := uint(binary.LittleEndian.Uint16(b[p:]))
	return signExtend(w>>(2*(k%3))&0x3ff, 10)
}

// signExtend takes the lowest bits of v as a two's complement number.
func signExtend(v uint, bits int) int {
	return int(int32(uint32(v)<<(32-bits))) >> (32 - bits)
}
