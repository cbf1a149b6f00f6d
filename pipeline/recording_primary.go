package pipeline

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/pipeline/central"
	"tonocohort/pipeline/pulse"
)

// primary fills the central_ columns, the wave and the indices by the primary
// calibration.
func (w *worker) primary(r *recordingResult, average []float64, e central.Estimate, scaled []calibration, spread central.Spread) {
	c := &scaled[slices.IndexFunc(scaled, func(c calibration) bool { return c.kind == r.calibration })]
	if c.fault != nil {
		r.leave(statusExcluded, w.whyNoScale(r), c.fault.Error())
		return
	}
	r.scale, r.offset = c.scale, c.offset
	w.peripheral(r, affine(&w.wave, average, c.scale, c.offset))
	var wave []float64
	if e.Wave != nil {
		wave = affine(&w.wave, e.Wave, c.scale, c.offset)
		r.aortic = single(wave)
	}
	w.indices(r, &c.indices)
	if wave != nil {
		w.shape(r, wave, &c.indices)
	}
	r.values.derive()
	if c.hasErrors {
		w.uncertain(r, r.calibration, &errorOfCentral, &c.errors, spread, c.scale)
		w.uncertainIndices(r, &c.errors, spread)
	}
	r.values.fillErrors(r.errors)
}

// whyNoScale names what is missing for the primary calibration.
func (w *worker) whyNoScale(r *recordingResult) string {
	switch {
	case r.calibration == "as_recorded":
		return "wave_without_unit"
	case math.IsNaN(r.cuff.SBP):
		return "no_cuff_reading"
	case r.calibration == "map_dbp" && math.IsNaN(r.values[atBrachialMAP]):
		return "no_mean_pressure"
	default:
		return pulse.CodeCalibration
	}
}

// peripheral keeps the calibrated average beat and what is read from it alone.
func (w *worker) peripheral(r *recordingResult, wave []float64) {
	r.peripheral = single(wave)
	low, high, sum := math.Inf(1), math.Inf(-1), 0.0
	for _, p := range wave {
		low, high, sum = min(low, p), max(high, p), sum+p
	}
	mean := sum / float64(len(wave))
	if broken := pulse.Implausible(wave); broken != "" {
		r.quality = pulse.Unusable
		r.qualityReasons = append(r.qualityReasons, broken)
		if r.row.Review != "accept" {
			r.leave(statusExcluded, "implausible_pressure", fmt.Sprintf("%s: average beat from %.0f to %.0f mmHg, mean %.0f", broken, low, high, mean))
		}
	}
	r.values[atPeripheralSBP] = high
	r.values[atPeripheralFormFactor] = quotient(mean-low, high-low)
	if peak, ok := central.MovingAverage(wave, r.stepS, r.row.Artery); ok {
		r.values[atMovingAverage] = peak
	}
}

// indices fills what is measured on the aortic wave.
func (w *worker) indices(r *recordingResult, m *central.Indices) {
	v := r.values
	v[atCentral.sbp], v[atCentral.dbp], v[atCentral.mean] = m.SBP, m.DBP, m.MAP
	v[atAugmentationPressure] = m.AugmentationPressure
	if len(r.aortic) == 0 {
		r.indexNotes = append(r.indexNotes, "aortic_wave:method_gives_a_peak_alone")
		return
	}
	v[atEarlySystolic] = m.EarlySystolic
	v[atLateSystolic] = m.LateSystolic
	v[atShoulder] = m.ShoulderMS
	v[atPeak] = m.PeakMS
	v[atMaximumSlope] = m.MaximumSlope
	v[atCentralFormFactor] = m.FormFactor
	v[atEjection] = m.EjectionMS
	v[atSystolicIntegral] = m.SystolicIntegral
	v[atDiastolicIntegral] = m.DiastolicIntegral
	r.augmentation = m.Type
	r.indexNotes = append(r.indexNotes, m.Notes...)
}

// shape fills what the aortic wave says beyond its landmarks, and notes what
// lies outside what people have.
func (w *worker) shape(r *recordingResult, wave []float64, m *central.Indices) {
	v := r.values
	s := central.Separate(wave, r.stepS, m, central.TriangleThirty)
	v[atForward] = s.Forward
	v[atBackward] = s.Backward
	v[atReflectionMagnitude] = s.ReflectionMagnitude
	x := w.central.MeasureReservoir(wave, r.stepS, m)
	v[atReservoir] = x.Amplitude
	v[atExcess] = x.ExcessAmplitude
	v[atReservoirIntegral] = x.ReservoirIntegral
	v[atExcessIntegral] = x.ExcessIntegral
	v[atDiastolicDecay] = x.DiastolicRate
	r.indexNotes = append(append(r.indexNotes, s.Notes...), x.Notes...)
	r.indexNotes = append(r.indexNotes, central.Implausible(m, v[atHeartRate], r.sex)...)
}

// affine returns offset + scale·x in scratch memory of the caller's.
func affine(scratch *[]float64, x []float64, scale, offset float64) []float64 {
	if cap(*scratch) < len(x) {
		*scratch = make([]float64, len(x))
	}
	out := (*scratch)[:len(x)]
	for i, v := range x {
		out[i] = offset + float64(scale*v)
	}
	return out
}

func single(x []float64) []float32 {
	out := make([]float32, len(x))
	for i, v := range x {
		out[i] = float32(v)
	}
	return out
}
