package central

import (
	"fmt"
	"math"
)

// The arteries a wave can come from.
const (
	Radial   = "radial"
	Brachial = "brachial"
	Carotid  = "carotid"
	Aortic   = "aortic"
)

// None is the name of the transfer that changes nothing.
const None = "none"

// RollOffName names the band limit of every transfer function here.
const RollOffName = "raised_cosine_8_12_hz"

// The band limit: harmonics pass below the first frequency and not above the
// second.
const (
	rollOffFromHz = 8.0
	rollOffToHz   = 12.0
)

// bandHz is where Apply stops looking for harmonics: that of the low-pass
// before beat detection. A transfer function of ours ends at 12 Hz.
const bandHz = 20.0

// Transfer is a peripheral → aortic transfer function.
type Transfer interface {
	// Name is the public name that is stored beside every value it made.
	Name() string
	// Gain is the complex gain at a frequency in Hz, band limit included: 1 at
	// 0 Hz, so that mean pressure is kept.
	Gain(hz float64) complex128
}

// RollOff returns the gain of the band limit "raised_cosine_8_12_hz" at a
// frequency: 1 up to 8 Hz, 0 from 12 Hz, half a cosine between.
//
// Aortic pressure has almost all its energy below 10 Hz, and the coherence of
// radial and aortic pressure is poor above 8–10 Hz (from memory), where the
// published functions are cut off too. Both limits are our own choice.
func RollOff(hz float64) float64 {
	switch {
	case hz <= rollOffFromHz:
		return 1
	case hz >= rollOffToHz:
		return 0
	}
	return 0.5 * (1 + math.Cos(math.Pi*(hz-rollOffFromHz)/(rollOffToHz-rollOffFromHz)))
}

// For returns the transfer function of a method for an artery. A carotid and
// an aortic wave go through none, whatever the method. An unknown artery is an
// error, and so is a method whose transfer is not fixed beforehand.
func For(method, artery string) (Transfer, error) {
	switch artery {
	case Carotid, Aortic:
		return identity{}, nil
	case Radial, Brachial:
	default:
		return nil, fmt.Errorf("central: no transfer function for artery %q", artery)
	}
	switch method {
	case TubeConstant:
		return ConstantTube(artery), nil
	case TubeWindkessel:
		return WindkesselTube(artery), nil
	case None:
		return identity{}, nil
	}
	return nil, fmt.Errorf("central: method %q has no transfer function that is known before the wave", method)
}

// identity leaves the wave as it is, without a band limit.
type identity struct{}

func (identity) Name() string            { return None }
func (identity) Gain(float64) complex128 { return 1 }

// Apply sends one period of a peripheral wave, periodS seconds long, through a
// transfer function and returns the aortic wave in out, which is grown if it is
// too short; sample j of the one stands at the time of sample j of the other.
// The mean is that of the wave. Harmonics above 20 Hz are dropped; the transfer
// that is none drops nothing.
func Apply(t Transfer, wave []float64, periodS float64, out []float64) []float64 {
	return NewWorkspace().Apply(t, wave, periodS, out)
}

// Workspace holds the tables and buffers that estimates reuse from recording to
// recording. It serves one goroutine; no result depends on what it did before.
type Workspace struct {
	wave     fourier // for the length of the wave
	fine     fourier // for the fixed grid of Measure
	gain     []complex128
	spectrum series
	smooth   series
	beat     series    // of the Beat that was prepared last
	taken    series    // of a wave of which nothing was known
	slope    []float64 // the first derivative on the grid
	decay    diastole
	fall     decayFit
	shifted  []float64 // a wave from its foot on

	derivatives [3]derivative
	jackknife   Jackknife
	misfits     []float64
	trial       []float64
}

// NewWorkspace returns an empty workspace.
func NewWorkspace() *Workspace { return &Workspace{} }

// Apply is the function of the same name with reused memory.
func (w *Workspace) Apply(t Transfer, wave []float64, periodS float64, out []float64) []float64 {
	return w.apply(t, wave, periodS, nil, out)
}

// apply is Apply for a wave of which some harmonics are known, or nil.
func (w *Workspace) apply(t Transfer, wave []float64, periodS float64, known *series, out []float64) []float64 {
	out = resized(out, len(wave))
	if _, same := t.(identity); same || len(wave) == 0 {
		copy(out, wave)
		return out
	}
	g := w.gains(t, periodS, len(wave))
	w.spectrum.through(w.seriesOf(wave, periodS, len(g), known), g)
	w.wave.synthesise(&w.spectrum, out)
	return out
}

// seriesOf returns at least so many harmonics of a wave: those that are known, if
// they are enough.
func (w *Workspace) seriesOf(wave []float64, periodS float64, harmonics int, known *series) *series {
	if known != nil && len(known.cos) >= harmonics {
		return known
	}
	w.taken.resize(harmonics)
	w.wave.analyse(wave, periodS, &w.taken)
	return &w.taken
}

// gains returns the gains of the harmonics of a period of n samples below 20 Hz,
// up to the last that is not zero; they hold until it is asked again.
func (w *Workspace) gains(t Transfer, periodS float64, n int) []complex128 {
	w.gain = resized(w.gain, harmonicsBelow(bandHz, periodS, n))
	all := w.gain
	last := 0
	for k := range all {
		if all[k] = t.Gain(float64(k+1) / periodS); all[k] != 0 {
			last = k + 1
		}
	}
	return all[:last]
}

// through makes s what the gains leave of another series.
func (s *series) through(from *series, gains []complex128) {
	s.resize(len(gains))
	copy(s.cos, from.cos)
	copy(s.sin, from.sin)
	s.period, s.mean = from.period, from.mean
	s.multiply(gains)
}

// multiply gives each harmonic its complex gain.
func (s *series) multiply(gains []complex128) {
	for k, g := range gains {
		c, q := s.cos[k], s.sin[k]
		s.cos[k] = float64(c*real(g)) + float64(q*imag(g))
		s.sin[k] = float64(q*real(g)) - float64(c*imag(g))
	}
}
