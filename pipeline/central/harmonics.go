package central

import "math"

// trig holds cos and sin of 2πj/n for j = 0 … n−1.
type trig struct {
	n        int
	cos, sin []float64
}

// resize fills the tables for n points; it does nothing where they stand already.
func (t *trig) resize(n int) {
	if t.n == n {
		return
	}
	t.n = n
	t.cos, t.sin = resized(t.cos, n), resized(t.sin, n)
	t.cos[0], t.sin[0] = 1, 0
	for j := 1; 2*j <= n; j++ {
		s, c := math.Sincos(2 * math.Pi * float64(j) / float64(n))
		t.cos[j], t.sin[j] = c, s
		t.cos[n-j], t.sin[n-j] = c, -s
	}
}

// fill makes a block of the harmonics from first on.
func (t *trig) fill(block rows, first int) {
	n := t.n
	b0, b1, b2, b3 := first%n, (first+1)%n, (first+2)%n, (first+3)%n
	var a0, a1, a2, a3 int
	cos, sin := t.cos[:n], t.sin[:n]
	for j := range block {
		if a0 += b0; a0 >= n {
			a0 -= n
		}
		if a1 += b1; a1 >= n {
			a1 -= n
		}
		if a2 += b2; a2 >= n {
			a2 -= n
		}
		if a3 += b3; a3 >= n {
			a3 -= n
		}
		block[j] = [2 * together]float64{cos[a0], cos[a1], cos[a2], cos[a3], sin[a0], sin[a1], sin[a2], sin[a3]}
	}
}

// series is the Fourier series of one period:
// x(t) = mean + Σ cos[k]·cos((k+1)ωt) + sin[k]·sin((k+1)ωt), ω = 2π/period.
type series struct {
	period   float64
	mean     float64
	cos, sin []float64
}

// resize keeps room for the given number of harmonics.
func (s *series) resize(harmonics int) {
	s.cos, s.sin = resized(s.cos, harmonics), resized(s.sin, harmonics)
}

// harmonicsBelow returns how many harmonics of a period of n samples lie below
// the frequency, at most those below the Nyquist frequency.
func harmonicsBelow(hz, period float64, n int) int {
	k := int(math.Ceil(hz*period)) - 1
	return max(0, min(k, (n-1)/2))
}

// together is how many harmonics are summed at once: each sum waits for its own
// last addition, and the processor goes on with the others meanwhile.
const together = 4

// rows holds, for so many harmonics at once, their cosines and then their sines
// at the samples 1, 2, … of the first half of a period.
type rows [][2 * together]float64

// fourier turns waves into their first harmonics and back by the direct sum.
// About 12 harmonics of a beat lie below 12 Hz: that sum costs less than a
// transform of the whole wave and takes any length. Its tables and buffers are
// reused, so one value serves one goroutine.
type fourier struct {
	tables    trig
	even, odd []float64
	blocks    []rows // harmonics 1 to 4, 5 to 8, …
	blocksOf  int    // samples of the period that the first of them stand for
	planned   int    // how many do
}

// plan fills the tables for n points and at least so many harmonics.
func (f *fourier) plan(n, harmonics int) {
	f.tables.resize(n)
	if f.blocksOf != n {
		f.blocksOf, f.planned = n, 0
	}
	half := (n - 1) / 2
	for together*f.planned < harmonics {
		if f.planned == len(f.blocks) {
			f.blocks = append(f.blocks, nil)
		}
		block := f.blocks[f.planned]
		if cap(block) < half {
			block = make(rows, half, half+half/4)
		}
		block = block[:half]
		f.tables.fill(block, together*f.planned+1)
		f.blocks[f.planned] = block
		f.planned++
	}
}

// analyse fills s with the mean and the first harmonics of x, whose number is
// that of the room in s.
func (f *fourier) analyse(x []float64, period float64, s *series) {
	n := len(x)
	f.plan(n, len(s.cos))
	half := (n - 1) / 2
	f.even, f.odd = resized(f.even, half), resized(f.odd, half)
	sum := x[0]
	back := x[n-half:]
	for j, v := range x[1 : 1+half] {
		u := back[half-1-j]
		f.even[j], f.odd[j] = v+u, v-u
		sum += v + u
	}
	if n%2 == 0 {
		sum += x[n/2]
	}
	s.period, s.mean = period, sum/float64(n)
	for first := 0; first < len(s.cos); first += together {
		sums := f.blocks[first/together].sums(f.even, f.odd)
		for m := 0; m < together && first+m < len(s.cos); m++ {
			k := first + m
			c, q := sums[m]+x[0], sums[together+m]
			if n%2 == 0 {
				c += float64(x[n/2] * float64(1-2*((k+1)%2)))
			}
			s.cos[k], s.sin[k] = 2*c/float64(n), 2*q/float64(n)
		}
	}
}

