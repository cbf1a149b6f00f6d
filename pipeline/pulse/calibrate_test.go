package pulse

import (
	"errors"
	"math"
	"testing"
)

func TestCalibrate(t *testing.T) {
	// Lowest 10, highest 50, mean 25: form factor 15/40.
	wave := []float64{10, 50, 30, 10}
	for _, c := range []struct {
		kind           string
		low, high, avg float64 // what the three become, mmHg
	}{
		{BySBPDBP, 80, 120, 95},
		{ByMAPDBP, 80, 80 + 16*40.0/15, 96},
		{AsRecorded, 10, 50, 25},
	} {
		scale, offset, err := Calibrate(wave, c.kind, 120, 80, 96)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.kind+" low", offset+scale*10, c.low, 1e-12)
		near(t, c.kind+" high", offset+scale*50, c.high, 1e-12)
		near(t, c.kind+" mean", offset+scale*25, c.avg, 1e-12)
	}
	// What a kind does not use may be missing.
	if _, _, err := Calibrate(wave, BySBPDBP, 120, 80, math.NaN()); err != nil {
		t.Error(err)
	}
	if _, _, err := Calibrate(wave, ByMAPDBP, math.NaN(), 80, 96); err != nil {
		t.Error(err)
	}
	if _, _, err := Calibrate(nil, AsRecorded, math.NaN(), math.NaN(), math.NaN()); err != nil {
		t.Error(err)
	}
}

// Bos 2007 (J Hypertens 25:751-5): with MAP = DBP + 0.40 PP and a wave whose
// own form factor is 0.40, both calibrations agree.
func TestCalibrationsAgree(t *testing.T) {
	wave := []float64{0, 1, 0.6, 0.4, 0}
	s1, o1, err1 := Calibrate(wave, BySBPDBP, 120, 80, math.NaN())
	s2, o2, err2 := Calibrate(wave, ByMAPDBP, math.NaN(), 80, 80+0.40*40)
	if err1 != nil || err2 != nil {
		t.Fatal(err1, err2)
	}
	near(t, "scale", s2, s1, 1e-12)
	near(t, "offset", o2, o1, 1e-12)
}

func TestCalibrateRefuses(t *testing.T) {
	wave := []float64{10, 50, 30, 10}
	nan, inf := math.NaN(), math.Inf(1)
	for name, c := range map[string]struct {
		wave           []float64
		kind           string
		sbp, dbp, mean float64
	}{
		"flat":             {[]float64{5, 5, 5}, BySBPDBP, 120, 80, 96},
		"flat mean":        {[]float64{5, 5, 5}, ByMAPDBP, 120, 80, 96},
		"empty":            {nil, BySBPDBP, 120, 80, 96},
		"NaN in the wave":  {[]float64{1, nan, 2}, ByMAPDBP, 120, 80, 96},
		"SBP = DBP":        {wave, BySBPDBP, 80, 80, 96},
		"SBP below DBP":    {wave, BySBPDBP, 70, 80, 96},
		"SBP missing":      {wave, BySBPDBP, nan, 80, 96},
		"DBP missing":      {wave, BySBPDBP, 120, nan, 96},
		"DBP 0":            {wave, BySBPDBP, 120, 0, 96},
		"SBP infinite":     {wave, BySBPDBP, inf, 80, 96},
		"MAP = DBP":        {wave, ByMAPDBP, 120, 80, 80},
		"MAP missing":      {wave, ByMAPDBP, 120, 80, nan},
		"unknown":          {wave, "sbp", 120, 80, 96},
		"no kind":          {wave, "", 120, 80, 96},
		"everything wrong": {nil, ByMAPDBP, nan, nan, nan},
	} {
		scale, _, err := Calibrate(c.wave, c.kind, c.sbp, c.dbp, c.mean)
		var f *Failure
		if !errors.As(err, &f) || f.Code != CodeCalibration || f.Message == "" || !math.IsNaN(scale) {
			t.Errorf("%s: scale %g, %v", name, scale, err)
		}
	}
}

func TestImplausible(t *testing.T) {
	for _, c := range []struct {
		low, high float64 // mmHg; the mean lies a third between
		rule      string
	}{
		{70, 120, ""},
		{60, 83, ""},
		{90, 299, ""},
		{17, 64, ImplausibleDBPLow},
		{19.9, 120, ImplausibleDBPLow},
		{100, 301, ImplausibleSBPHigh},
		{21, 46, ImplausibleMAPLow},
		{190, 290, ImplausibleMAPHigh},
		{80, 99, ImplausiblePPLow},
		{28, 80, ImplausibleAdult},
		{32, 53, ImplausibleAdult},
	} {
		if got := Implausible([]float64{c.low, c.high, c.low}); got != c.rule {
			t.Errorf("%g to %g mmHg: %q, want %q", c.low, c.high, got, c.rule)
		}
	}
	if got := Implausible(nil); got != "" {
		t.Errorf("no wave: %q", got)
	}
}
