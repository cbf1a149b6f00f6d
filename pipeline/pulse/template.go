package pulse

import "math"

// templatePoints is the number of points of the template beat over the usual
// period: one every 10 to 20 ms, enough for a correlation.
const templatePoints = 64

// templateRounds bounds the number of times the template is made anew from
// the beats that agree with it.
const templateRounds = 4

// judgeShapes correlates each complete beat with the template beat, the mean
// of the beats without a fault after each was brought to mean 0 and norm 1, so
// that a large artefact weighs no more than a beat. Beats are aligned at their
// feet and compared over the shorter of their own period and the usual one
// (samples of wave). Beats below the limit are left out and the template is
// made again until it holds still.
func (a *Analyser) judgeShapes(period float64) {
	n := len(a.complete)
	a.shapes = grow(a.shapes, n*templatePoints)
	for k, i := range a.complete {
		a.sampleShape(a.shape(k), &a.beats[i], period/templatePoints)
	}
	for range templateRounds {
		a.makeTemplate(period)
		changed := false
		for k, i := range a.complete {
			b := &a.beats[i]
			b.correlation = a.correlation(a.shape(k)[:points(b.period, period)])
			bad := !(b.correlation >= leastCorrelation)
			switch {
			case b.reason == "" && bad:
				b.reason, changed = RuleTemplate, true
			case b.reason == RuleTemplate && !bad:
				b.reason, changed = "", true
			}
		}
		if !changed {
			return
		}
	}
}

func (a *Analyser) shape(k int) []float64 {
	return a.shapes[k*templatePoints : (k+1)*templatePoints]
}

// points returns how many template points lie within a beat.
func points(own, usual float64) int {
	return max(0, min(templatePoints, int(templatePoints*own/usual)))
}

// sampleShape fills the part of shape that lies within b, from its foot on, by the
// nearest sample, and brings it to mean 0 and norm 1.
func (a *Analyser) sampleShape(shape []float64, b *beat, step float64) {
	shape = shape[:points(b.period, step*templatePoints)]
	sum := 0.0
	for j := range shape {
		at := b.foot + float64(float64(j)*step) + 0.5
		v := a.wave[int(at)]
		shape[j] = v
		sum += v
	}
	mean, norm := sum/float64(len(shape)), 0.0
	for j, v := range shape {
		v -= mean
		shape[j] = v
		norm += float64(v * v)
	}
	norm = math.Sqrt(norm)
	if !(norm > 0) {
		norm = 1
	}
	for j := range shape {
		shape[j] /= norm
	}
}

// makeTemplate averages the shapes of the beats without a fault, each over its
// own points. Where none is left the template is flat and agrees with nothing.
func (a *Analyser) makeTemplate(period float64) {
	var count [templatePoints]float64
	clear(a.template[:])
	for k, i := range a.complete {
		b := &a.beats[i]
		if b.reason != "" {
			continue
		}
		for j, v := range a.shape(k)[:points(b.period, period)] {
			a.template[j] += v
			count[j]++
		}
	}
	sum, squares := 0.0, 0.0
	for j := range a.template {
		a.template[j] /= max(1, count[j])
		sum += a.template[j]
		squares += float64(a.template[j] * a.template[j])
		a.sums[j], a.squares[j] = sum, squares
	}
}

// correlation returns Pearson's r of a shape, which has mean 0 and norm 1 or
// does not vary, with as many points of the template; 0 where one of them does
// not vary.
func (a *Analyser) correlation(shape []float64) float64 {
	n := len(shape)
	if n == 0 {
		return 0
	}
	product := 0.0
	for j, v := range shape {
		product += float64(v * a.template[j])
	}
	sum := a.sums[n-1]
	variation := a.squares[n-1] - float64(sum*sum)/float64(n)
	if !(variation > 0) {
		return 0
	}
	return max(-1, min(1, product/math.Sqrt(variation)))
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
