package central

import "math"

// functional is a linear function of a wave: mean·x̄ + Σ cos[k]·a[k] + sin[k]·b[k]
// over its harmonics.
type functional struct {
	mean     float64
	cos, sin []float64
}

// of returns the functional of a wave.
func (f *functional) of(s *series) float64 {
	x := float64(f.mean * s.mean)
	for k, c := range f.cos {
		x += float64(c*s.cos[k]) + float64(f.sin[k]*s.sin[k])
	}
	return x
}

// behind turns a functional of the aortic wave into that of the peripheral one.
func (f *functional) behind(gains []complex128) {
	for k, g := range gains {
		u, v := f.cos[k], f.sin[k]
		f.cos[k] = float64(u*real(g)) - float64(v*imag(g))
		f.sin[k] = float64(u*imag(g)) + float64(v*real(g))
	}
}

// moment is a time: cosine and sine of each harmonic there.
type moment struct {
	period   float64
	cos, sin []float64
}

// set makes m a time in a period, for so many harmonics.
func (m *moment) set(t, period float64, harmonics int) {
	m.period = period
	m.cos, m.sin = resized(m.cos, harmonics), resized(m.sin, harmonics)
	for k := range m.cos {
		m.sin[k], m.cos[k] = math.Sincos(2 * math.Pi * float64(k+1) / period * t)
	}
}

// derivative makes f the derivative of some order at the moment, with the gain of
// the band limit where smooth is true; order 0 is the value.
func (m *moment) derivative(order int, smooth bool, f *functional) {
	f.mean, f.cos, f.sin = 0, resized(f.cos, len(m.cos)), resized(f.sin, len(m.cos))
	if order == 0 {
		f.mean = 1
	}
	for k := range f.cos {
		hz := float64(k+1) / m.period
		weight := 1.0
		for range order {
			weight *= 2 * math.Pi * hz
		}
		if smooth {
			weight *= RollOff(hz)
		}
		// Each derivative turns the phase by a quarter.
		c, s := m.cos[k], m.sin[k]
		switch order % 4 {
		case 1:
			c, s = -s, c
		case 2:
			c, s = -c, -s
		case 3:
			c, s = s, -c
		}
		f.cos[k], f.sin[k] = float64(weight*c), float64(weight*s)
	}
}
