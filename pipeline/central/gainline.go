package central

import (
	"math"
	"math/cmplx"
)

// gainLine is the gain of a pair between its harmonics.
type gainLine []knot

// at returns the gain and the peripheral power at a frequency up to the last
// harmonic. The gain is the cubic with the slopes of the parabola through each
// knot and its neighbours; at 0 Hz it is 1, and its conjugate below, as of any
// real wave, which gives the slope there. The logarithm of the power goes
// straight, and is level below the first harmonic.
func (l gainLine) at(hz float64) (gain complex128, power float64) {
	i := 0 // of the knot at or above the frequency
	for i < len(l)-1 && l[i].hz < hz {
		i++
	}
	upper := l[i]
	lower := l.knot(i - 1)
	width := upper.hz - lower.hz
	u := (hz - lower.hz) / width
	m0, m1 := l.slope(i-1)*complex(width, 0), l.slope(i)*complex(width, 0)
	rise := upper.gain - lower.gain
	v := complex(u, 0)
	gain = lower.gain + v*(m0+v*(3*rise-2*m0-m1+v*(m0+m1-2*rise)))
	from, to := math.Log(lower.power), math.Log(upper.power)
	return gain, math.Exp(from + float64(u*(to-from)))
}

// knot returns a knot; −1 is that of 0 Hz, −2 the mirror image of the first.
func (l gainLine) knot(i int) knot {
	switch {
	case i == -1:
		return knot{gain: 1, power: l[0].power}
	case i < -1:
		mirror := l[0]
		mirror.hz, mirror.gain = -mirror.hz, cmplx.Conj(mirror.gain)
		return mirror
	}
	return l[i]
}

// slope is that of the parabola through a knot and its neighbours, at the last
// one that of the line to the one before.
func (l gainLine) slope(i int) complex128 {
	b := l.knot(i)
	a := l.knot(i - 1)
	before := (b.gain - a.gain) / complex(b.hz-a.hz, 0)
	if i == len(l)-1 {
		return before
	}
	c := l.knot(i + 1)
	after := (c.gain - b.gain) / complex(c.hz-b.hz, 0)
	left, right := complex(b.hz-a.hz, 0), complex(c.hz-b.hz, 0)
	return (before*right + after*left) / (left + right)
}
