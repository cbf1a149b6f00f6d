package central

import (
	"math"
	"math/cmplx"
)

// The names of the two tubes with fixed parameters.
const (
	TubeConstant   = "tube_constant"
	TubeWindkessel = "tube_windkessel"
)

// Tube is a uniform lossless tube from the aorta to the artery of the sensor,
// with a load at its end that reflects the part Γ of what arrives:
//
//	aortic/peripheral = (exp(sTd) + Γ(s)·exp(−sTd)) / (1 + Γ(s)),  s = 2πi·frequency
//
// Td is the travel time of one way. With ReflectionS = 0 the load is a
// resistance and Γ the same at all frequencies; the forward gain then has its
// peak (1+Γ)/(1−Γ) at 1/(4Td), so a published peak gives both parameters. With
// a windkessel as load, Zc + R/(1+sRC), Γ(s) = 1/(1 + B + A·s), A = 2·Zc·C and
// B = 2·Zc/R.
//
// Source: theory of the lossless line; Gao 2016, Sci Rep 6:33230 (constant Γ);
// Swamy 2009, AJP Heart 297:H1956 (windkessel, from memory). It holds where one
// path with one site of reflection describes the arm, which is up to the band
// limit at best.
type Tube struct {
	Method      string  // public name
	TravelS     float64 // Td, s
	Reflection  float64 // Γ at 0 Hz
	ReflectionS float64 // A/(1+B), s: Γ(s) = Reflection / (1 + s·ReflectionS)
}

// ConstantTube returns the tube with constant Γ whose forward gain has the
// published peak of the artery: radial 2.8 at 4 Hz, so Td = 62.5 ms and
// Γ = 9/19; brachial 2.5 at 5 Hz, so Td = 50 ms and Γ = 3/7.
//
// Source of the peaks: Karamanoglu 1993, Eur Heart J 14:160-7 (14 patients,
// catheters).
func ConstantTube(artery string) Tube {
	hz, height := publishedPeak(artery)
	return Tube{Method: TubeConstant, TravelS: 1 / (4 * hz), Reflection: (height - 1) / (height + 1)}
}

// WindkesselTube returns the tube with a windkessel as load whose forward gain
// has the same published peak. That leaves one of three parameters open:
// B = 0.3 is our own choice, A and Td follow from it (radial 58 ms and 43 ms,
// brachial 52.4 ms and 32.6 ms).
func WindkesselTube(artery string) Tube {
	const b = 0.3
	travel, a := 0.043, 0.058
	if artery == Brachial {
		travel, a = 0.0326, 0.0524
	}
	return Tube{Method: TubeWindkessel, TravelS: travel, Reflection: 1 / (1 + b), ReflectionS: a / (1 + b)}
}

// publishedPeak returns frequency and height of the peak of the forward gain,
// aorta → artery: Karamanoglu 1993, Eur Heart J 14:160-7.
func publishedPeak(artery string) (hz, height float64) {
	if artery == Brachial {
		return 5, 2.5
	}
	return 4, 2.8
}

// Name returns the public name of the method.
func (t Tube) Name() string { return t.Method }

// Gain returns the gain peripheral → aortic with the band limit.
func (t Tube) Gain(hz float64) complex128 {
	limit := RollOff(hz)
	if limit == 0 {
		return 0
	}
	return t.Response(hz) * complex(limit, 0)
}

// Response returns the gain peripheral → aortic of the tube itself, without
// the band limit.
func (t Tube) Response(hz float64) complex128 {
	w := 2 * math.Pi * hz
	ahead := cmplx.Rect(1, w*t.TravelS)
	reflection := complex(t.Reflection, 0) / complex(1, w*t.ReflectionS)
	return (ahead + reflection*cmplx.Conj(ahead)) / (1 + reflection)
}
