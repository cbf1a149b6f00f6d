package pulse

import "math"

// segment is a stretch of samples without a gap.
type segment struct {
	start, end int // samples of the recording
	lo, hi     int // samples of the filtered wave
}

// second turns a position in the filtered wave into seconds from the first
// sample of the recording.
func (s *segment) second(position, rate, hz float64) float64 {
	return float64(s.start)/hz + (position-float64(s.lo))/rate
}

// run is a stretch of equal samples that is too long for a pulse.
type run struct {
	start, end int // samples of the recording
	saturated  bool
}

// Own limits on stretches of equal samples: a pulse that is quantised coarsely
// rests on one value for some hundredths of a second near its extremes.
const (
	flatS           = 0.25 // anywhere
	saturatedS      = 0.08 // at the highest or lowest value of the recording
	runSamples      = 3    // and never fewer samples than this
	shortestSegment = 1.0  // s; a shorter stretch between gaps holds no whole beat at 60 per minute
)

// load takes in the samples: stretches between gaps, extremes, runs.
func (a *Analyser) load(samples []float64, hz float64) *Failure {
	a.samples, a.hz, a.missing = samples, hz, 0
	a.segments, a.runs, a.beats, a.complete = a.segments[:0], a.runs[:0], a.beats[:0], a.complete[:0]
	if !(hz >= slowestHz && hz <= fastestHz) {
		return fail(CodeSamplingRate, "sampling rate %g Hz is outside %d to %d Hz", hz, slowestHz, fastestHz)
	}
	a.scan()
	if a.missing == len(samples) {
		return fail(CodeNoSamples, "the recording has no samples with a value (%d missing)", a.missing)
	}
	if a.low == a.high {
		return fail(CodeFlat, "every sample has the same value")
	}
	a.classifyRuns()
	a.keepLongSegments()
	if len(a.segments) == 0 {
		return fail(CodeTooShort, "no stretch without a gap lasts %g s; %d samples of %d have a value", shortestSegment, len(samples)-a.missing, len(samples))
	}
	return nil
}

// scan finds the stretches between missing samples, and in each the extremes and
// the runs.
func (a *Analyser) scan() {
	x := a.samples
	a.low, a.high = math.Inf(1), math.Inf(-1)
	for i := 0; i < len(x); i++ {
		start := i
		if i += a.widen(x[start:]); i > start {
			a.segments = append(a.segments, segment{start: start, end: i})
			a.findRuns(start, i)
		}
		if i < len(x) {
			a.missing++
		}
	}
}

// widen moves the extremes so that they hold the samples up to the first missing
// one, and returns how many there are. A sample between the extremes so far, which
// most are, costs two comparisons; NaN lies nowhere.
func (a *Analyser) widen(x []float64) int {
	low, high, i := a.low, a.high, 0
	for {
		for i < len(x) && x[i] >= low && x[i] <= high {
			i++
		}
		if i == len(x) || !(math.Abs(x[i]) <= largestSample) {
			a.low, a.high = low, high
			return i
		}
		low, high = min(low, x[i]), max(high, x[i])
	}
}

// findRuns collects the runs of a stretch. One that is long enough holds one of every
// so many samples together with the next, so that all others need not be compared.
func (a *Analyser) findRuns(from, to int) {
	x := a.samples
	shortest := max(runSamples, int(math.Ceil(saturatedS*a.hz)))
	for i := from; i+1 < to; i += shortest - 1 {
		if x[i] != x[i+1] {
			continue
		}
		start, end := i, i+2
		for start > from && x[start-1] == x[i] {
			start--
		}
		for end < to && x[end] == x[i] {
			end++
		}
		if end-start >= shortest {
			a.runs = append(a.runs, run{start: start, end: end})
		}
		i = max(i, end-(shortest-1)) // the next run begins no earlier than at the end of this one
	}
}

// classifyRuns keeps the runs that break a rule.
func (a *Analyser) classifyRuns() {
	kept := a.runs[:0]
	flat := flatS * a.hz
	for _, r := range a.runs {
		v := a.samples[r.start]
		r.saturated = v == a.low || v == a.high
		if r.saturated || float64(r.end-r.start) >= flat {
			kept = append(kept, r)
		}
	}
	a.runs = kept
}

func (a *Analyser) keepLongSegments() {
	kept := a.segments[:0]
	for _, s := range a.segments {
		if n := s.end - s.start; n > padding && float64(n) >= shortestSegment*a.hz {
			kept = append(kept, s)
		}
	}
	a.segments = kept
}

// The wave that is analysed has at least this many samples per second where
// the recording has them: ten times a cut-off of 20 Hz and more, so that what
// the low-pass leaves above half of it is below a millionth. Own choice.
const (
	analysisHz      = 250
	perCutoff       = 12.5
	highestFraction = 0.45 // no low-pass with a cut-off above this fraction of the sampling rate
)

// lowpassed filters each segment into the wave and thins it out where the
// sampling rate is far above what the low-pass leaves. It returns notes.
func (a *Analyser) lowpassed() (notes []string) {
	cut := a.settings.LowpassHz
	filtered := cut > 0 && cut < highestFraction*a.hz
	a.every, a.rate = 1, a.hz
	if !filtered {
		notes = []string{NoteNoLowpass}
	} else {
		if a.filterHz != a.hz {
			a.filter, a.filterHz = butterworth(cut, a.hz), a.hz
		}
		a.every = max(1, int(a.hz/max(analysisHz, perCutoff*cut)))
		a.rate = a.hz / float64(a.every)
	}
	total := 0
	for _, s := range a.segments {
		total += (s.end-s.start-1)/a.every + 1
	}
	a.wave = grow(a.wave, total)
	at := 0
	for i := range a.segments {
		s := &a.segments[i]
		x := a.samples[s.start:s.end]
		a.work = grow(a.work, len(x)+2*padding)
		y := a.work[padding : padding+len(x)]
		if a.every == 1 {
			y = a.wave[at : at+len(x)]
		}
		if filtered {
			a.filter.zeroPhase(y, x, a.work)
		} else {
			copy(y, x)
		}
		s.lo = at
		s.hi = at + (len(y)-1)/a.every + 1
		if a.every > 1 {
			for k := range a.wave[s.lo:s.hi] {
				a.wave[s.lo+k] = y[k*a.every]
			}
		}
		at = s.hi
	}
	return notes
}
