package pulse

import (
	"math"
	"slices"
)

// Times of the slope sum method (Zong, Heldt, Moody, Mark 2003, Computers in
// Cardiology 30:259-62): window of the sum and refractory time, s.
const (
	slopeWindowS = 0.128
	refractoryS  = 0.25
)

// Thresholds. The published ones are in mmHg or in units of one converter;
// tonometry has no scale, so these are fractions of the slope sum of the beats
// around. A third is the published share (threshold Ta/3, where Ta follows the
// slope sum of the beats found); the others are own choices.
const (
	thresholdShare = 1.0 / 3 // of the level around
	levelFloor     = 0.25    // lowest level around, as a share of the level of the whole recording, the third quartile of the maxima
	strongShare    = 0.6     // candidates above this share of the level give the usual interval
	secondaryTime  = 0.6     // a candidate nearer to a stronger one than this share of the usual interval …
	secondaryShare = 0.65    // … and weaker than this share of it is its dicrotic wave, not a beat
	blockS         = 1.5     // the level is a median of maxima over blocks this long: one beat at 40 per minute
	blocksAround   = 3       // on each side
	negligible     = 1e-9    // smallest level relative to the largest sample: below is rounding
)

// block is a stretch of wave in which the largest slope sum was sought.
type block struct {
	segment    int
	start, end int // positions in wave
	peak       float64
	level      float64 // usual peak around
}

// candidate is a maximum of the slope sum function.
type candidate struct {
	segment  int
	at       int     // position in wave
	sum      float64 // slope sum there: the rise of pressure within the window
	relative float64 // sum / level around
	dropped  bool
}

// findUpstrokes fills peaks with the upstrokes of all segments, in order.
func (a *Analyser) findUpstrokes() *Failure {
	a.slopeSums()
	level := a.levels()
	if !(level > negligible*max(math.Abs(a.low), math.Abs(a.high))) {
		return fail(CodeFlat, "no pulse: for three quarters of the time pressure does not rise")
	}
	a.pickPeaks()
	a.dropSecondary()
	return nil
}

// window returns the length of the slope window in samples of wave.
func (a *Analyser) window() int { return max(2, int(math.Round(slopeWindowS*a.rate))) }

// slopeSums computes the slope sum function: at each sample the sum of all
// rises within the window before it.
func (a *Analyser) slopeSums() {
	w := a.window()
	size := max(1, int(blockS*a.rate))
	a.slope = grow(a.slope, len(a.wave))
	a.blocks = a.blocks[:0]
	for segment, s := range a.segments {
		// A window of zeros stands before the rises, so that from the first sample
		// on as many go out as come in.
		a.rises = grow(a.rises, w+s.hi-s.lo)
		clear(a.rises[:w])
		sum, previous := 0.0, a.wave[s.lo]
		for from := s.lo; from < s.hi; from += size {
			b := block{segment: segment, start: from, end: min(from+size, s.hi)}
			out := a.rises[from-s.lo:]
			sum, b.peak = sumRises(a.slope[from:b.end], a.wave[from:b.end], previous, out[w:], out, sum)
			previous = a.wave[b.end-1]
			a.blocks = append(a.blocks, b)
		}
	}
}

// sumRises takes the rises of a block of wave in, and what leaves the window out of
// their sum, which z keeps for each sample. What comes in and what goes out are put
// together first, so that each sum waits for one addition alone.
func sumRises(z, wave []float64, previous float64, in, out []float64, sum float64) (last, largest float64) {
	in, out, z = in[:len(wave)], out[:len(wave)], z[:len(wave)]
	largest = math.Inf(-1)
	for i, v := range wave {
		rise := v - previous
		if !(rise > 0) {
			rise = 0
		}
		previous, in[i] = v, rise
		sum += rise - out[i]
		z[i] = sum
		if sum > largest {
			largest = sum
		}
	}
	return sum, largest
}

