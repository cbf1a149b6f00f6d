package central

import (
	"math"
	"math/cmplx"
)

// The step of the arm's characteristic impedance, from published lengths and
// radii (Mynard & Smolich 2015, as used by Charlton 2019, AJP Heart 317:H1062).
//
// Between the subclavian origin and the end of the brachial artery lie
// 0.034 + 0.422 m, from there to the wrist 0.235 m: the upper part takes 0.66
// of the travel time at one wave speed. The brachial artery ends with a radius
// of 2.89 mm; the radial one has 1.59 to 1.31 mm, 1.45 in the middle, and runs
// beside an ulnar artery like it, so the admittance falls to
// 2·(1.45/2.89)² = 1/2 at one wave speed.
const (
	radialUpperPart = 0.66
	radialStep      = 2.0
)

// SteppedTube is a lossless tube whose characteristic impedance rises by a
// factor on the way, with a resistance as load: two tubes in series, which
// described measured pairs better than one (ASME DSCC 2013: wave error 2.52
// against 3.24 mmHg). With a step of 1 it is the uniform tube with constant Γ.
//
// With θ₁ and θ₂ the phases of the two parts, z the step, Γ that of the load
// against the impedance of the inlet:
//
//	aortic/peripheral = (a + Γ·b)/(1 + Γ),  a, b = C ± iD
//	C = cosθ₁·cosθ₂ − sinθ₁·sinθ₂/z,  D = z·cosθ₁·sinθ₂ + sinθ₁·cosθ₂
//
// What the uniform tube lacks is the gain between its resonances: there its
// forward gain falls to 1, while arms keep about the step.
type SteppedTube struct {
	Method     string  // public name
	TravelS    float64 // travel time of one way, s
	Reflection float64 // Γ of the load against the inlet
	UpperPart  float64 // share of the travel time before the step
	Step       float64 // impedance after the step / before it
}

// Name returns the public name of the method.
func (t SteppedTube) Name() string { return t.Method }

// Gain returns the gain peripheral → aortic with the band limit.
func (t SteppedTube) Gain(hz float64) complex128 {
	limit := RollOff(hz)
	if limit == 0 {
		return 0
	}
	return t.Response(hz) * complex(limit, 0)
}

// Response returns the gain peripheral → aortic without the band limit.
func (t SteppedTube) Response(hz float64) complex128 {
	a, b := t.waves(hz)
	return (a + complex(t.Reflection, 0)*b) / complex(1+t.Reflection, 0)
}

// waves returns a and b of the formula, which do not depend on Γ.
func (t SteppedTube) waves(hz float64) (a, b complex128) {
	theta := 2 * math.Pi * hz * t.TravelS
	s1, c1 := math.Sincos(theta * t.UpperPart)
	s2, c2 := math.Sincos(theta * (1 - t.UpperPart))
	c := float64(c1*c2) - float64(s1*s2)/t.Step
	d := float64(t.Step*float64(c1*s2)) + float64(s1*c2)
	return complex(c, d), complex(c, -d)
}

// peak returns frequency and height of the first peak of the forward gain.
func (t SteppedTube) peak() (hz, height float64) {
	const parts = 400
	gain := func(i int) float64 { return 1 / cmplx.Abs(t.Response(float64(i)/(2*parts*t.TravelS))) }
	before, here := gain(0), gain(1)
	for i := 1; i < parts; i++ {
		after := gain(i + 1)
		if here >= before && here > after {
			shift, top := parabola(before, here, after)
			return (float64(i) + shift) / (2 * parts * t.TravelS), top
		}
		before, here = here, after
	}
	return math.NaN(), math.NaN()
}
