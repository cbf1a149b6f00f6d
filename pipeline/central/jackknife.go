package central

import "math"

// Errors are standard errors of one recording: its precision from beat to beat,
// and nothing of what calibration, cuff or transfer function do to it. NaN where
// the index is absent, where there are fewer than two beats, and for indices of
// a landmark that one beat moves by more than 10 ms.
type Errors struct {
	Beats                int
	SBP, DBP, MAP, PP    float64
	AugmentationPressure float64
	AugmentationIndexPct float64 // also of the index at 75 bpm, heart rate held
}

// leftOut is what the average without one beat gives, in its own unit.
type leftOut struct {
	low, high, mean       float64 // peripheral
	sbp, dbp, early, late float64 // aortic
}

// Jackknife holds the averages that leave out one beat each. It belongs to the
// Workspace that made it and holds until that makes the next.
type Jackknife struct {
	values []leftOut
	rows   [][indexCount]float64 // scratch of Errors
	probe  probe
}

// Jackknife works out what each average without one beat of the stack gives;
// stack holds the beats on one grid with stepS between samples, t the transfer
// function of their average and artery where they come from.
//
// Every index is a function of a few linear functionals of the wave, and the
// transfer function is linear, so each beat costs a sum over its samples for each
// of them. The shoulder follows by one Newton step from that of the average (the
// error is of second order in 1/number of beats), and neither jumps to another one
// nor finds a new transfer function.
func (w *Workspace) Jackknife(stack [][]float64, stepS float64, t Transfer, artery string) *Jackknife {
	if len(stack) == 0 {
		return &Jackknife{}
	}
	b := Beat{Wave: make([]float64, len(stack[0])), StepS: stepS, Artery: artery}
	for _, beat := range stack {
		for i, v := range beat {
			b.Wave[i] += v
		}
	}
	for i := range b.Wave {
		b.Wave[i] /= float64(len(stack))
	}
	return w.JackknifeOf(stack, b, &Estimate{Transfer: t, Wave: w.Apply(t, b.Wave, b.period(), nil)})
}

// JackknifeOf is Jackknife for the average b of the stack and its estimate e,
// which went through a transfer function.
func (w *Workspace) JackknifeOf(stack [][]float64, b Beat, e *Estimate) *Jackknife {
	j := &w.jackknife
	j.values = j.values[:0]
	if len(stack) < 2 {
		return j
	}
	m := w.measure(e, b.StepS)
	if math.IsNaN(m.FootS) {
		return j
	}
	p := &j.probe
	p.prepare(w, m, e.Transfer, b)
	for _, beat := range stack {
		j.values = append(j.values, p.without(beat, len(stack)))
	}
	return j
}

// Errors returns the standard errors after calibration by kind: sbp_dbp or
// map_dbp with the cuff's upper (SBP or MAP) and lower pressure, so that the
// scale of each average without one beat is its own, or as_recorded.
func (j *Jackknife) Errors(kind string, upper, lower float64) Errors {
	n := float64(len(j.values))
	var sum, square [indexCount]float64
	j.rows = j.rows[:0]
	for i := range j.values {
		j.rows = append(j.rows, j.values[i].indices(kind, upper, lower))
		for k, x := range j.rows[i] {
			sum[k] += x
		}
	}
	for i := range j.rows {
		for k, x := range j.rows[i] {
			d := x - sum[k]/n
			square[k] += float64(d * d)
		}
	}
	var se [indexCount]float64
	for k := range se {
		se[k] = math.Sqrt(float64((n - 1) / n * square[k])) // NaN without beats
	}
	return Errors{
		Beats: len(j.values), SBP: se[0], DBP: se[1], MAP: se[2], PP: se[3],
		AugmentationPressure: se[4], AugmentationIndexPct: se[5],
	}
}

// indexCount is how many indices have an error.
const indexCount = 6

// indices returns the indices of one average in the order of Errors.
func (v *leftOut) indices(kind string, upper, lower float64) [indexCount]float64 {
	scale, offset := 1.0, 0.0
	switch kind {
	case "sbp_dbp":
		scale = (upper - lower) / (v.high - v.low)
		offset = lower - float64(scale*v.low)
	case "map_dbp":
		scale = (upper - lower) / (v.mean - v.low)
		offset = lower - float64(scale*v.low)
	}
	mmhg := func(x float64) float64 { return offset + float64(scale*x) }
	return [indexCount]float64{
		mmhg(v.sbp), mmhg(v.dbp), mmhg(v.mean), scale * (v.sbp - v.dbp),
		scale * (v.late - v.early), 100 * (v.late - v.early) / (v.sbp - v.dbp),
	}
}
