package central

import (
	"math"
	"math/cmplx"
)

// Pair is one measurement of a person at two places: the average beats of a
// central and of a peripheral wave, each from its foot to the next, on one grid.
// Pressures are in mmHg; the foot is the origin of time in both.
type Pair struct {
	SubjectID  string
	Central    []float64
	Peripheral []float64
	StepS      float64
	Beats      [][]float64 // the peripheral beats behind the average, which say what is noise; nil: unknown, all counts as signal
}

// period returns the duration of the beat.
func (p *Pair) period() float64 { return p.StepS * float64(len(p.Peripheral)) }

// The harmonics of a pair that are used.
const (
	noiseFactor   = 3    // a peripheral harmonic is used where it exceeds this many standard errors over the beats
	leastHarmonic = 1e-4 // and this share of pulse pressure: below it stands rounding
	widestGap     = 2    // what may be missing between two used ones; own choices
)

// knot is the gain artery → aorta of one pair at one of its harmonics.
type knot struct {
	number  int
	hz      float64
	gain    complex128
	power   float64 // of the peripheral harmonic, as a share of pulse pressure, squared
	central float64 // the same of the central harmonic, by the same pulse pressure
}

// knots returns the usable harmonics of a pair up to a frequency, ascending.
func (w *Workspace) knots(p *Pair, upToHz float64) []knot {
	n, length := len(p.Peripheral), p.period()
	count := harmonicsBelow(upToHz+1/length, length, n) // one more, so that the frequency itself lies between two
	peripheral, central := complexHarmonics(&w.wave, p.Peripheral, length, count), complexHarmonics(&w.wave, p.Central, length, count)
	noise := w.harmonicErrors(p.Beats, length, count)
	whole := period{wave: p.Peripheral, step: p.StepS, length: length}
	pp := whole.extreme(+1).value - whole.extreme(-1).value
	var found []knot
	last := 0
	for k := range peripheral {
		size := cmplx.Abs(peripheral[k])
		if !(size > leastHarmonic*pp) || noise != nil && !(size > noiseFactor*noise[k]) {
			continue
		}
		if k+1-last > widestGap+1 {
			break
		}
		last = k + 1
		share := size / pp
		other := cmplx.Abs(central[k]) / pp
		found = append(found, knot{number: k + 1, hz: float64(k+1) / length, gain: central[k] / peripheral[k], power: share * share, central: other * other})
	}
	return found
}

// complexHarmonics returns the amplitudes c of the first harmonics: the wave is
// the real part of their sum c·exp(iωt).
func complexHarmonics(f *fourier, wave []float64, length float64, count int) []complex128 {
	var s series
	s.resize(count)
	f.analyse(wave, length, &s)
	out := make([]complex128, count)
	for k := range out {
		out[k] = complex(s.cos[k], -s.sin[k])
	}
	return out
}

// harmonicErrors returns the standard error of the amplitude of each harmonic of
// the average of beats; nil where fewer than two beats say nothing.
func (w *Workspace) harmonicErrors(beats [][]float64, length float64, count int) []float64 {
	n := float64(len(beats))
	if n < 2 {
		return nil
	}
	sums, squares := make([]complex128, count), make([]float64, count)
	for _, beat := range beats {
		for k, c := range complexHarmonics(&w.wave, beat, length, count) {
			sums[k] += c
			squares[k] += float64(real(c)*real(c)) + float64(imag(c)*imag(c))
		}
	}
	out := make([]float64, count)
	for k := range out {
		size := cmplx.Abs(sums[k])
		out[k] = math.Sqrt(max(0, squares[k]-float64(size*size)/n) / (n * (n - 1)))
	}
	return out
}

// BeatRetimed names what Retimed does, the only thing that brings two recordings
// to one grid. They need no common rate for it.
const BeatRetimed = "average_beat_cubic"

// Retimed puts one period of a wave that begins at its foot onto a grid of n
// samples of stepS seconds, where heart rate was a little different. As in the
// average of beats, the first part keeps its time, 0.4·√period seconds or half
// the period where that is less, and the rest of diastole gives way evenly. Between
// samples lies the cubic through four of them.
func Retimed(wave []float64, fromStepS float64, n int, stepS float64) []float64 {
	p := period{wave: wave, step: fromStepS, length: fromStepS * float64(len(wave))}
	length := stepS * float64(n)
	firm := min(0.4*math.Sqrt(length), 0.5*length, 0.5*p.length)
	stretch := (p.length - firm) / (length - firm)
	out := make([]float64, n)
	for j := range out {
		t := float64(stepS * float64(j))
		if t > firm {
			t = firm + float64((t-firm)*stretch)
		}
		out[j] = p.at(t)
	}
	return out
}

// WaveError returns the root mean square difference of two waves of one period
// without their means, at the shift in time at which it is smallest: the
// difference in shape. It looks at the harmonics below 60 Hz.
func (w *Workspace) WaveError(a, b []float64, periodS float64) float64 {
	k := harmonicsBelow(60, periodS, len(a))
	p, q := complexHarmonics(&w.wave, a, periodS, k), complexHarmonics(&w.wave, b, periodS, k)
	at := func(shift float64) float64 {
		sum := 0.0
		for k, c := range p {
			d := c*cmplx.Rect(1, 2*math.Pi*float64(k+1)/periodS*shift) - q[k]
			sum += (float64(real(d)*real(d)) + float64(imag(d)*imag(d))) / 2
		}
		return sum
	}
	best, least := 0.0, at(0)
	for step := periodS / 64; step > 1e-6; step /= 8 {
		centre, span := best, 8
		if step == periodS/64 {
			span = 32 // the first pass looks everywhere
		}
		for i := -span; i <= span; i++ {
			shift := centre + float64(step*float64(i))
			if e := at(shift); e < least {
				best, least = shift, e
			}
		}
	}
	return math.Sqrt(least)
}
