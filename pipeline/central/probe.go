package central

import "math"

// probe follows the indices of an average when one beat is taken out of it.
type probe struct {
	gains             []complex128
	period            float64
	lowAt, highAt     int        // samples of the peripheral wave
	moving            [2]float64 // window of the moving average, s; empty where there is none
	average, aortic   series
	highest, lowest   functional
	level, slope      functional // at the steepest rise
	shoulder, turn    functional // value, and what is zero at the shoulder
	end, systolic     functional // what is zero at the end of ejection, and the integral to it
	hasEnd, hasTurn   bool
	early             bool
	base              leftOut
	foot              float64
	rise, steepness   float64 // of the tangent
	shoulderSlope     float64
	turnSlope         float64 // change of turn with time
	endSlope          float64
	endLevel, footLvl float64
}

// newProbe prepares the functionals of the average wave b; m is what Measure
// made of its aortic wave.
func newProbe(w *Workspace, m *Indices, t Transfer, b Beat) *probe {
	periodS := b.period()
	q := &probe{period: periodS, foot: m.FootS, steepness: m.MaximumSlope, early: m.Type != "C"}
	q.gains = gains(t, periodS, len(b.Wave))
	q.average.resize(len(q.gains))
	w.wave.analyse(b.Wave, periodS, &q.average)
	q.aortic.through(&q.average, q.gains)
	q.peripheral(b)
	q.base.sbp, q.base.dbp = m.SBP, m.DBP
	q.base.early, q.base.late, q.base.shoulder = m.EarlySystolic, m.LateSystolic, m.ShoulderMS/1000
	q.base.ejection, q.base.systolic = m.EjectionMS/1000, m.SystolicIntegral
	q.highest, _ = q.of(q.moment(m.marks.highest), 0, false)
	q.lowest, _ = q.of(q.moment(m.marks.lowest), 0, false)
	steepest := q.moment(m.marks.steepest)
	var top float64
	q.level, top = q.of(steepest, 0, false)
	q.rise = top - m.DBP
	q.slope, _ = q.of(steepest, 1, true)
	q.marks(m)
	return q
}

// marks prepares shoulder and end of ejection.
func (q *probe) marks(m *Indices) {
	if at := m.FootS + m.ShoulderMS/1000; !math.IsNaN(at) {
		q.hasTurn = true
		order := 4
		if m.marks.shoulderIsPeak {
			order = 1
		}
		shoulder := q.moment(at)
		q.shoulder, _ = q.of(shoulder, 0, false)
		_, q.shoulderSlope = q.of(shoulder, 1, false)
		q.turn, _ = q.of(shoulder, order, true)
		_, q.turnSlope = q.of(shoulder, order+1, true)
	}
	if at := m.FootS + m.EjectionMS/1000; !math.IsNaN(at) {
		q.hasEnd = true
		order := 3
		if m.marks.endIsValley {
			order = 1
		}
		end := q.moment(at)
		q.end, _ = q.of(end, order, !m.marks.endIsValley)
		_, q.endSlope = q.of(end, order+1, !m.marks.endIsValley)
		_, q.endLevel = q.of(end, 0, false)
		_, q.footLvl = q.of(q.moment(m.FootS), 0, false)
		q.systolic = integral(m.FootS, at, q.period, len(q.gains)).behind(q.gains)
	}
}

func (q *probe) moment(t float64) *moment {
	m := momentAt(t, q.period, len(q.gains))
	return &m
}

// of returns a derivative of the aortic wave at a moment as a functional of the
// peripheral one, and its value for the average.
func (q *probe) of(m *moment, order int, smooth bool) (functional, float64) {
	f := m.derivative(order, smooth)
	value := f.of(&q.aortic)
	return f.behind(q.gains), value
}

// peripheral finds what calibration and moving average need.
func (q *probe) peripheral(b Beat) {
	for i, v := range b.Wave {
		if v < b.Wave[q.lowAt] {
			q.lowAt = i
		}
		if v > b.Wave[q.highAt] {
			q.highAt = i
		}
	}
	q.base.low, q.base.high, q.base.mean = b.Wave[q.lowAt], b.Wave[q.highAt], mean(b.Wave)
	q.base.moving = math.NaN()
	if from, value, ok := movingWindow(b.Wave, b.StepS, b.Artery); ok {
		q.base.moving = value
		q.moving = [2]float64{from, from + window(b.Artery)}
	}
}

// without returns what the average of n beats gives without one of them.
func (q *probe) without(w *Workspace, beat []float64, n int) leftOut {
	s := &w.spectrum
	s.resize(len(q.gains))
	w.wave.analyse(beat, q.period, s)
	change := func(f *functional) float64 { return (f.of(&q.average) - f.of(s)) / float64(n-1) }
	less := func(average, own float64) float64 { return average + (average-own)/float64(n-1) }
	v := q.base
	v.low, v.high, v.mean = less(v.low, beat[q.lowAt]), less(v.high, beat[q.highAt]), less(v.mean, s.mean)
	if !math.IsNaN(v.moving) {
		p := period{wave: beat, step: q.period / float64(len(beat)), length: q.period}
		width := q.moving[1] - q.moving[0]
		v.moving = less(v.moving, p.integral(q.moving[0], width)/width)
	}
	v.sbp += change(&q.highest)
	low := change(&q.lowest)
	v.dbp += low
	foot := float64(q.rise*change(&q.slope))/float64(q.steepness*q.steepness) - (change(&q.level)-low)/q.steepness
	q.late(&v, change, foot)
	if q.hasEnd {
		end := stable(-change(&q.end) / q.endSlope)
		v.ejection += end - foot
		v.systolic += change(&q.systolic) + float64(q.endLevel*end) - float64(q.footLvl*foot)
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

// late moves shoulder, early and late systolic pressure.
func (q *probe) late(v *leftOut, change func(*functional) float64, foot float64) {
	if !q.hasTurn {
		return
	}
	at := stable(-change(&q.turn) / q.turnSlope)
	v.shoulder += at - foot
	pressure := change(&q.shoulder) + float64(q.shoulderSlope*at)
	if q.early {
		v.early += pressure
		v.late = v.sbp
	} else {
		v.early = v.sbp
		v.late += pressure
	}
}
