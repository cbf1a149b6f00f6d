package central

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/optimize"
)

// The names of tubes that were fitted to a measured transfer function.
const (
	TubeConstantFitted   = "tube_constant_fitted"
	TubeWindkesselFitted = "tube_windkessel_fitted"
)

// Bounds of a fitted tube, wider than what is plausible in people (Td 40–110
// ms, Γ 0.2–0.9), so that a fit at a bound shows that the tube does not hold.
const (
	fitTravelFromS  = 0.010
	fitTravelToS    = 0.200
	fitReflectionTo = 0.99
	fitTimeToS      = 2.0 // A of the windkessel
	fitRatioTo      = 20.0
)

// TubeFit is a tube beside a measured transfer function.
type TubeFit struct {
	Tube   Tube
	ShiftS float64   // time by which the tube's aortic wave comes before the artery's foot-aligned one
	Misfit float64   // root mean square difference of the gains, weighted by peripheral power, as a share of the tube's input
	SE     []float64 // of Td, Γ or Td, A, B: jackknife over subjects; nil where there are too few, or at a bound
}

// Windkessel returns the two numbers of the load, A = 2·Zc·C in s and B = 2·Zc/R,
// of Γ(s) = 1/(1 + B + A·s).
func (t Tube) Windkessel() (a, b float64) {
	return t.ReflectionS / t.Reflection, 1/t.Reflection - 1
}

// Aligned returns the gain of the tube with the feet of both waves at time zero,
// without the band limit.
func (f TubeFit) Aligned(hz float64) complex128 {
	return f.Tube.Response(hz) * cmplx.Rect(1, -2*math.Pi*hz*f.ShiftS)
}

// FitTube fits a tube, TubeConstantFitted or TubeWindkesselFitted, to the
// measured gain: least squares of the complex difference, weighted by the mean
// power of the peripheral wave and the band limit, which is the error of the
// central wave. Where the feet lie in time is not known, so a shift is fitted
// with it; the travel time comes from the resonance. Nelder and Mead 1965,
// Comput J 7:308-13, from several starts. Standard errors are a jackknife over
// subjects.
func (d *Derived) FitTube(method string) TubeFit {
	f := d.fitTube(method)
	if !f.AtBound() {
		f.SE = d.tubeErrors(method, f)
	}
	return f
}

// fitTube is FitTube without standard errors.
func (d *Derived) fitTube(method string) TubeFit {
	best := TubeFit{Misfit: math.Inf(1)}
	for _, travel := range []float64{0.035, 0.0625, 0.1} {
		start := []float64{travel, 0.45, 0, travel}
		if method == TubeWindkesselFitted {
			start = []float64{travel, 1 / 1.3, 0.045, travel}
		}
		if f := d.fitFrom(method, start); f.Misfit < best.Misfit {
			best = f
		}
	}
	return best
}

// Beside fits nothing but the shift: a tube as it is beside the measured gain.
func (d *Derived) Beside(t Tube) TubeFit {
	best := TubeFit{Tube: t, Misfit: math.Inf(1)}
	for step := 0.008; step > 1e-6; step /= 8 {
		centre := best.ShiftS
		for i := -16; i <= 16; i++ {
			f := TubeFit{Tube: t, ShiftS: centre + step*float64(i)}
			if f.Misfit = d.misfit(f); f.Misfit < best.Misfit {
				best = f
			}
		}
	}
	return best
}

// misfit compares a shifted tube with the measured gain.
func (d *Derived) misfit(f TubeFit) float64 {
	sum, whole := 0.0, 0.0
	for i, hz := range d.Hz {
		limit := RollOff(hz)
		difference := f.Aligned(hz) - d.Gain[i]
		weight := d.Power[i] * limit * limit
		sum += float64(weight * (float64(real(difference)*real(difference)) + float64(imag(difference)*imag(difference))))
		whole += weight
	}
	return math.Sqrt(sum / whole)
}

// fitFrom searches from Td, Γ(0), the load's time and a shift.
func (d *Derived) fitFrom(method string, start []float64) TubeFit {
	made := func(x []float64) TubeFit {
		f := TubeFit{Tube: Tube{Method: method, TravelS: x[0], Reflection: x[1]}, ShiftS: x[2]}
		if method == TubeWindkesselFitted {
			f.Tube.ReflectionS, f.ShiftS = x[2], x[3]
		}
		return f
	}
	if method == TubeConstantFitted {
		start = []float64{start[0], start[1], start[3]}
	}
	problem := optimize.Problem{Func: func(x []float64) float64 {
		f := made(x)
		if !f.Tube.inBounds() {
			return math.Inf(1)
		}
		return d.misfit(f)
	}}
	settings := &optimize.Settings{Converger: &optimize.FunctionConverge{Absolute: 1e-12, Relative: 1e-10, Iterations: 60}, MajorIterations: 2000}
	result, err := optimize.Minimize(problem, start, settings, &optimize.NelderMead{SimplexSize: 0.02})
	if result == nil || err != nil && result.X == nil {
		return TubeFit{Misfit: math.Inf(1)}
	}
	f := made(result.X)
	f.Misfit = result.F
	return f
}

func (t Tube) inBounds() bool {
	a, b := t.Windkessel()
	return t.TravelS >= fitTravelFromS && t.TravelS <= fitTravelToS && t.Reflection > 0 && t.Reflection <= fitReflectionTo &&
		t.ReflectionS >= 0 && a <= fitTimeToS && b <= fitRatioTo
}

// AtBound reports that the best tube lies where the search ends: the measured
// gain does not determine its numbers, or no such tube describes it.
func (f TubeFit) AtBound() bool {
	const near = 1e-3
	a, b := f.Tube.Windkessel()
	t := f.Tube
	return t.TravelS < fitTravelFromS*(1+near) || t.TravelS > fitTravelToS*(1-near) || t.Reflection > fitReflectionTo*(1-near) || b > fitRatioTo*(1-near) ||
		t.Method == TubeWindkesselFitted && (a < near*t.TravelS || a > fitTimeToS*(1-near))
}

// numbers are those that a fit reports: Td and Γ, or Td, A and B.
func (f TubeFit) numbers() []float64 {
	if f.Tube.Method == TubeWindkesselFitted {
		a, b := f.Tube.Windkessel()
		return []float64{f.Tube.TravelS, a, b}
	}
	return []float64{f.Tube.TravelS, f.Tube.Reflection}
}

// tubeErrors are the standard errors of the numbers of a fit.
func (d *Derived) tubeErrors(method string, f TubeFit) []float64 {
	if d.Subjects < SubjectsForBands {
		return nil
	}
	start := []float64{f.Tube.TravelS, f.Tube.Reflection, f.Tube.ReflectionS, f.ShiftS}
	leftOut := make([][]float64, len(f.numbers()))
	for i := range d.parts {
		rest, err := d.without(i)
		if err != nil {
			return nil
		}
		for j, v := range rest.fitFrom(method, start).numbers() {
			leftOut[j] = append(leftOut[j], v)
		}
	}
	errors := make([]float64, len(leftOut))
	for j := range errors {
		errors[j] = jackknifeError(leftOut[j])
	}
	return errors
}
