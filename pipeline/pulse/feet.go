package pulse

import "math"

// Own limits on the way back from the steepest point to the pressure minimum.
const (
	onsetSearchS = 0.25 // no further back than this
	ripple       = 0.05 // and no further than over a rise of this share of the upstroke
)

// beat is a beat in samples of wave; positions have fractions.
type beat struct {
	segment     int
	lowest      int // sample of the pressure minimum before the upstroke
	onset       float64
	foot        float64
	period      float64 // to the next foot, where complete
	complete    bool
	minimum     float64
	maximum     float64
	fall        float64 // mean of the falling first differences, pressure per sample; ≤ 0
	noise       float64 // root mean square of what the low-pass took away
	correlation float64
	reason      string
}

// startSlope is the largest slope at the first sample of a segment, relative to
// the steepest point of the upstroke, with which that sample may be an onset:
// the segment then begins at the foot and not within the upstroke. Own choice.
const startSlope = 0.25

// placeFeet turns upstrokes into beats with onset, foot and period. An
// upstroke whose beginning lies before the start of its segment is no beat.
func (a *Analyser) placeFeet() {
	w := a.window()
	floor, segment := 0, -1
	for _, c := range a.peaks {
		s := a.segments[c.segment]
		if c.segment != segment {
			segment, floor = c.segment, s.lo
		}
		steepest := a.steepest(max(s.lo+1, c.at-w), min(c.at, s.hi-2))
		lowest := a.lowestBefore(steepest, max(floor, steepest-int(onsetSearchS*a.rate)), float64(ripple*c.sum))
		floor = c.at
		if steepest < lowest+2 || steepest > s.hi-3 || lowest == s.lo && !a.startsAtFoot(s.lo, steepest) {
			continue
		}
		b := beat{segment: c.segment, lowest: lowest, onset: float64(lowest), minimum: a.wave[lowest], correlation: math.NaN()}
		if lowest > s.lo {
			b.onset, b.minimum = a.vertex(lowest)
		}
		b.foot = a.tangentFoot(steepest, b.minimum)
		if !(b.foot >= max(b.onset, float64(s.lo+1)) && b.foot <= float64(steepest)) {
			continue // noise: the tangent does not meet the minimum on the way up
		}
		if n := len(a.beats); n > 0 && a.beats[n-1].segment == b.segment {
			previous := &a.beats[n-1]
			previous.period, previous.complete = b.foot-previous.foot, true
		}
		a.beats = append(a.beats, b)
	}
}

// startsAtFoot reports whether the wave is nearly level at the first sample of
// a segment.
func (a *Analyser) startsAtFoot(first, steepest int) bool {
	return 2*(a.wave[first+1]-a.wave[first]) <= startSlope*(a.wave[steepest+1]-a.wave[steepest-1])
}

// steepest returns the sample with the largest central difference in from..to.
func (a *Analyser) steepest(from, to int) int {
	best, most := from, math.Inf(-1)
	for i := from; i <= to; i++ {
		if d := a.wave[i+1] - a.wave[i-1]; d > most {
			best, most = i, d
		}
	}
	return best
}

// lowestBefore walks back from a sample of the upstroke to the pressure
// minimum, over ripples but not over a true rise, and not beyond limit.
func (a *Analyser) lowestBefore(from, limit int, ripple float64) int {
	lowest := from
	for i := from - 1; i >= limit; i-- {
		switch v := a.wave[i]; {
		case v < a.wave[lowest]:
			lowest = i
		case v > a.wave[lowest]+ripple:
			return lowest
		}
	}
	return lowest
}

// vertex returns place and height of the parabola through a sample that is an
// extreme and its two neighbours.
func (a *Analyser) vertex(i int) (position, height float64) {
	p, q, r := a.wave[i-1], a.wave[i], a.wave[i+1]
	curvature := p - 2*q + r
	if curvature == 0 {
		return float64(i), q
	}
	shift := (p - r) / (2 * curvature)
	if !(math.Abs(shift) <= 1) {
		return float64(i), q // the minimum lies at the limit of the search, not between its neighbours
	}
	return float64(i) + shift, q - float64((p-r)*shift)/4
}

// tangentFoot returns where the tangent at the steepest point of the upstroke
// meets the level of the minimum before it. The steepest point lies between
// samples, at the vertex of the parabola through three central differences;
// the pressure there follows by integrating that parabola.
func (a *Analyser) tangentFoot(i int, minimum float64) float64 {
	y := a.wave
	before, here, after := (y[i]-y[i-2])/2, (y[i+1]-y[i-1])/2, (y[i+2]-y[i])/2
	curvature := before - 2*here + after
	shift := 0.0
	if curvature < 0 {
		shift = max(-0.5, min(0.5, (before-after)/(2*curvature)))
	}
	slope := here + float64((after-before)/2*shift) + float64(curvature/2*shift*shift)
	pressure := y[i] + float64(here*shift) + float64((after-before)/4*shift*shift) + float64(curvature/6*shift*shift*shift)
	return float64(i) + shift - (pressure-minimum)/slope
}
