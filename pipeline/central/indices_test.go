package central

import (
	"math"
	"slices"
	"testing"
)

// reflected is an aortic wave of known reflection: a forward wave and a part of
// it that comes back after a delay in seconds. One period of 0.9 s, 450 samples.
func reflected(delay, part float64, forward func(t float64) float64) []float64 {
	const n, length = 450, 0.9
	wave := make([]float64, n)
	for j := range wave {
		t := length * float64(j) / n
		back := math.Mod(t-delay+length, length)
		wave[j] = 80 + 40*(forward(t)+part*forward(back))
	}
	return wave
}

// raised goes from 0 to 1 between two moments as half a cosine.
func raised(t, from, to float64) float64 {
	u := min(max((t-from)/(to-from), 0), 1)
	return 0.5 * (1 - math.Cos(math.Pi*u))
}

// plateau rises in 80 ms, stays and falls until 300 ms.
func plateau(t float64) float64 { return raised(t, 0, 0.08) * (1 - raised(t, 0.22, 0.30)) }

// early rises in 90 ms and then falls evenly until 330 ms.
func early(t float64) float64 { return raised(t, 0, 0.09) * max(0, 1-max(0, t-0.09)/0.24) }

// On a plateau the early pressure is 1, the late 1 + R, so the augmentation
// index is R/(1 + R) whenever the reflection comes: that follows from the
// construction of the wave.
func TestAugmentationOfAKnownReflection(t *testing.T) {
	for _, part := range []float64{0.2, 0.3, 0.4, 0.5} {
		for delay := 0.10; delay < 0.145; delay += 0.01 {
			m := Measure(reflected(delay, part, plateau), 0.002)
			want := 100 * part / (1 + part)
			if m.Type != "A" || math.Abs(m.AugmentationIndexPct-want) > 1 {
				t.Errorf("reflection %.1f after %.0f ms: type %s, index %.1f %%, want %.1f",
					part, 1000*delay, m.Type, m.AugmentationIndexPct, want)
			}
			if math.Abs(m.AugmentationPressure-40*part) > 1 || math.Abs(m.LateSystolic-m.EarlySystolic-m.AugmentationPressure) > 1e-12 {
				t.Errorf("reflection %.1f after %.0f ms: %.2f − %.2f = %.2f mmHg, want %.0f",
					part, 1000*delay, m.LateSystolic, m.EarlySystolic, m.AugmentationPressure, 40*part)
			}
			if hr := 60 / 0.9; math.Abs(m.AugmentationIndexHR75Pct-(m.AugmentationIndexPct+0.4*(hr-75))) > 1e-12 {
				t.Errorf("index at 75 bpm %.2f from %.2f at %.1f bpm", m.AugmentationIndexHR75Pct, m.AugmentationIndexPct, hr)
			}
		}
	}
}

// The literature gives both directions of the zero crossing. Here the forward
// wave has risen after 80 ms and the reflected one comes after the delay, with
// no peak of its own between them: the shoulder is known to lie there.
func TestDirectionOfTheFourthDerivative(t *testing.T) {
	w := NewWorkspace()
	for _, part := range []float64{0.3, 0.4, 0.5, 0.6} {
		for delay := 0.085; delay < 0.111; delay += 0.005 {
			wave := reflected(delay, part, plateau)
			c := w.curve(wave, 0.9)
			above := c.firstCrossing(c.d4.at, -1, 0, shoulderFromS, 0.3)
			below := c.firstCrossing(c.d4.at, +1, 0, shoulderFromS, 0.3)
			away := func(at float64) float64 { return max(0.080-at, at-delay, 0) }
			if !(away(above) <= 0.015) || !(away(below) > 0.025) {
				t.Errorf("reflection %.1f after %.0f ms: from above at %.0f ms, from below at %.0f ms",
					part, 1000*delay, 1000*above, 1000*below)
			}
		}
	}
}

// After an early peak at 90 ms the late shoulder lies between the arrival of
// the reflected wave and its peak 90 ms later, and moves with it.
func TestLateShoulderOfAKnownReflection(t *testing.T) {
	before := 0.0
	for delay := 0.11; delay < 0.165; delay += 0.01 {
		m := Measure(reflected(delay, 0.3, early), 0.002)
		at := m.ShoulderMS/1000 + m.FootS
		if m.Type != "C" || at < delay || at > delay+0.09 || at <= before {
			t.Errorf("reflection after %.0f ms: type %s, shoulder at %.0f ms (before: %.0f)", 1000*delay, m.Type, 1000*at, 1000*before)
		}
		if !(m.AugmentationIndexPct < 0) || m.EarlySystolic != m.SBP {
			t.Errorf("reflection after %.0f ms: index %.1f %%, early pressure %.1f of %.1f", 1000*delay, m.AugmentationIndexPct, m.EarlySystolic, m.SBP)
		}
		before = at
	}
}

// incisura rises in 90 ms, falls from 180 ms and turns sharply upwards at 310 ms.
func incisura(t float64) float64 {
	if t < 0.31 {
		return raised(t, 0, 0.09) * (1 - 0.5*max(0, t-0.18)/0.13)
	}
	return (0.5 + 0.08*raised(t, 0.31, 0.37)) * math.Exp(-max(0, t-0.34)/0.4)
}

