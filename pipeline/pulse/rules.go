package pulse

import "math"

// Rules that reject a beat, in the order in which they are tried: the first
// that fits is the reason.
const (
	RuleIncomplete    = "incomplete"     // no next foot before the end of the signal or the next gap
	RuleSaturated     = "saturated"      // rests at the highest or lowest value of the recording
	RuleFlatLine      = "flat_line"      // holds one value for too long
	RulePeriodRange   = "period_range"   // period outside 40 to 180 per minute
	RuleNoise         = "noise"          // what the low-pass took away is large
	RuleSteepFall     = "steep_fall"     // falls faster than a pulse does
	RulePeriodJump    = "period_jump"    // period unlike those around or unlike the usual one
	RuleAmplitude     = "amplitude"      // pulse pressure unlike the usual one
	RuleAmplitudeJump = "amplitude_jump" // maximum unlike those around
	RuleBaselineJump  = "baseline_jump"  // minimum unlike those around, or next foot far from this one
	RuleTemplate      = "template"       // shape unlike the template beat
	RuleIsolated      = "isolated"       // a good beat between two rejected ones
)

var ruleOrder = [...]string{RuleIncomplete, RuleSaturated, RuleFlatLine, RulePeriodRange, RuleNoise, RuleSteepFall,
	RulePeriodJump, RuleAmplitude, RuleAmplitudeJump, RuleBaselineJump, RuleTemplate, RuleIsolated}

// Limits of the rules.
//
// Orphanidou 2015, IEEE JBHI 19:832-8: rate 40 to 180 per minute.
//
// Sun, Reisner, Mark 2006, Comput Cardiol 33:13-6, signal abnormality index: a
// change of systolic or of onset pressure above 20 mmHg, of period above
// 0.5 s, a mean of the falling differences below −3 mmHg per sample at 125 Hz,
// a good beat between two bad ones is bad. Its limits in mmHg are taken
// relative to the pulse pressure of the recording, at a usual brachial pulse
// pressure of 40 mmHg; its changes are taken against the median of five beats
// rather than the beat before, so that one bad beat does not condemn the next.
//
// The others are own choices.
const (
	shortestPeriodS = 60.0 / 180
	longestPeriodS  = 60.0 / 40
	periodChangeS   = 0.5
	usualPulse      = 40.0
	pressureChange  = 20 / usualPulse
	fallPerS        = 3 * 125 / usualPulse

	noiseShare         = 0.1 // root mean square over pulse pressure
	periodAroundLow    = 0.7 // period over the median of five
	periodAroundHigh   = 1.4
	periodUsualLow     = 0.6 // period over the median of the recording
	periodUsualHigh    = 1.6
	amplitudeUsualLow  = 0.5 // pulse pressure over the median of the recording
	amplitudeUsualHigh = 1.5
	leastCorrelation   = 0.9 // with the template; published for the mean over beats: 0.86 (Orphanidou 2015, from memory)
	around             = 2   // beats on each side in a median of five
)

// measureBeats finds maximum, mean fall and noise of each beat.
func (a *Analyser) measureBeats() {
	usual := int(a.rate)
	for i := range a.beats {
		b := &a.beats[i]
		s := &a.segments[b.segment]
		end := min(b.lowest+usual, s.hi)
		if b.complete {
			end = a.beats[i+1].lowest
			usual = end - b.lowest
		}
		a.measure(b, s, end)
	}
	a.complete = a.complete[:0]
	for i := range a.beats {
		if a.beats[i].complete {
			a.complete = append(a.complete, i)
		}
	}
}

func (a *Analyser) measure(b *beat, s *segment, end int) {
	y := a.wave[b.lowest:end]
	raw := a.samples[s.start+(b.lowest-s.lo)*a.every : s.end]
	highest, previous := y[0], y[0]
	falls, fall, squares := 0, 0.0, 0.0
	every, at := a.every, 0
	for _, v := range y {
		if v > highest {
			highest = v
		}
		if d := v - previous; d < 0 {
			fall += d
			falls++
		}
		previous = v
		r := raw[at] - v
		squares += float64(r * r)
		at += every
	}
	b.maximum = highest
	b.fall = fall / float64(max(1, falls))
	b.noise = math.Sqrt(squares / float64(len(y)))
}

// judgeBeats gives each beat its verdict.
func (a *Analyser) judgeBeats() {
	a.judgeAlone()
	period, pulse := a.usual()
	if math.IsNaN(period) {
		return
	}
	a.judgeTogether(period, pulse)
	a.judgeShapes(period)
	a.rejectIsolated()
}