// levels sets the level around each block, a median, so that no artefact moves
// it, and returns the level of the whole recording, a third quartile, so that
// it is that of the pulse even where the sensor was off for half of the time.
func (a *Analyser) levels() float64 {
	a.scratch = a.scratch[:0]
	for _, b := range a.blocks {
		a.scratch = append(a.scratch, b.peak)
	}
	slices.Sort(a.scratch)
	whole := a.scratch[3*len(a.scratch)/4]
	var near [2*blocksAround + 1]float64
	for i := range a.blocks {
		n := 0
		for _, b := range a.blocks[max(0, i-blocksAround):min(len(a.blocks), i+blocksAround+1)] {
			near[n] = b.peak
			n++
		}
		a.blocks[i].level = max(median(near[:n]), levelFloor*whole)
	}
	return whole
}

// pickPeaks collects the largest slope sum of each stretch above the
// threshold. A stretch that begins within the refractory time after the peak
// of the one before belongs to the same upstroke.
func (a *Analyser) pickPeaks() {
	a.peaks = a.peaks[:0]
	refractory := int(refractoryS * a.rate)
	for _, b := range a.blocks {
		threshold := thresholdShare * b.level
		z := a.slope[b.start:b.end]
		for i := 0; ; i++ {
			for i < len(z) && z[i] < threshold {
				i++
			}
			if i >= len(z) {
				break
			}
			crossing := b.start + i
			open := i == 0 && crossing > a.segments[b.segment].lo && a.slope[crossing-1] >= threshold
			c := candidate{segment: b.segment, at: crossing, sum: z[i]}
			for ; i < len(z) && z[i] >= threshold; i++ {
				if z[i] > c.sum {
					c.at, c.sum = b.start+i, z[i]
				}
			}
			c.relative = c.sum / b.level
			last := len(a.peaks) - 1
			switch {
			case last < 0 || a.peaks[last].segment != c.segment || !open && crossing-a.peaks[last].at >= refractory:
				a.peaks = append(a.peaks, c)
			case c.sum > a.peaks[last].sum:
				a.peaks[last] = c
			}
		}
	}
}

// dropSecondary takes out dicrotic upstrokes: candidates that stand too near
// to a much stronger one.
func (a *Analyser) dropSecondary() {
	a.scratch = a.scratch[:0]
	last := -1
	for i, c := range a.peaks {
		if c.relative < strongShare {
			continue
		}
		if last >= 0 && a.peaks[last].segment == c.segment {
			a.scratch = append(a.scratch, float64(c.at-a.peaks[last].at))
		}
		last = i
	}
	if len(a.scratch) == 0 {
		return
	}
	near := secondaryTime * median(a.scratch)
	for i := range a.peaks {
		c := &a.peaks[i]
		for j := max(0, i-1); j <= min(len(a.peaks)-1, i+1); j++ {
			d := a.peaks[j]
			if d.segment == c.segment && math.Abs(float64(d.at-c.at)) < near && c.sum < secondaryShare*d.sum {
				c.dropped = true
			}
		}
	}
	a.peaks = slices.DeleteFunc(a.peaks, func(c candidate) bool { return c.dropped })
}

// median returns the median of v, the mean of the middle two where there is an
// even number of them, and NaN for none. It sorts v.
func median(v []float64) float64 {
	n := len(v)
	if n == 0 {
		return math.NaN()
	}
	sort(v)
	if n%2 == 1 {
		return v[n/2]
	}
	return v[n/2-1]/2 + v[n/2]/2
}

// few is up to how many values sort moves one by one.
const few = 12

// sort sorts v, which holds no NaN. Most of what is sorted here are the five beats
// around each beat.
func sort(v []float64) {
	if len(v) > few {
		slices.Sort(v)
		return
	}
	for i := 1; i < len(v); i++ {
		x, k := v[i], i
		for ; k > 0 && v[k-1] > x; k-- {
			v[k] = v[k-1]
		}
		v[k] = x
	}
}
