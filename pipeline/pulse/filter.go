package pulse

import "math"

// section is one second-order section of a Butterworth low-pass,
//
//	v[n] = b (u[n] + 2 u[n−1] + u[n−2]) − a1 v[n−1] − a2 v[n−2],
//
// with gain 1 at 0 Hz.
type section struct{ b, a1, a2 float64 }

// lowpass is a Butterworth low-pass of order 4 as two second-order sections.
// In one polynomial of order 4 a low cut-off at a high sampling rate loses the
// digits that two sections keep.
type lowpass [2]section

// padding is the number of samples by which a signal is prolonged at each end
// before it is filtered: three times the length of the whole filter, as is
// common practice.
const padding = 15

// butterworth designs the low-pass by the bilinear transform with the cut-off
// prewarped. The pole pairs of order 4 have 1/Q = 2 sin(3π/8) and 2 sin(π/8).
func butterworth(cutHz, hz float64) lowpass {
	var f lowpass
	w := math.Tan(math.Pi * cutHz / hz)
	ww := float64(w * w)
	for k := range f {
		damping := float64(2 * math.Sin(math.Pi*float64(3-2*k)/8) * w)
		a0 := 1 + damping + ww
		f[k] = section{b: ww / a0, a1: 2 * (ww - 1) / a0, a2: (1 - damping + ww) / a0}
	}
	return f
}

// state holds the last two inputs of the first section, its last two outputs,
// which are the inputs of the second, and the last two outputs of the second.
type state struct{ u1, u2, v1, v2, w1, w2 float64 }

// steady returns the state after x has been the input for ever.
func steady(x float64) state { return state{x, x, x, x, x, x} }

// zeroPhase filters x forward and backward into y, so that the phase is zero and
// the gain is squared. The signal is prolonged by its point reflection at each
// end, and each direction starts in the steady state of its first value. x
// must be longer than padding. work has room for x and the padding of both ends, and
// y may be the samples of work between them.
func (f *lowpass) zeroPhase(y, x, work []float64) {
	n := len(x)
	before, within, after := work[:padding], work[padding:padding+n], work[padding+n:n+2*padding]
	for i := range padding {
		before[i] = 2*x[0] - x[padding-i]
		after[i] = 2*x[n-1] - x[n-2-i]
	}
	z := steady(before[0])
	z = f.forward(before, before, z)
	z = f.forward(within, x, z)
	f.forward(after, after, z)
	z = steady(after[padding-1])
	z = f.backward(after, after, z)
	f.backward(y, within, z)
}

// forward filters src into dst, which may be the same memory. Products are
// rounded before they are added, so that no compiler fuses the two steps and
// the digits are the same on every machine. What depends on the newest output
// is added last: the loop waits for nothing else.
func (f *lowpass) forward(dst, src []float64, z state) state {
	p, q := f[0], f[1]
	u1, u2, v1, v2, w1, w2 := z.u1, z.u2, z.v1, z.v2, z.w1, z.w2
	dst = dst[:len(src)]
	for i, u := range src {
		v := float64(p.b*(u+2*u1+u2)) - float64(p.a2*v2) - float64(p.a1*v1)
		w := float64(q.b*(v+2*v1+v2)) - float64(q.a2*w2) - float64(q.a1*w1)
		u2, u1, v2, v1, w2, w1 = u1, u, v1, v, w1, w
		dst[i] = w
	}
	return state{u1, u2, v1, v2, w1, w2}
}

// backward does the same from the end to the start.
func (f *lowpass) backward(dst, src []float64, z state) state {
	p, q := f[0], f[1]
	u1, u2, v1, v2, w1, w2 := z.u1, z.u2, z.v1, z.v2, z.w1, z.w2
	dst = dst[:len(src)]
	for i := len(src) - 1; i >= 0; i-- {
		u := src[i]
		v := float64(p.b*(u+2*u1+u2)) - float64(p.a2*v2) - float64(p.a1*v1)
		w := float64(q.b*(v+2*v1+v2)) - float64(q.a2*w2) - float64(q.a1*w1)
		u2, u1, v2, v1, w2, w1 = u1, u, v1, v, w1, w
		dst[i] = w
	}
	return state{u1, u2, v1, v2, w1, w2}
}

// grow returns a slice of length n that uses the memory of v where it can; its
// content is not defined.
func grow(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n, n+n/4)
	}
	return v[:n]
}
