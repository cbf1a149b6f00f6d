package simulate

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// steadyPoints is the number of points of a beat in the steady state, an even
// power of two.
const steadyPoints = 256

// steady computes the beat that a circulation settles to. It is not safe for
// use by several goroutines.
type steady struct {
	plan                                *fourier.FFT
	flow                                []complex128
	work                                []complex128
	aortic, brachial, radial, separated []float64
}

func newSteady() *steady {
	s := &steady{plan: fourier.NewFFT(steadyPoints), work: make([]complex128, steadyPoints/2+1)}
	s.aortic = make([]float64, steadyPoints)
	s.brachial = make([]float64, steadyPoints)
	s.radial = make([]float64, steadyPoints)
	s.separated = make([]float64, steadyPoints)
	return s
}

// load computes the spectrum of the flow, which does not depend on the vessels.
func (s *steady) load(c *circulation) {
	period := 60 / c.heartRateBPM
	for i := range s.separated {
		t := float64(i) / steadyPoints * period
		s.separated[i] = c.flow.at(t) + c.flow.at(t+period) // the valve may close late
	}
	s.flow = s.plan.Coefficients(s.flow, s.separated)
}

// pressures fills the waves of a beat from the spectrum of the flow.
func (s *steady) pressures(c *circulation) {
	s.synthesise(c, s.aortic, func(z site) complex128 { return z.aortic })
	s.synthesise(c, s.brachial, func(z site) complex128 { return z.brachial })
	s.synthesise(c, s.radial, func(z site) complex128 { return z.radial })
}

func (s *steady) synthesise(c *circulation, wave []float64, at func(site) complex128) {
	clear(s.work)
	for k := range s.work {
		hz := float64(k) * c.heartRateBPM / 60
		if hz > highestHz {
			break
		}
		s.work[k] = s.flow[k] * at(c.at(hz)) * complex(rolloff(hz)/steadyPoints, 0)
	}
	s.plan.Sequence(wave, s.work)
	for i := range wave {
		wave[i] += c.outflowMMHg
	}
}

// fit sets impedance and resistance so that the steady brachial wave runs from
// dbp to sbp. The compliance follows the impedance, and the resistance what
// mean flow and mean pressure ask for, so that the person stays of one piece.
func (s *steady) fit(c *circulation, sbp, dbp float64) {
	s.load(c)
	meanFlow := real(s.flow[0]) / steadyPoints
	mean := dbp + 0.4*(sbp-dbp)
	if c.impedance == 0 {
		c.impedance = 0.15
	}
	for range 6 {
		proximal := c.impedance * (1 + c.terminal) / (1 - c.terminal)
		// A windkessel without resistance has no diastole.
		c.resistance = max((mean-c.outflowMMHg)/meanFlow-proximal, c.impedance)
		s.synthesise(c, s.brachial, func(z site) complex128 { return z.brachial })
		low, high, average := describe(s.brachial)
		scale := (sbp - dbp) / (high - low)
		mean = dbp + (average-low)*scale
		c.impedance *= scale
	}
}

// amplitudes returns the forward and the backward part of the aortic pulse.
func (s *steady) amplitudes(c *circulation) (forward, backward float64) {
	s.load(c)
	amplitude := func(at func(site) complex128) float64 {
		s.synthesise(c, s.separated, at)
		low, high, _ := describe(s.separated)
		return high - low
	}
	forward = amplitude(func(z site) complex128 { return z.forward })
	return forward, amplitude(func(z site) complex128 { return z.aortic - z.forward })
}

func describe(wave []float64) (low, high, mean float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, v := range wave {
		low, high = min(low, v), max(high, v)
		mean += v
	}
	return low, high, mean / float64(len(wave))
}