func TestEndOfEjectionAndIntegrals(t *testing.T) {
	wave := reflected(0, 0, incisura)
	m := Measure(wave, 0.002)
	if at := m.EjectionMS + 1000*m.FootS; math.Abs(at-310) > 8 {
		t.Errorf("incisura at %.0f ms, want 310", at)
	}
	// Both integrals make the whole period; each is a sum over its samples.
	if whole := m.SystolicIntegral + m.DiastolicIntegral; math.Abs(whole-m.MAP*0.9) > 1e-9 {
		t.Errorf("integrals add up to %v, mean times period is %v", whole, m.MAP*0.9)
	}
	sum := 0.0
	for j, v := range wave {
		if s := 0.002 * float64(j); s >= m.FootS && s < m.FootS+m.EjectionMS/1000 {
			sum += v * 0.002
		}
	}
	if math.Abs(sum-m.SystolicIntegral) > 0.15 { // one sample at either end
		t.Errorf("systolic integral %.3f, sum of samples %.3f", m.SystolicIntegral, sum)
	}
	if want := 100 * m.DiastolicIntegral / m.SystolicIntegral; m.SupplyDemandPct != want {
		t.Errorf("ratio %v, want %v", m.SupplyDemandPct, want)
	}
}

func TestPeakBetweenSamples(t *testing.T) {
	for shift := 0.0; shift < 1; shift += 0.1 {
		const n = 100 // 10 ms a sample
		wave := make([]float64, n)
		for j := range wave {
			x := 2 * math.Pi * (float64(j) + shift) / n
			wave[j] = 90 - 20*math.Cos(x) + 6*math.Sin(2*x)
		}
		m := Measure(wave, 0.01)
		// The extremes of the formula, by a fine grid.
		high, low := math.Inf(-1), math.Inf(1)
		for i := range 100_000 {
			x := 2 * math.Pi * float64(i) / 1e5
			y := 90 - 20*math.Cos(x) + 6*math.Sin(2*x)
			high, low = max(high, y), min(low, y)
		}
		if math.Abs(m.SBP-high) > 5e-4 || math.Abs(m.DBP-low) > 5e-4 {
			t.Errorf("shifted by %.1f samples: %.6f/%.6f, want %.6f/%.6f", shift, m.SBP, m.DBP, high, low)
		}
		if want := (90 - m.DBP) / m.PP; math.Abs(m.FormFactor-want) > 1e-12 {
			t.Errorf("form factor %v, want %v", m.FormFactor, want)
		}
	}
}

func TestMeasureDoesNotDependOnTheStart(t *testing.T) {
	wave := reflected(0.12, 0.4, incisura)
	want := Measure(wave, 0.002)
	for shift := 0; shift < len(wave); shift += 7 {
		rotated := slices.Concat(wave[shift:], wave[:shift])
		m := Measure(rotated, 0.002)
		foot := math.Mod(want.FootS-0.002*float64(shift)+0.9, 0.9)
		if math.Abs(math.Remainder(m.FootS-foot, 0.9)) > 1e-4 {
			t.Errorf("started %d samples later: foot at %.5f, want %.5f", shift, m.FootS, foot)
		}
		for _, c := range []struct {
			name      string
			got, want float64
			within    float64
		}{
			{"SBP", m.SBP, want.SBP, 1e-9},
			{"DBP", m.DBP, want.DBP, 1e-9},
			{"MAP", m.MAP, want.MAP, 1e-9},
			{"augmentation index", m.AugmentationIndexPct, want.AugmentationIndexPct, 0.1},
			{"ejection", m.EjectionMS, want.EjectionMS, 0.2},
			{"systolic integral", m.SystolicIntegral, want.SystolicIntegral, 0.02},
			{"slope", m.MaximumSlope, want.MaximumSlope, 0.5},
		} {
			if math.Abs(c.got-c.want) > c.within {
				t.Errorf("started %d samples later: %s %v, want %v", shift, c.name, c.got, c.want)
			}
		}
	}
}

// What a wave does not have is NaN with its reason, never zero.
func TestAbsentIndicesHaveReasons(t *testing.T) {
	flat := make([]float64, 200)
	for j := range flat {
		flat[j] = 90
	}
	broken := append([]float64(nil), flat...)
	broken[17] = math.NaN()
	for _, c := range []struct {
		wave []float64
		step float64
		note string
	}{
		{broken, 0.005, NoteNotFinite},
		{flat, 0, NoteNotFinite},
		{flat, math.NaN(), NoteNotFinite},
		{flat[:15], 0.05, NoteTooCoarse},
		{nil, 0.005, NoteTooCoarse},
		{flat, 0.005, NoteFlat},
	} {
		m := Measure(c.wave, c.step)
		if !slices.Equal(m.Notes, []string{c.note}) || !math.IsNaN(m.AugmentationIndexPct) || !math.IsNaN(m.EjectionMS) || m.Type != "" {
			t.Errorf("%s: %+v", c.note, m)
		}
	}
	// A pure tone has neither shoulder nor incisura.
	tone := make([]float64, 300)
	for j := range tone {
		tone[j] = 90 - 20*math.Cos(2*math.Pi*float64(j)/300)
	}
	m := Measure(tone, 0.003)
	if !slices.Contains(m.Notes, NoteNoShoulder) || !math.IsNaN(m.AugmentationPressure) || !math.IsNaN(m.ShoulderMS) {
		t.Errorf("a pure tone: %+v", m)
	}
	if !slices.Contains(m.Notes, NoteNoEjection) || !math.IsNaN(m.SupplyDemandPct) {
		t.Errorf("a pure tone: %+v", m)
	}
	if math.Abs(m.PP-40) > 1e-2 || math.IsNaN(m.MaximumSlope) {
		t.Errorf("a pure tone keeps its pressures: %+v", m)
	}
}
