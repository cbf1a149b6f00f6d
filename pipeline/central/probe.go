package central

import "math"

// What is followed of the aortic wave when one beat is taken out of the average.
// Each is linear in the peripheral wave.
const (
	atHighest  = iota
	atLowest   // the values where the average has its extremes
	atShoulder // the value at the shoulder of the average
	atTurn     // what is zero there
	followed
)

// weights say, sample by sample of a peripheral wave, how much it adds to each of
// them: a beat then costs a sum over its samples, and none for each harmonic.
type weights [][followed]float64

// probe follows the indices of an average when one beat is taken out of it. It
// belongs to a Workspace, which reuses it.
type probe struct {
	aortic        series     // of the average
	functional    functional // scratch, as is what follows
	moment        moment
	samples       []float64
	weights       weights
	own           [followed]float64 // of the average
	lowAt, highAt int               // samples of the peripheral wave
	early         bool
	hasTurn       bool
	base          leftOut
	shoulderSlope float64
	turnSlope     float64 // change of turn with time
}

// prepare makes the weights for the average wave b; m is what Measure made of its
// aortic wave.
func (q *probe) prepare(w *Workspace, m *Indices, t Transfer, b Beat) {
	periodS, n := b.period(), len(b.Wave)
	gains := w.gains(t, periodS, n)
	q.aortic.through(w.harmonics(b, len(gains)), gains)
	q.weights = resized(q.weights, n)
	q.samples = resized(q.samples, n)
	q.peripheral(b)
	q.base.sbp, q.base.dbp, q.base.early, q.base.late = m.SBP, m.DBP, m.EarlySystolic, m.LateSystolic
	q.early = m.Type != "C"
	// What w.gains gave is w's, and nothing below asks for others.
	q.moment.set(m.marks.highest, periodS, len(gains))
	q.follow(w, atHighest, 0, false, gains)
	q.moment.set(m.marks.lowest, periodS, len(gains))
	q.follow(w, atLowest, 0, false, gains)
	at := m.FootS + m.ShoulderMS/1000
	if q.hasTurn = !math.IsNaN(at); q.hasTurn {
		order := 4
		if m.marks.shoulderIsPeak {
			order = 1
		}
		q.moment.set(at, periodS, len(gains))
		q.follow(w, atShoulder, 0, false, gains)
		q.follow(w, atTurn, order, true, gains)
		q.shoulderSlope = q.derivative(1, false).of(&q.aortic)
		q.turnSlope = q.derivative(order+1, true).of(&q.aortic)
	}
	q.own, _ = q.weights.of(b.Wave)
}

// derivative is one of the aortic wave at the moment.
func (q *probe) derivative(order int, smooth bool) *functional {
	q.moment.derivative(order, smooth, &q.functional)
	return &q.functional
}

// follow turns a derivative of the aortic wave at the moment into weights of the
// samples of the peripheral one: its harmonics are sums over them.
func (q *probe) follow(w *Workspace, which, order int, smooth bool, gains []complex128) {
	f := q.derivative(order, smooth)
	f.behind(gains)
	n := float64(len(q.samples))
	for k := range f.cos {
		f.cos[k], f.sin[k] = 2*f.cos[k]/n, 2*f.sin[k]/n
	}
	w.wave.synthesise(&series{mean: f.mean / n, cos: f.cos, sin: f.sin}, q.samples)
	for j, x := range q.samples {
		q.weights[j][which] = x
	}
}

// peripheral finds what calibration needs.
func (q *probe) peripheral(b Beat) {
	q.lowAt, q.highAt = 0, 0
	for i, v := range b.Wave {
		if v < b.Wave[q.lowAt] {
			q.lowAt = i
		}
		if v > b.Wave[q.highAt] {
			q.highAt = i
		}
	}
	q.base.low, q.base.high, q.base.mean = b.Wave[q.lowAt], b.Wave[q.highAt], mean(b.Wave)
}

// of returns what is followed of a wave, and its mean.
func (p weights) of(wave []float64) (of [followed]float64, mean float64) {
	var a, b, c, d, sum float64
	wave = wave[:len(p)]
	for j := range p {
		r, x := &p[j], wave[j]
		a += float64(r[0] * x)
		b += float64(r[1] * x)
		c += float64(r[2] * x)
		d += float64(r[3] * x)
		sum += x
	}
	return [followed]float64{a, b, c, d}, sum / float64(len(p))
}

// without returns what the average of n beats gives without one of them.
func (q *probe) without(beat []float64, n int) leftOut {
	of, mean := q.weights.of(beat)
	change := func(which int) float64 { return (q.own[which] - of[which]) / float64(n-1) }
	less := func(average, own float64) float64 { return average + (average-own)/float64(n-1) }
	v := q.base
	v.low, v.high, v.mean = less(v.low, beat[q.lowAt]), less(v.high, beat[q.highAt]), less(v.mean, mean)
	v.sbp += change(atHighest)
	v.dbp += change(atLowest)
	if !q.hasTurn {
		return v
	}
	pressure := change(atShoulder) + float64(q.shoulderSlope*stable(-change(atTurn)/q.turnSlope))
	if q.early {
		v.early += pressure
		v.late = v.sbp
	} else {
		v.early = v.sbp
		v.late += pressure
	}
	return v
}

// unstableS is how far one beat may move a landmark of the average, s. Where it
// moves it further (our own limit), the landmark is that beat's.
const unstableS = 0.010

// stable returns a shift, NaN where it is larger than a landmark may move.
func stable(shift float64) float64 {
	if math.Abs(shift) > unstableS {
		return math.NaN()
	}
	return shift
}