// sums are those of even times the cosines and of odd times the sines.
func (b rows) sums(even, odd []float64) [2 * together]float64 {
	var c0, c1, c2, c3, s0, s1, s2, s3 float64
	odd, b = odd[:len(even)], b[:len(even)]
	for j, e := range even {
		o, r := odd[j], &b[j]
		c0 += float64(e * r[0])
		c1 += float64(e * r[1])
		c2 += float64(e * r[2])
		c3 += float64(e * r[3])
		s0 += float64(o * r[4])
		s1 += float64(o * r[5])
		s2 += float64(o * r[6])
		s3 += float64(o * r[7])
	}
	return [2 * together]float64{c0, c1, c2, c3, s0, s1, s2, s3}
}

// synthesise fills out, whose length is the number of samples of one period.
func (f *fourier) synthesise(s *series, out []float64) {
	start, middle := f.compose(s.cos, s.sin, len(out))
	for i := range out {
		out[i] = s.mean
	}
	out[0] += start
	n := len(out)
	if n%2 == 0 {
		out[n/2] += middle
	}
	for j, even := range f.even {
		out[j+1] += even + f.odd[j]
		out[n-1-j] += even - f.odd[j]
	}
}

// compose sums harmonics at the n samples of a period: of two samples that lie as
// far from the start and from the end the cosines, in even, are the same and the
// sines, in odd, opposite. The first sample and, of an even number, the middle one
// have no other.
func (f *fourier) compose(cos, sin []float64, n int) (start, middle float64) {
	f.plan(n, len(cos))
	half := (n - 1) / 2
	f.even, f.odd = resized(f.even, half), resized(f.odd, half)
	clear(f.even)
	clear(f.odd)
	for first := 0; first < len(cos); first += together {
		var a, b [together]float64
		copy(a[:], cos[first:])
		copy(b[:], sin[first:])
		f.blocks[first/together].add(&a, &b, f.even, f.odd)
		start += a[0] + a[1] + a[2] + a[3]
		middle += a[1] - a[0] + a[3] - a[2]
	}
	return start, middle
}

// point is what compose sums, at sample j alone, of harmonics that fill their blocks
// and that have been planned for n samples.
func (f *fourier) point(cos, sin []float64, n, j int) float64 {
	var start, middle, even, odd float64
	i := min(j, n-j) - 1
	for first := 0; first+together <= len(cos); first += together {
		a, b := (*[together]float64)(cos[first:]), (*[together]float64)(sin[first:])
		switch {
		case j == 0:
			start += a[0] + a[1] + a[2] + a[3]
		case 2*j == n:
			middle += a[1] - a[0] + a[3] - a[2]
		default:
			r := &f.blocks[first/together][i]
			even += (float64(a[0]*r[0]) + float64(a[1]*r[1])) + (float64(a[2]*r[2]) + float64(a[3]*r[3]))
			odd += (float64(b[0]*r[4]) + float64(b[1]*r[5])) + (float64(b[2]*r[6]) + float64(b[3]*r[7]))
		}
	}
	switch {
	case j == 0:
		return start
	case 2*j == n:
		return middle
	case 2*j > n:
		return even - odd
	}
	return even + odd
}

// add adds cosines and sines with these amplitudes to even and odd.
func (b rows) add(cos, sin *[together]float64, even, odd []float64) {
	c0, c1, c2, c3 := cos[0], cos[1], cos[2], cos[3]
	s0, s1, s2, s3 := sin[0], sin[1], sin[2], sin[3]
	odd, b = odd[:len(even)], b[:len(even)]
	for j := range even {
		r := &b[j]
		even[j] += (float64(c0*r[0]) + float64(c1*r[1])) + (float64(c2*r[2]) + float64(c3*r[3]))
		odd[j] += (float64(s0*r[4]) + float64(s1*r[5])) + (float64(s2*r[6]) + float64(s3*r[7]))
	}
}

// mean returns the mean of x.
func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// resized returns a slice of length n that reuses the memory of x.
func resized[T any](x []T, n int) []T {
	if cap(x) < n {
		return make([]T, n)
	}
	return x[:n]
}
