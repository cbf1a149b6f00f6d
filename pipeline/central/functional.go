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
func (f functional) behind(gains []complex128) functional {
	for k, g := range gains {
		u, v := f.cos[k], f.sin[k]
		f.cos[k] = float64(u*real(g)) - float64(v*imag(g))
		f.sin[k] = float64(u*imag(g)) + float64(v*real(g))
	}
	return f
}

// derivative is the derivative of some order at a time, with the gain of the
// band limit where smooth is true; order 0 is the value.
func derivative(t, period float64, order, harmonics int, smooth bool) functional {
	f := functional{cos: make([]float64, harmonics), sin: make([]float64, harmonics)}
	if order == 0 {
		f.mean = 1
	}
	for k := range f.cos {
		hz := float64(k+1) / period
		weight := math.Pow(2*math.Pi*hz, float64(order))
		if smooth {
			weight *= RollOff(hz)
		}
		// Each derivative turns the phase by a quarter.
		s, c := math.Sincos(float64(2*math.Pi*hz*t) + float64(order)*math.Pi/2)
		f.cos[k], f.sin[k] = float64(weight*c), float64(weight*s)
	}
	return f
}

// integral is the integral from one time to a later one.
func integral(from, to, period float64, harmonics int) functional {
	f := functional{mean: to - from, cos: make([]float64, harmonics), sin: make([]float64, harmonics)}
	for k := range f.cos {
		omega := 2 * math.Pi * float64(k+1) / period
		s1, c1 := math.Sincos(omega * from)
		s2, c2 := math.Sincos(omega * to)
		f.cos[k], f.sin[k] = (s2-s1)/omega, (c1-c2)/omega
	}
	return f
}
