package pulse

import "math"

// The grid of the average beat has at least this many samples per second, so
// that the extremes of a coarsely sampled wave are met; own choice.
const leastGridHz = 200

// Start of the part of the beat that gives way when periods differ: 0.4 √T s
// after the foot, T in s, but no later than half the period. The end of
// ejection lies near 0.3 √T, so ejection and incisura stay as they were
// recorded. Own choice.
const (
	firmRoot  = 0.4
	firmShare = 0.5
)

// average fills the result from the accepted beats.
//
// All are put on one period T, the mean of theirs, aligned at their feet.
// Their first part keeps its time; the rest of diastole, where periods differ
// physiologically, is stretched or compressed evenly so that each next foot
// falls on T. (Without that, the shorter beats would bring their next upstroke
// into the average and blur the diastolic minimum, on which calibration
// rests.) Each beat loses the straight line that joins its foot to the next,
// turned about its middle: its mean stays, its end joins its start.
func (a *Analyser) average(r *Result) {
	sum := 0.0
	for i := range a.beats {
		if b := &a.beats[i]; b.reason == "" {
			sum += b.period
		}
	}
	period := sum / float64(r.Accepted) // samples of wave
	r.PeriodS = period / a.rate
	r.HeartRateBPM = 60 / r.PeriodS
	n := int(math.Round(r.PeriodS * max(a.rate, leastGridHz)))
	r.StepS = r.PeriodS / float64(n)
	a.stack = grow(a.stack, r.Accepted*n)
	a.rows = a.rows[:0]
	r.Average = make([]float64, n)
	if r.Resampling = BeatCubic; a.every > 1 {
		r.Resampling = DecimationBeatCubic
	}
	firm := min(firmShare*period, firmRoot*math.Sqrt(r.PeriodS)*a.rate)
	a.layGrid(n, period, firm)
	for i := range a.beats {
		if b := &a.beats[i]; b.reason == "" {
			at := len(a.rows) * n
			row := a.stack[at : at+n : at+n]
			a.fillRow(row, r.Average, b, period, firm)
			a.rows = append(a.rows, row)
		}
	}
	for j := range r.Average {
		r.Average[j] /= float64(r.Accepted)
	}
	r.Stack = a.rows
}

// layGrid sets the times of the n points that all beats share: from the foot on in
// the firm part, and behind its end in the part that gives way.
func (a *Analyser) layGrid(n int, period, firm float64) {
	a.early = grow(a.early, n)
	a.late = a.early[n:]
	step := period / float64(n)
	for j := range a.early {
		t := float64(float64(j) * step)
		if t > firm {
			if len(a.late) == 0 {
				a.late = a.early[j:]
			}
			t -= firm
		}
		a.early[j] = t
	}
	a.early = a.early[:n-len(a.late)]
}

// fillRow samples one beat on the common grid, takes its drift away and adds it to
// the sums over the beats.
func (a *Analyser) fillRow(row, sums []float64, b *beat, period, firm float64) {
	n := len(row)
	wave, foot := a.wave, b.foot
	for j, t := range a.early {
		row[j] = t + foot
	}
	stretch := (b.period - firm) / (period - firm)
	late := row[len(a.early):]
	for j, t := range a.late {
		late[j] = firm + float64(t*stretch) + foot
	}
	sums = sums[:n]
	drift := (between(wave, foot+b.period) - between(wave, foot)) / float64(n)
	line := -float64(drift * float64(n-1) / 2)
	i := int(foot)
	before := float64(i)
	for j, t := range row {
		// The sample before t is found from that of the point before: mostly it is
		// the next one, and converting t would take longer.
		for t >= before+1 {
			before++
			i++
		}
		for t < before {
			before--
			i--
		}
		y := wave[i-1 : i+3]
		v := cubic(y[0], y[1], y[2], y[3], t-before) - line
		row[j] = v
		sums[j] += v
		line += drift
	}
}

// between returns the wave between samples. From the foot of a complete beat to
// the next there is a sample before the two neighbours and one after them
// within the segment.
func between(wave []float64, position float64) float64 {
	i := int(position)
	return cubic(wave[i-1], wave[i], wave[i+1], wave[i+2], position-float64(i))
}

// cubic is the polynomial through q and r, 0 ≤ f ≤ 1 between them, with slopes
// from central differences (Catmull and Rom 1974).
func cubic(p, q, r, s, f float64) float64 {
	rise, slope := r-q, (r-p)/2
	bend := slope + (s-q)/2 - 2*rise
	return q + float64(f*(slope+float64(f*(rise-slope-bend+float64(f*bend)))))
}
