package simulate

import (
	"math"
	"strconv"
)

// Pressure is a true pressure in mmHg: the mean over whole beats of their
// highest and of their lowest value, and the mean over time.
type Pressure struct{ SBP, DBP, MAP float64 }

// PP is the pulse pressure in mmHg.
func (p Pressure) PP() float64 { return p.SBP - p.DBP }

// Truth is what stood behind a recording. No step of the pipeline reads it.
type Truth struct {
	Aortic, Brachial, Radial Pressure

	HeartRateBPM        float64 // over the whole beats of the recording
	EjectionMS          float64 // usual duration of ejection
	StrokeVolumeML      float64
	ForwardMMHg         float64 // amplitude of the forward aortic wave
	BackwardMMHg        float64 // amplitude of the backward aortic wave
	VelocityMPerS       float64 // aortic pulse wave velocity
	ImpedanceMMHgSPerML float64 // aortic characteristic impedance
	ComplianceMLPerMMHg float64 // of the whole tree
	AorticTravelMS      float64 // one way to the effective site of reflection
	ArmTravelMS         float64 // one way, of the tube
	ArmA                float64 // s; reflection at the wrist is 1/(1 + B + jωA)
	ArmB                float64
	ArmPeakHz           float64 // first peak of the transfer function root to wrist
	ArmPeakGain         float64

	OnsetsS      []float64 // when the beats reach the wrist, from the start of the recording
	Gain, Offset float64   // what the sensor made of mmHg, without drift: samples = Gain·p + Offset

	// True pressure in mmHg at the times of the samples; only where Recording made it.
	AorticWave, RadialWave []float64
}

// EquivalentTravelMS and EquivalentReflection are the two parameters of a tube
// with constant reflection whose transfer function has the same first peak:
// Td = 1/(4 f), Γ = (G − 1)/(G + 1).
func (t Truth) EquivalentTravelMS() float64 { return 1000 / (4 * t.ArmPeakHz) }

// EquivalentReflection is described at EquivalentTravelMS.
func (t Truth) EquivalentReflection() float64 { return (t.ArmPeakGain - 1) / (t.ArmPeakGain + 1) }

// truthOf joins what the traces show and what the circulation was made of; it
// overwrites the waves of solver.
func truthOf(c *circulation, solver *steady, tr traces, beats []beat) Truth {
	forward, backward := solver.amplitudes(c)
	hz, gain := c.armPeak()
	return Truth{
		Aortic:              tr.pressure(tr.aortic, beats, 0),
		Brachial:            tr.pressure(tr.brachial, beats, c.cuffPosition*c.armTravelS),
		Radial:              tr.pressure(tr.radial, beats, c.armTravelS),
		HeartRateBPM:        tr.rate(beats),
		EjectionMS:          1000 * c.flow.ejectionS,
		StrokeVolumeML:      c.strokeML,
		ForwardMMHg:         forward,
		BackwardMMHg:        backward,
		VelocityMPerS:       c.stiffnessMPerS,
		ImpedanceMMHgSPerML: c.impedance,
		ComplianceMLPerMMHg: c.totalComplianceML(),
		AorticTravelMS:      1000 * c.travelS,
		ArmTravelMS:         1000 * c.armTravelS,
		ArmA:                c.armA,
		ArmB:                c.armB,
		ArmPeakHz:           hz,
		ArmPeakGain:         gain,
	}
}

// truthHeader names the columns of the truth file.
func truthHeader() []string {
	return []string{
		"subject_id", "visit_id", "recording_id", "sex", "age_years", "healthy", "fault",
		"true_aortic_sbp_mmhg", "true_aortic_dbp_mmhg", "true_aortic_map_mmhg", "true_aortic_pp_mmhg",
		"true_brachial_sbp_mmhg", "true_brachial_dbp_mmhg", "true_brachial_map_mmhg",
		"true_radial_sbp_mmhg", "true_radial_dbp_mmhg", "true_radial_map_mmhg",
		"true_forward_mmhg", "true_backward_mmhg", "heart_rate_bpm", "ejection_duration_ms", "stroke_volume_ml",
		"aortic_pwv_m_s", "aortic_impedance_mmhg_s_ml", "arterial_compliance_ml_mmhg", "aortic_travel_time_ms",
		"arm_travel_time_ms", "arm_load_a_s", "arm_load_b", "arm_peak_hz", "arm_peak_gain",
		"equivalent_travel_time_ms", "equivalent_reflection",
	}
}

// row is the line of a recording in the truth file.
func (t Truth) row(p *person, v *visit, recordingID, fault string) []string {
	row := []string{p.id, v.id, recordingID, p.sex, decimal(v.ageYears, 1), strconv.FormatBool(p.healthy()), fault}
	add := func(digits int, values ...float64) {
		for _, value := range values {
			row = append(row, decimal(value, digits))
		}
	}
	add(3, t.Aortic.SBP, t.Aortic.DBP, t.Aortic.MAP, t.Aortic.PP(), t.Brachial.SBP, t.Brachial.DBP, t.Brachial.MAP,
		t.Radial.SBP, t.Radial.DBP, t.Radial.MAP, t.ForwardMMHg, t.BackwardMMHg, t.HeartRateBPM, t.EjectionMS,
		t.StrokeVolumeML, t.VelocityMPerS)
	add(5, t.ImpedanceMMHgSPerML, t.ComplianceMLPerMMHg)
	add(3, t.AorticTravelMS, t.ArmTravelMS)
	add(5, t.ArmA, t.ArmB)
	add(3, t.ArmPeakHz, t.ArmPeakGain, t.EquivalentTravelMS())
	add(5, t.EquivalentReflection())
	return row
}

// decimal writes a number with at most the given digits after the point; a
// missing number (NaN) is an empty cell.
func decimal(v float64, digits int) string {
	if math.IsNaN(v) {
		return ""
	}
	return strconv.FormatFloat(v, 'f', digits, 64)
}
