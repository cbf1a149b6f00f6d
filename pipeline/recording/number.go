package recording

import (
	"strconv"
	"unsafe"
)

// A decimal number of at most 15 digits is an integer below 2^53 over a power
// of ten below 10^22. Both are exact in a float64 and one division rounds once,
// so the result is the float64 nearest to the text, which is what
// strconv.ParseFloat gives (Clinger 1990, How to read floating point numbers
// accurately, PLDI: the fast path). Longer numbers and exponents go to
// ParseFloat itself.

// window is how many bytes the fast path looks at from the start of a cell.
const window = 16

// tens holds the powers of ten that numbers are divided by.
var tens = [16]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// plain reads a number of at most 15 digits without exponent at the start of
// the window. It gives the bytes taken, 0 where there is none, and the position
// of the point, which equals length where there is no point.
func plain(b []byte, point byte) (value float64, length, dot int) {
	b = b[:window]
	i := 0
	negative := b[0] == '-'
	if negative {
		i++
	}
	first := i
	dot = -1
	m := uint64(0)
	for ; i < window; i++ {
		d := b[i] - '0'
		if d < 10 {
			m = m*10 + uint64(d)
			continue
		}
		if b[i] != point || dot >= 0 {
			break
		}
		dot = i
	}
	digits := i - first
	if dot < 0 {
		dot = i
	} else {
		digits--
	}
	if digits == 0 || digits > 15 || i == window {
		return 0, 0, 0
	}
	value = float64(int64(m)) / tens[max(i-dot-1, 0)]
	if negative {
		value = -value
	}
	return value, i, dot
}

// parseNumber reads a whole cell: an optional sign, digits with at most one
// point, an optional exponent. Words (nan, inf), hexadecimal and whatever else
// ParseFloat would take are not numbers here; nor is what overflows.
func parseNumber(cell []byte, point byte) (float64, bool) {
	if !decimalForm(cell, point) {
		return 0, false
	}
	if point != '.' {
		copied := append([]byte(nil), cell...)
		for i := range copied {
			if copied[i] == point {
				copied[i] = '.'
			}
		}
		cell = copied
	}
	// The string lives no longer than the call, and the bytes do not change
	// meanwhile.
	v, err := strconv.ParseFloat(unsafe.String(unsafe.SliceData(cell), len(cell)), 64)
	return v, err == nil
}

// decimalForm reports whether the cell has the form of a decimal number.
func decimalForm(cell []byte, point byte) bool {
	i := skipSign(cell, 0)
	start := i
	i = skipDigits(cell, i)
	digits := i - start
	if i < len(cell) && cell[i] == point {
		start = i + 1
		i = skipDigits(cell, start)
		digits += i - start
	}
	if digits == 0 {
		return false
	}
	if i < len(cell) && cell[i]|0x20 == 'e' {
		start = skipSign(cell, i+1)
		i = skipDigits(cell, start)
		if i == start {
			return false
		}
	}
	return i == len(cell)
}

func skipSign(b []byte, i int) int {
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		i++
	}
	return i
}

func skipDigits(b []byte, i int) int {
	for i < len(b) && b[i]-'0' < 10 {
		i++
	}
	return i
}

// shape is the form that the numbers of a column had last: sign, digits before
// and after the point, what ends the cell. A device writes thousands of numbers
// of one form, so the next cell is compared with it eight bytes at a time, and
// where it ends is known before it has been read: the processor goes on to the
// next cell meanwhile. A number of another form is read byte by byte and its
// form becomes the shape.
//
// The first word holds bytes 0 to 7 of the cell, the second bytes 8 to 15. x is
// the word with fixed taken out by exclusive or: a digit leaves its value, the
// sign, the point and the end leave 0. Adding add then sets the high bit of
// each byte that is not what it must be; care picks the bytes of the cell.
type shape struct {
	fixed0, add0, care0 uint64
	before, after       uint64 // digits before the point; those after it, one byte down
	reach               int    // 0: all in the first word; 1: the end in the second; 2: digits too
	step                int    // bytes from this cell to the next
	scale               float64
	fixed1, add1, care1 uint64
	keep1               uint64 // digits in the second word
}

const (
	allZeros = 0x3030303030303030 // "00000000"
	allHigh  = 0x8080808080808080
	allNines = 0x7676767676767676 // takes what is above 9 to the high bit
)

// noShape matches nothing: adding 0x80 sets the high bit of what lacks it.
func noShape() shape { return shape{add0: 0x80, care0: 0x80} }

// lowBytes masks the first n bytes of a word.
func lowBytes(n int) uint64 {
	return ^uint64(0) >> (64 - 8*min(max(n, 0), 8))
}

// learn sets the shape of the number at the start of b as plain has read it,
// followed by the bytes of end.
func (s *shape) learn(b []byte, length, dot int, point byte, end string) bool {
	total := length + len(end)
	if total > window || length > 8 && dot > 7 {
		return false
	}
	*s = shape{
		fixed0: allZeros, add0: allNines, care0: allHigh & lowBytes(total),
		fixed1: allZeros, add1: allNines, care1: allHigh & lowBytes(total-8),
		before: lowBytes(dot), after: lowBytes(min(length, 8)-1) &^ lowBytes(dot),
		keep1: lowBytes(length - 8), step: total, scale: tens[8-min(dot, 8)],
	}
	switch {
	case length > 8:
		s.reach, s.scale = 2, tens[15-dot]
	case total > 8:
		s.reach = 1
	}
	if b[0] == '-' {
		// The sign leaves 0, which counts as a leading digit.
		s.fix(0, '-')
		s.scale = -s.scale
	}
	if dot < length {
		s.fix(dot, point)
	}
	for i := range len(end) {
		s.fix(length+i, end[i])
	}
	return true
}

// fix demands the byte c at position k.
func (s *shape) fix(k int, c byte) {
	fixed, add := &s.fixed0, &s.add0
	if k >= 8 {
		fixed, add, k = &s.fixed1, &s.add1, k-8
	}
	*fixed = *fixed&^(0xff<<(8*k)) | uint64(c)<<(8*k)
	*add |= 0x7f << (8 * k)
}

// eight gives the value of eight digits held as 0 to 9, the first lowest: pairs,
// then fours, then all eight are put together by one multiplication each.
func eight(x uint64) uint64 {
	x = (x * 2561) >> 8 & 0x00ff00ff00ff00ff
	x = (x * 6553601) >> 16 & 0x0000ffff0000ffff
	return x * 42949672960001 >> 32
}
