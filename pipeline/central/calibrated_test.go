package central

import (
	"math"
	"testing"
)

// What is measured on a wave before calibration and scaled is what is measured on
// the calibrated wave: a raw wave far from mmHg, its mean near zero, of each type.
func TestCalibratedIsMeasuredAfterCalibration(t *testing.T) {
	const scale, offset, stepS = 0.37, 91.5, 0.002
	for name, mmhg := range map[string][]float64{
		"A": reflected(0.12, 0.4, plateau), "C": reflected(0.13, 0.3, early), "incisura": reflected(0, 0, incisura), "flat": make([]float64, 100),
	} {
		raw := make([]float64, len(mmhg))
		for j, p := range mmhg {
			raw[j] = (p - offset) / scale
		}
		want := Measure(mmhg, stepS)
		got := Measure(raw, stepS).Calibrated(scale, offset, stepS*float64(len(raw)))
		for _, pair := range [][2]float64{
			{got.SBP, want.SBP}, {got.DBP, want.DBP}, {got.MAP, want.MAP}, {got.PP, want.PP}, {got.FormFactor, want.FormFactor},
			{got.FootS, want.FootS}, {got.PeakMS, want.PeakMS}, {got.MaximumSlope, want.MaximumSlope}, {got.ShoulderMS, want.ShoulderMS},
			{got.EarlySystolic, want.EarlySystolic}, {got.LateSystolic, want.LateSystolic}, {got.AugmentationPressure, want.AugmentationPressure},
			{got.AugmentationIndexPct, want.AugmentationIndexPct}, {got.AugmentationIndexHR75Pct, want.AugmentationIndexHR75Pct},
			{got.EjectionMS, want.EjectionMS}, {got.SystolicIntegral, want.SystolicIntegral}, {got.DiastolicIntegral, want.DiastolicIntegral}, {got.SupplyDemandPct, want.SupplyDemandPct},
		} {
			if math.IsNaN(pair[0]) != math.IsNaN(pair[1]) || math.Abs(pair[0]-pair[1]) > 1e-9*(1+math.Abs(pair[1])) {
				t.Errorf("wave %s: %v, measured after calibration %v", name, pair[0], pair[1])
			}
		}
		if got.Type != want.Type || len(got.Notes) != len(want.Notes) {
			t.Errorf("wave %s: type %q with %v, measured after calibration %q with %v", name, got.Type, got.Notes, want.Type, want.Notes)
		}
	}
}

// A wave that was made of harmonics is measured by them as by taking it apart.
func TestMeasuredByItsHarmonics(t *testing.T) {
	w := NewWorkspace()
	for _, n := range []int{449, 450} {
		radial, stepS := reflected(0.12, 0.4, incisura)[:n], 0.9/float64(n)
		var all, s series
		all.resize(harmonicsBelow(bandHz, 0.9, n))
		w.wave.analyse(radial, 0.9, &all)
		s.through(&all, w.gains(ConstantTube(Radial), 0.9, n))
		aortic := make([]float64, n)
		w.wave.synthesise(&s, aortic)
		got, want := w.measureWave(aortic, stepS, &s, false), Measure(aortic, stepS)
		for _, pair := range [][2]float64{{got.FootS, want.FootS}, {got.MaximumSlope, want.MaximumSlope}, {got.ShoulderMS, want.ShoulderMS}, {got.EjectionMS, want.EjectionMS}} {
			if !(math.Abs(pair[0]-pair[1]) <= 1e-9*math.Abs(pair[1])) {
				t.Errorf("%d samples: %v, taken apart %v", n, pair[0], pair[1])
			}
		}
	}
}
