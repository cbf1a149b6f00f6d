package central

import "math"

// Indices is what is measured on one aortic wave. NaN: the wave does not have
// it, and Notes says why as "index:reason".
type Indices struct {
	SBP, DBP, MAP, PP float64 // mmHg: largest, smallest, mean; SBP − DBP
	FormFactor        float64 // (MAP − DBP) / PP
	FootS             float64 // time of the foot by intersecting tangents after the first sample, s
	PeakMS            float64 // foot to the highest point
	MaximumSlope      float64 // steepest rise of the harmonics below 12 Hz, mmHg/s

	ShoulderMS               float64 // foot to the first shoulder or early peak; in type C to the late shoulder
	EarlySystolic            float64 // P1, mmHg
	LateSystolic             float64 // P2, mmHg
	AugmentationPressure     float64 // P2 − P1, mmHg; negative where the early one is higher
	AugmentationIndexPct     float64 // 100 · augmentation pressure / PP
	AugmentationIndexHR75Pct float64 // + 0.4 · (heart rate − 75)
	Type                     string  // A, B, C; empty where there is no shoulder

	EjectionMS        float64 // foot to the end of ejection
	SystolicIntegral  float64 // foot to the end of ejection, mmHg·s
	DiastolicIntegral float64 // end of ejection to the next foot, mmHg·s
	SupplyDemandPct   float64 // 100 · diastolic / systolic integral

	Notes []string

	marks landmarks
}

// landmarks is what the jackknife needs to follow the indices: times in s after
// the first sample and what marked them.
type landmarks struct {
	lowest, highest, steepest float64
	shoulderIsPeak            bool // the shoulder is a peak, not a zero of the fourth derivative
	endIsValley               bool // the end of ejection is a lowest point, not a bend
}

// The notes of Measure.
const (
	NoteNotFinite  = "wave:not_finite"
	NoteTooCoarse  = "wave:too_few_samples"
	NoteFlat       = "wave:flat"
	NoteNoEjection = "ejection_duration:no_incisura"
	NoteNoShoulder = "augmentation_index:no_shoulder"
)

// slopeAt75 is the change of the augmentation index with heart rate, points per
// bpm: Wilkinson 2000, J Physiol 525:263-70.
const slopeAt75 = 0.4

// boundaryAB parts type A from type B, % (from memory: common practice after
// Murgo 1980).
const boundaryAB = 12.0

// Measure measures one period of an aortic wave with stepS seconds between
// samples, in any rotation: times count from its own foot.
//
// The foot is where the tangent of the steepest rise meets the level of the
// preceding minimum. The peak and the minimum are refined by a parabola through
// three samples. The derivatives that mark shoulder and end of ejection are
// those of the harmonics below 12 Hz (RollOff). At least 16 samples are needed.
func Measure(wave []float64, stepS float64) Indices {
	return NewWorkspace().Measure(wave, stepS)
}

// Measure is the function of the same name with reused memory.
func (w *Workspace) Measure(wave []float64, stepS float64) Indices {
	return w.measureWave(wave, stepS, nil, false)
}

// measureWave is Measure for a wave that was made of harmonics, of which there are
// no others below 12 Hz; nil: they are worked out. Those that are given are smoothed.
// Where pressures are asked for alone, the end of ejection is looked for only if they
// need it.
func (w *Workspace) measureWave(wave []float64, stepS float64, harmonics *series, pressuresAlone bool) Indices {
	m := absent()
	switch {
	case !finite(wave) || !(stepS > 0) || math.IsInf(stepS, 1):
		m.Notes = append(m.Notes, NoteNotFinite)
		return m
	case len(wave) < 16:
		m.Notes = append(m.Notes, NoteTooCoarse)
		return m
	}
	p := period{wave: wave, step: stepS, length: float64(len(wave)) * stepS}
	lowest, highest := p.extreme(-1), p.extreme(+1)
	m.MAP = mean(wave)
	m.DBP, m.SBP = lowest.value, highest.value
	m.PP = m.SBP - m.DBP
	if !(m.PP > 0) {
		m.Notes = append(m.Notes, NoteFlat)
		return m
	}
	m.FormFactor = (m.MAP - m.DBP) / m.PP
	var c curve
	if harmonics != nil {
		c = w.curveOf(harmonics)
	} else {
		c = w.curve(wave, p.length)
	}
	foot, slope, steepest := c.foot(&p)
	m.FootS, m.MaximumSlope = foot, slope
	m.marks = landmarks{lowest: lowest.at, highest: highest.at, steepest: steepest}
	m.PeakMS = 1000 * p.since(foot, highest.at)
	shoulder, isPeak := c.earlyShoulder(foot, m.PeakMS/1000)
	if !pressuresAlone || math.IsNaN(shoulder) {
		m.ejection(&p, &c, foot)
	}
	m.augmentation(&p, &c, foot, shoulder, isPeak)
	return m
}

