package simulate

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// rhythm says how the beats follow each other.
type rhythm struct {
	rateBPM      float64
	respiratory  float64 // swing of the period with breathing, relative
	irregular    float64 // standard deviation of the period beside that, relative
	breathingHz  float64
	strokeSwing  float64 // swing of the stroke volume with breathing, relative
	strokeSpread float64 // standard deviation of the stroke volume beside that
}

// beat is one ejection.
type beat struct {
	onsetS   float64
	stroke   float64 // relative to the usual one
	ejection float64
}

// The simulated stretch begins before the recording and ends after it; its
// last beat joins its first, so that the circulation is everywhere in its
// steady state and the seam lies outside the recording.
const (
	leadS  = 1.5
	trailS = 1.2
)

// beats fills a stretch of the given length with beats whose last interval
// ends where the first began.
func (r rhythm) beats(s stream, lengthS float64) []beat {
	usual := 60 / r.rateBPM
	phase := s.uniform(0, 2*math.Pi)
	var intervals []float64
	total := 0.0
	for total < lengthS {
		breath := math.Sin(2*math.Pi*r.breathingHz*total + phase)
		step := usual * (1 + r.respiratory*breath + s.normal(0, r.irregular))
		step = max(step, 0.4*usual)
		if total+step-lengthS > step/2 {
			break // the stretch is nearer to full without it
		}
		intervals = append(intervals, step)
		total += step
	}
	fit := lengthS / total
	beats := make([]beat, len(intervals))
	t := s.uniform(0, usual)
	for i, step := range intervals {
		breath := math.Sin(2*math.Pi*r.breathingHz*t + phase)
		beats[i] = beat{onsetS: t, stroke: 1 + r.strokeSwing*breath + s.normal(0, r.strokeSpread), ejection: 1 + s.normal(0, 0.01)}
		t += step * fit
	}
	return beats
}

// traces are true pressures in mmHg, sample by sample over the stretch.
type traces struct {
	aortic, brachial, radial []float64
	hz                       float64
	start, count             int // the recording within the stretch
}

// renderer turns beats into pressures. It is not safe for use by several
// goroutines; the traces that it returns are its own until the next call.
type renderer struct {
	plans                          map[int]*fourier.FFT
	flow, aortic, brachial, radial []float64
	spectrum                       []complex128
	sites                          [3][]complex128
}

func newRenderer() *renderer { return &renderer{plans: map[int]*fourier.FFT{}} }

// stretch returns the number of samples of a simulated stretch that holds a
// recording: even and with no prime factor above 5, for which the transform is
// fast.
func stretch(seconds, hz float64) int {
	n := int(math.Ceil((seconds + leadS + trailS) * hz))
	for {
		rest := n
		for _, p := range []int{2, 3, 5} {
			for rest%p == 0 {
				rest /= p
			}
		}
		if rest == 1 && n%2 == 0 {
			return n
		}
		n++
	}
}

func (r *renderer) render(c *circulation, beats []beat, n int, seconds, hz float64) traces {
	plan := r.plans[n]
	if plan == nil {
		plan = fourier.NewFFT(n)
		r.plans[n] = plan
	}
	r.flow = sized(r.flow, n)
	r.aortic, r.brachial, r.radial = sized(r.aortic, n), sized(r.brachial, n), sized(r.radial, n)
	r.eject(c, beats, hz)
	r.spectrum = plan.Coefficients(sized(r.spectrum, n/2+1), r.flow)
	for i := range r.sites {
		r.sites[i] = sized(r.sites[i], n/2+1)
		clear(r.sites[i])
	}
	for k, q := range r.spectrum {
		f := float64(k) * hz / float64(n)
		if f > highestHz {
			break
		}
		z := c.at(f)
		q *= complex(rolloff(f)/float64(n), 0)
		r.sites[0][k], r.sites[1][k], r.sites[2][k] = q*z.aortic, q*z.brachial, q*z.radial
	}
	for i, wave := range [][]float64{r.aortic, r.brachial, r.radial} {
		plan.Sequence(wave, r.sites[i])
		for j := range wave {
			wave[j] += c.outflowMMHg
		}
	}
	return traces{aortic: r.aortic, brachial: r.brachial, radial: r.radial, hz: hz,
		start: int(leadS * hz), count: int(math.Round(seconds * hz))}
}

// eject fills the flow at the root.
func (r *renderer) eject(c *circulation, beats []beat, hz float64) {
	clear(r.flow)
	n := len(r.flow)
	for _, b := range beats {
		f := c.flow
		f.ejectionS *= b.ejection
		f.peakMLPerS *= b.stroke
		last := int((b.onsetS + f.endS()) * hz)
		for i := int(math.Ceil(b.onsetS * hz)); i <= last; i++ {
			r.flow[i%n] += f.at(float64(i)/hz - b.onsetS)
		}
	}
}

func sized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// recorded returns a copy of the part of a trace that is in the recording.
func (t traces) recorded(wave []float64) []float64 {
	return slices.Clone(wave[t.start : t.start+t.count])
}

// pressure returns the mean over whole beats of the highest, the lowest and
// the mean pressure of a trace; lag is how much later than at the root the
// beats arrive there.
func (t traces) pressure(wave []float64, beats []beat, lagS float64) Pressure {
	var p Pressure
	beatsIn, samples := 0.0, 0.0
	for i := 0; i+1 < len(beats); i++ {
		from := int(math.Ceil((beats[i].onsetS + lagS) * t.hz))
		to := int(math.Ceil((beats[i+1].onsetS + lagS) * t.hz))
		if from < t.start || to > t.start+t.count {
			continue
		}
		low, high, mean := describe(wave[from:to])
		p.SBP += high
		p.DBP += low
		p.MAP += mean * float64(to-from)
		beatsIn++
		samples += float64(to - from)
	}
	return Pressure{SBP: p.SBP / beatsIn, DBP: p.DBP / beatsIn, MAP: p.MAP / samples}
}

// rate returns the number of beats per minute over the whole beats of the recording.
func (t traces) rate(beats []beat) float64 {
	first, last, count := math.Inf(1), math.Inf(-1), 0
	for _, b := range beats {
		if at := b.onsetS * t.hz; at >= float64(t.start) && at < float64(t.start+t.count) {
			first, last = min(first, b.onsetS), max(last, b.onsetS)
			count++
		}
	}
	return 60 * float64(count-1) / (last - first)
}

// arrivals returns the times at which the beats arrive at a place, from the
// start of the recording, as far as they do within it.
func (t traces) arrivals(beats []beat, lagS float64) []float64 {
	var at []float64
	for _, b := range beats {
		if s := b.onsetS + lagS - float64(t.start)/t.hz; s >= 0 && s*t.hz < float64(t.count) {
			at = append(at, s)
		}
	}
	return at
}