// judgeAlone applies the rules that need no other beat, except those relative
// to the usual pulse pressure.
func (a *Analyser) judgeAlone() {
	next := 0 // first run that may reach into the beat
	for i := range a.beats {
		b := &a.beats[i]
		if !b.complete {
			b.reason = RuleIncomplete
			continue
		}
		s := &a.segments[b.segment]
		from := s.start + int((b.onset-float64(s.lo))*float64(a.every))
		to := s.start + int((b.foot+b.period-float64(s.lo))*float64(a.every))
		for next < len(a.runs) && a.runs[next].end <= from {
			next++
		}
		for _, r := range a.runs[next:] {
			if r.start >= to {
				break
			}
			if r.saturated {
				b.reason = RuleSaturated
				break
			}
			b.reason = RuleFlatLine
		}
		if seconds := b.period / a.rate; b.reason == "" && !(seconds >= shortestPeriodS && seconds <= longestPeriodS) {
			b.reason = RulePeriodRange
		}
	}
}

// usual returns the medians of period (samples of wave) and pulse pressure
// over the beats without a fault so far, NaN where there is none.
func (a *Analyser) usual() (period, pulse float64) {
	a.scratch = a.scratch[:0]
	for _, i := range a.complete {
		if a.beats[i].reason == "" {
			a.scratch = append(a.scratch, a.beats[i].period)
		}
	}
	period = median(a.scratch)
	a.scratch = a.scratch[:0]
	for _, i := range a.complete {
		if b := &a.beats[i]; b.reason == "" {
			a.scratch = append(a.scratch, b.maximum-b.minimum)
		}
	}
	return period, median(a.scratch)
}

// judgeTogether applies the rules that compare a beat with the others.
func (a *Analyser) judgeTogether(period, pulse float64) {
	for k, i := range a.complete {
		b := &a.beats[i]
		if b.reason != "" {
			continue
		}
		nearPeriod := a.medianAround(k, func(b *beat) float64 { return b.period })
		nearMaximum := a.medianAround(k, func(b *beat) float64 { return b.maximum })
		nearMinimum := a.medianAround(k, func(b *beat) float64 { return b.minimum })
		height := (b.maximum - b.minimum) / pulse
		next := a.beats[i+1].minimum
		switch {
		case b.noise > noiseShare*pulse:
			b.reason = RuleNoise
		case b.fall*a.rate < -fallPerS*pulse:
			b.reason = RuleSteepFall
		case outside(b.period/nearPeriod, periodAroundLow, periodAroundHigh),
			outside(b.period/period, periodUsualLow, periodUsualHigh),
			math.Abs(b.period-nearPeriod) > periodChangeS*a.rate:
			b.reason = RulePeriodJump
		case outside(height, amplitudeUsualLow, amplitudeUsualHigh):
			b.reason = RuleAmplitude
		case math.Abs(b.maximum-nearMaximum) > pressureChange*pulse:
			b.reason = RuleAmplitudeJump
		case math.Abs(b.minimum-nearMinimum) > pressureChange*pulse, math.Abs(next-b.minimum) > pressureChange*pulse:
			b.reason = RuleBaselineJump
		}
	}
}

func outside(v, low, high float64) bool { return !(v >= low && v <= high) }

// medianAround returns the median of a quantity over the k-th complete beat
// and two on each side, all of which stand in one segment.
func (a *Analyser) medianAround(k int, of func(*beat) float64) float64 {
	var near [2*around + 1]float64
	n := 0
	segment := a.beats[a.complete[k]].segment
	for j := max(0, k-around); j <= min(len(a.complete)-1, k+around); j++ {
		if b := &a.beats[a.complete[j]]; b.segment == segment {
			near[n] = of(b)
			n++
		}
	}
	return median(near[:n])
}

// rejectIsolated rejects a good beat whose neighbours on both sides were
// rejected (1-0-1). A beat without a period is no neighbour: it was cut off,
// not found bad.
func (a *Analyser) rejectIsolated() {
	before := true // verdict on the beat before, as it was
	for k, i := range a.complete {
		b := &a.beats[i]
		good := b.reason == ""
		if good && k > 0 && !before && k+1 < len(a.complete) && a.beats[a.complete[k+1]].reason != "" {
			b.reason = RuleIsolated
		}
		before = good
	}
}
