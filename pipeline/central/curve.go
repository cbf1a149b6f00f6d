package central

import "math"

// gridPoints is how many points of a period the derivatives are worked out at:
// of a beat of a second one every 4 ms, where the highest harmonic takes 83 ms.
const gridPoints = 256

// The windows in which landmarks are looked for, seconds after the foot. The
// end of ejection is expected at 0.3·√period (feature windows of a published
// quality check). The lower bound is four standard deviations below the mean of
// Weissler 1968 (from memory), the upper one half as much again as expected.
const (
	shoulderFromS     = 0.060 // no earlier shoulder: common practice
	ejectionFactor    = 0.3
	ejectionFrom      = 0.9
	ejectionTo        = 1.5
	incisuraBeforeS   = 0.020 // the lowest point of the incisura lies no further before the sharpest bend
	incisuraWithinS   = 0.060 // and no further after it
	peakFromShoulderS = 0.020 // nearer than that two peaks are one
)

// curve is the smoothed wave on a grid: first, second and fourth derivative of
// its harmonics below 12 Hz, each with its gain RollOff. The first is looked at
// everywhere, the others where a landmark is looked for.
type curve struct {
	step   float64
	d1     []float64
	d2, d4 derivative
}

// derivative is one at the points of the grid, worked out where it is asked for.
type derivative struct {
	fine     *fourier
	cos, sin []float64 // of whole blocks of harmonics, zero beyond the last
}

func (d *derivative) at(j int) float64 { return d.fine.point(d.cos, d.sin, gridPoints, j%gridPoints) }

// curve works out the derivatives of one period.
func (w *Workspace) curve(wave []float64, length float64) curve {
	s := &w.smooth
	s.resize(harmonicsBelow(rollOffToHz, length, len(wave)))
	w.wave.analyse(wave, length, s)
	return w.curveOf(s)
}

// curveOf is curve for a wave that is known by its harmonics; it smooths them.
func (w *Workspace) curveOf(s *series) curve {
	whole := (len(s.cos) + together - 1) / together * together
	for i := range w.derivatives {
		d := &w.derivatives[i]
		d.fine = &w.fine
		d.cos, d.sin = resized(d.cos, whole), resized(d.sin, whole)
		clear(d.cos[len(s.cos):])
		clear(d.sin[len(s.cos):])
	}
	d1, d2, d4 := &w.derivatives[0], &w.derivatives[1], &w.derivatives[2]
	base := 2 * math.Pi / s.period
	for k := range s.cos {
		g := RollOff(float64(k+1) / s.period)
		a, b := float64(s.cos[k]*g), float64(s.sin[k]*g)
		s.cos[k], s.sin[k] = a, b
		omega := base * float64(k+1)
		square := float64(omega * omega)
		fourth := float64(square * square)
		d1.cos[k], d1.sin[k] = float64(omega*b), -float64(omega*a)
		d2.cos[k], d2.sin[k] = -float64(square*a), -float64(square*b)
		d4.cos[k], d4.sin[k] = float64(fourth*a), float64(fourth*b)
	}
	w.slope = resized(w.slope, gridPoints)
	w.fine.synthesise(&series{cos: d1.cos, sin: d1.sin}, w.slope)
	return curve{step: s.period / gridPoints, d1: w.slope, d2: *d2, d4: *d4}
}

// foot returns the time at which the tangent of the steepest rise meets the
// level of the minimum before it, the steepest slope and its time.
func (c *curve) foot(p *period) (at, slope, steepest float64) {
	best, most := 0, c.d1[0]
	for j, v := range c.d1 {
		if v > most {
			best, most = j, v
		}
	}
	shift, slope := parabola(c.d1[(best+gridPoints-1)%gridPoints], c.d1[best], c.d1[(best+1)%gridPoints])
	steepest = (float64(best) + shift) * c.step
	return p.wrap(steepest - (p.at(steepest)-p.lowestBefore(steepest))/slope), slope, steepest
}

// firstCrossing returns the first time after the foot, in [from, to), at which d
// goes through zero: from above where sign is −1, from below where it is +1. NaN
// where there is none.
func (c *curve) firstCrossing(d func(j int) float64, sign, foot, from, to float64) float64 {
	first := int(math.Floor((foot + from) / c.step))
	last := int(math.Ceil((foot + to) / c.step))
	if first >= last {
		return math.NaN()
	}
	a := sign * d(first)
	for j := first; j < last; j++ {
		b := sign * d(j+1)
		if a < 0 && b >= 0 {
			if t := (float64(j)+a/(a-b))*c.step - foot; t >= from && t < to {
				return t
			}
		}
		a = b
	}
	return math.NaN()
}

// slope is the first derivative at a point of the grid.
func (c *curve) slope(j int) float64 { return c.d1[j%gridPoints] }

// endOfEjection returns the time from the foot to the incisura: the sharpest
// upward bend of the wave after its peak, in the window around 0.3·√period, and
// near it the lowest point of the wave itself where it has one (valley). NaN
// where the wave has none.
func (c *curve) endOfEjection(p *period, foot, peak float64) (at float64, valley bool) {
	expected := ejectionFactor * math.Sqrt(p.length)
	from := max(ejectionFrom*expected, peak)
	to := min(ejectionTo*expected, 0.9*p.length)
	best, bend := math.NaN(), math.Inf(-1)
	first := int(math.Ceil((foot + from) / c.step))
	var a, b, d float64
	for j := first; float64(j)*c.step < foot+to; j++ {
		if j == first {
			b, d = c.d2.at(j+gridPoints-1), c.d2.at(j)
		}
		a, b, d = b, d, c.d2.at(j+1)
		if b <= a || b < d || b <= bend {
			continue
		}
		shift, _ := parabola(a, b, d)
		best, bend = (float64(j)+shift)*c.step-foot, b
	}
	if math.IsNaN(best) || bend <= 0 {
		return math.NaN(), false
	}
	if lowest, ok := p.valley(foot+best-incisuraBeforeS, foot+best+incisuraWithinS); ok {
		return p.since(foot, lowest), true
	}
	return best, false
}

// earlyShoulder returns the time from the foot to the shoulder before the peak:
// what comes first, not before 60 ms, of an early peak and of the place at which
// the fourth derivative crosses zero from above. That direction was chosen by
// test on waves of known reflection time: on the upstroke it marks the flattest
// place between the shoulder and the rise of the reflected wave. NaN where there
// is none.
func (c *curve) earlyShoulder(foot, peak float64) (at float64, isPeak bool) {
	at = c.firstCrossing(c.d4.at, -1, foot, shoulderFromS, peak)
	if top := c.firstCrossing(c.slope, -1, foot, shoulderFromS, peak-peakFromShoulderS); !math.IsNaN(top) && !(top > at) {
		return top, true
	}
	return at, false
}

// lateShoulder returns the time from the foot to the shoulder between the peak
// and the end of ejection: a late peak where the wave has one, else the first
// place at which the fourth derivative crosses zero from below, which marks
// where the fall is slowest. NaN where there is none.
func (c *curve) lateShoulder(foot, peak, end float64) (at float64, isPeak bool) {
	if at = c.firstCrossing(c.slope, -1, foot, peak+peakFromShoulderS, end); !math.IsNaN(at) {
		return at, true
	}
	return c.firstCrossing(c.d4.at, +1, foot, peak, end), false
}