// Calibrated returns what Measure gives of offset + scale·wave, scale above zero, one
// period of periodS seconds; m is what it gives of the wave itself. Times, shapes and notes stay.
func (m Indices) Calibrated(scale, offset, periodS float64) Indices {
	mmhg := func(x float64) float64 { return offset + float64(scale*x) }
	m.SBP, m.DBP, m.MAP = mmhg(m.SBP), mmhg(m.DBP), mmhg(m.MAP)
	m.EarlySystolic, m.LateSystolic = mmhg(m.EarlySystolic), mmhg(m.LateSystolic)
	m.PP, m.AugmentationPressure = m.SBP-m.DBP, m.LateSystolic-m.EarlySystolic
	m.MaximumSlope *= scale
	m.SystolicIntegral = float64(scale*m.SystolicIntegral) + float64(offset*m.EjectionMS/1000)
	m.DiastolicIntegral = float64(m.MAP*periodS) - m.SystolicIntegral
	m.SupplyDemandPct = 100 * m.DiastolicIntegral / m.SystolicIntegral
	return m
}

// absent returns indices without a value.
func absent() Indices {
	n := math.NaN()
	return Indices{
		SBP: n, DBP: n, MAP: n, PP: n, FormFactor: n, FootS: n, PeakMS: n, MaximumSlope: n,
		ShoulderMS: n, EarlySystolic: n, LateSystolic: n,
		AugmentationPressure: n, AugmentationIndexPct: n, AugmentationIndexHR75Pct: n,
		EjectionMS: n, SystolicIntegral: n, DiastolicIntegral: n, SupplyDemandPct: n,
	}
}

// ejection fills the end of ejection and the two pressure–time integrals
// (Buckberg 1972, Circ Res 30:67, from memory; left ventricular diastolic
// pressure, which nobody measured, is not taken off).
func (m *Indices) ejection(p *period, c *curve, foot float64) {
	end, valley := c.endOfEjection(p, foot, m.PeakMS/1000)
	m.marks.endIsValley = valley
	if math.IsNaN(end) {
		m.Notes = append(m.Notes, NoteNoEjection)
		return
	}
	m.EjectionMS = 1000 * end
	m.SystolicIntegral = p.integral(foot, end)
	m.DiastolicIntegral = float64(m.MAP*p.length) - m.SystolicIntegral
	m.SupplyDemandPct = 100 * m.DiastolicIntegral / m.SystolicIntegral
}

// augmentation fills the early and the late systolic pressure and what follows
// from them (Murgo 1980, Circulation 62:105-16; Kelly 1989, Circulation
// 80:1652). Before the peak a shoulder makes type A or B, after it type C; at is the
// time from the foot to the one before, NaN where there is none.
func (m *Indices) augmentation(p *period, c *curve, foot, at float64, isPeak bool) {
	early := !math.IsNaN(at)
	if !early && !math.IsNaN(m.EjectionMS) {
		at, isPeak = c.lateShoulder(foot, m.PeakMS/1000, m.EjectionMS/1000)
	}
	m.marks.shoulderIsPeak = isPeak
	if math.IsNaN(at) {
		m.Notes = append(m.Notes, NoteNoShoulder)
		return
	}
	m.ShoulderMS = 1000 * at
	pressure := p.at(foot + at)
	m.EarlySystolic, m.LateSystolic = pressure, m.SBP
	if !early {
		m.EarlySystolic, m.LateSystolic = m.SBP, pressure
	}
	m.AugmentationPressure = m.LateSystolic - m.EarlySystolic
	m.AugmentationIndexPct = 100 * m.AugmentationPressure / m.PP
	m.AugmentationIndexHR75Pct = HR75(m.AugmentationIndexPct, 60/p.length)
	switch {
	case !early:
		m.Type = "C"
	case m.AugmentationIndexPct > boundaryAB:
		m.Type = "A"
	default:
		m.Type = "B"
	}
}

// HR75 returns the augmentation index in per cent as it would be at 75 beats
// per minute: 0.4 points less per bpm more (Wilkinson 2000, J Physiol
// 525:263-70). It and heart rate do not belong into one model.
func HR75(augmentationIndexPct, heartRateBPM float64) float64 {
	return augmentationIndexPct + float64(slopeAt75*(heartRateBPM-75))
}
