package central

import "math"

// Reservoir is an aortic wave taken as the sum of a reservoir pressure, which a
// windkessel would have, and an excess pressure. NaN with a note where the wave
// does not have it.
type Reservoir struct {
	Amplitude         float64 // largest reservoir pressure − DBP, mmHg
	ExcessAmplitude   float64 // largest excess pressure, mmHg
	ReservoirIntegral float64 // reservoir pressure − DBP over the period, mmHg·s
	ExcessIntegral    float64 // excess pressure over the period, mmHg·s
	SystolicRate      float64 // ks, 1/s
	DiastolicRate     float64 // kd = 1/(RC), 1/s
	Asymptote         float64 // P∞, mmHg
	Notes             []string
}

// The bounds of the fit.
const (
	asymptoteTo    = 0.95 // of DBP; from 0 (common practice)
	slowestDecay   = 0.1  // kd, 1/s
	fastestDecay   = 20.0
	slowestFilling = 1.0 // ks, 1/s
	fastestFilling = 200.0
	shortestDecay  = 0.15 // s: a shorter diastole does not tell kd from P∞
)

// The notes of the reservoir.
const (
	NoteReservoirNoEjection = "reservoir:no_end_of_ejection"
	NoteReservoirShort      = "reservoir:diastole_too_short"
	NoteReservoirNoDecay    = "reservoir:no_decay"
	NoteReservoirNoFilling  = "reservoir:no_filling_rate"
	NoteAsymptoteBound      = "reservoir:asymptote_at_its_bound"
)

// MeasureReservoir takes one period of a calibrated aortic wave apart; m is what
// Measure made of it.
//
// In diastole the reservoir is an exponential towards an asymptote, fitted from
// the end of ejection to 50 ms before the next foot; over the period it follows
// dPr/dt = ks·(P − Pr) − kd·(Pr − P∞) from DBP on, and ks is such that it meets
// the exponential at the end of ejection (Aguado-Sierra 2008, Proc Inst Mech Eng
// H 222:403-16; Parker and Hughes, arXiv 2404.10806). The asymptote is held
// between 0 and 95 % of DBP, and a note says where it lies on that bound. The
// fit is ill-conditioned where diastole is short, and the physical meaning is
// disputed (Alastruey 2010, DOI 10.1007/s10558-010-9109-9).
func MeasureReservoir(wave []float64, stepS float64, m *Indices) Reservoir {
	return NewWorkspace().MeasureReservoir(wave, stepS, m)
}

// MeasureReservoir is the function of the same name with reused memory.
func (w *Workspace) MeasureReservoir(wave []float64, stepS float64, m *Indices) Reservoir {
	n := math.NaN()
	r := Reservoir{Amplitude: n, ExcessAmplitude: n, ReservoirIntegral: n, ExcessIntegral: n, SystolicRate: n, DiastolicRate: n, Asymptote: n}
	if math.IsNaN(m.EjectionMS) {
		r.Notes = append(r.Notes, NoteReservoirNoEjection)
		return r
	}
	p := period{wave: wave, step: stepS, length: stepS * float64(len(wave))}
	end := m.EjectionMS / 1000
	d := &w.fall
	d.from, d.to = end, p.length-beforeNextFootS
	if d.to-d.from < shortestDecay {
		r.Notes = append(r.Notes, NoteReservoirShort)
		return r
	}
	d.take(&p, m.FootS)
	if !d.fit(asymptoteTo * m.DBP) {
		r.Notes = append(r.Notes, NoteReservoirNoDecay)
		return r
	}
	x := resized(w.shifted, len(wave))
	w.shifted = x
	p.from(m.FootS, x)
	ks, ok := d.filling(x, p.step, m.DBP)
	if !ok {
		r.Notes = append(r.Notes, NoteReservoirNoFilling)
		return r
	}
	if d.bound {
		r.Notes = append(r.Notes, NoteAsymptoteBound)
	}
	r.SystolicRate, r.DiastolicRate, r.Asymptote = ks, d.rate, d.asymptote
	r.integrate(x, p.step, m.DBP, d)
	return r
}

// integrate fills amplitudes and integrals.
func (r *Reservoir) integrate(x []float64, step, dbp float64, d *decayFit) {
	pressure := dbp
	r.Amplitude, r.ExcessAmplitude = 0, math.Inf(-1)
	reservoir, excess := 0.0, 0.0
	by := d.advance(r.SystolicRate, step)
	for j, v := range x {
		r.Amplitude = max(r.Amplitude, pressure-dbp)
		r.ExcessAmplitude = max(r.ExcessAmplitude, v-pressure)
		reservoir += pressure - dbp
		excess += v - pressure
		pressure = by.next(pressure, v, x[(j+1)%len(x)])
	}
	r.ReservoirIntegral, r.ExcessIntegral = float64(reservoir*step), float64(excess*step)
}
