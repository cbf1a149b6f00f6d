package simulate

import (
	"math"
	"math/cmplx"
	"testing"
)

// Karamanoglu 1993, Eur Heart J 14:160-7: radial over aortic pressure 2.8 at
// 4 Hz. A tube that ends in a constant reflection has its first peak at
// 1/(4 Td) with a height of (1 + Γ)/(1 − Γ), so that Td = 62.5 ms and Γ = 9/19;
// the other values follow from the textbook relation
// (1 + Γ)/√(1 + Γ² + 2Γ cos 2ωTd).
func TestArmOfConstantReflection(t *testing.T) {
	c := circulation{armTravelS: 0.0625, armB: 19.0/9 - 1}
	for hz, want := range map[float64]float64{0: 1, 1: 1.0707, 2: 1.3318, 3: 1.9791, 4: 2.8, 6: 1.3318, 8: 1} {
		_, radial := c.arm(2 * math.Pi * hz)
		if got := cmplx.Abs(radial); math.Abs(got-want) > 5e-5 {
			t.Errorf("gain at %g Hz is %.4f, want %.4f", hz, got, want)
		}
	}
	hz, gain := c.armPeak()
	if math.Abs(hz-4) > 0.011 || math.Abs(gain-2.8) > 1e-3 {
		t.Errorf("peak %.3f at %.2f Hz, want 2.8 at 4", gain, hz)
	}
	truth := Truth{ArmPeakHz: 4, ArmPeakGain: 2.8}
	if d := truth.EquivalentTravelMS() - 62.5; math.Abs(d) > 1e-9 {
		t.Errorf("equivalent travel time off by %g ms", d)
	}
	if d := truth.EquivalentReflection() - 9.0/19; math.Abs(d) > 1e-9 {
		t.Errorf("equivalent reflection off by %g", d)
	}
}

// An aorta of no length whose windkessel begins with the impedance of the
// aorta itself is the three-element windkessel of the textbooks:
// Zc + R/(1 + jωRC).
func TestWindkesselLimit(t *testing.T) {
	c := circulation{impedance: 0.05, resistance: 0.95, stretchS: 0.05 * 1.5}
	for _, hz := range []float64{0, 0.5, 1, 3, 10} {
		want := complex(0.05, 0) + complex(0.95, 0)/complex(1, 2*math.Pi*hz*0.95*1.5)
		if got := c.at(hz).aortic; cmplx.Abs(got-want) > 1e-12 {
			t.Errorf("impedance at %g Hz is %v, want %v", hz, got, want)
		}
	}
}

// The wave at the cuff is that at the root where the cuff sits there, and that
// at the wrist where it sits there.
func TestCuffMovesAlongTheArm(t *testing.T) {
	c := circulation{armTravelS: 0.05, armA: 0.07, armB: 0.3}
	for _, hz := range []float64{0, 1, 4, 9} {
		w := 2 * math.Pi * hz
		c.cuffPosition = 0
		atRoot, _ := c.arm(w)
		c.cuffPosition = 1
		atWrist, radial := c.arm(w)
		if cmplx.Abs(atRoot-1) > 1e-12 || cmplx.Abs(atWrist-radial) > 1e-12 {
			t.Errorf("%g Hz: %v at the root, %v against %v at the wrist", hz, atRoot, atWrist, radial)
		}
	}
}

func TestFlowCarriesTheStroke(t *testing.T) {
	f := newFlow(70, 0.3, 0.1, 0.9)
	const step = 1e-5
	volume, peak, peakAt := 0.0, 0.0, 0.0
	for at := 0.0; at < f.endS(); at += step {
		q := f.at(at)
		volume += q * step
		if q > peak {
			peak, peakAt = q, at
		}
	}
	if math.Abs(volume-70) > 0.05 {
		t.Errorf("stroke volume %.3f mL, want 70", volume)
	}
	if math.Abs(peakAt-0.1) > 0.001 {
		t.Errorf("peak flow at %.4f s, want 0.1", peakAt)
	}
}

// The fitted circulation shows the brachial pressures it was fitted to, mean
// pressure is that of flow through resistance, and the recorded beats are near
// the steady one.
func TestFitReachesThePressure(t *testing.T) {
	solver, pressures := newSteady(), newRenderer()
	for i := range 28 {
		p := newPerson("fit", i, publishedNorms())
		v := newVisit("fit", p, "v1", p.ageYears, firstDay(), solver)
		solver.load(v.circulation)
		solver.pressures(v.circulation)
		low, high, average := describe(solver.brachial)
		if math.Abs(high-v.trueSBP) > 0.1 || math.Abs(low-v.trueDBP) > 0.1 {
			t.Errorf("%s: brachial %.2f/%.2f, want %.2f/%.2f", p.id, high, low, v.trueSBP, v.trueDBP)
		}
		if math.Abs(average-v.meanBrachial()) > 0.1 {
			t.Errorf("%s: mean %.2f, flow through resistance gives %.2f", p.id, average, v.meanBrachial())
		}
		_, _, aortic := describe(solver.aortic)
		_, _, radial := describe(solver.radial)
		if math.Abs(aortic-average) > 1e-6 || math.Abs(radial-average) > 1e-6 {
			t.Errorf("%s: mean pressure %.4f, %.4f, %.4f along the arm", p.id, aortic, average, radial)
		}
		s := newStream("fit", p.id, "take")
		made := take(p, v, device{hz: 256, gainLow: 1, gainHigh: 1}, 15, newRestlessness(s), s, pressures, solver)
		if d := made.truth.Brachial.SBP - v.trueSBP; math.Abs(d) > 6 {
			t.Errorf("%s: recorded brachial SBP is %.1f mmHg off", p.id, d)
		}
	}
}

// The same beats at two sampling rates are the same wave, but for a fraction of
// a millimetre that the corners of the flow put above half the lower rate.
func TestRateDoesNotMatter(t *testing.T) {
	solver := newSteady()
	p := newPerson("rate", 3, publishedNorms())
	v := newVisit("rate", p, "v1", p.ageYears, firstDay(), solver)
	beats := rhythm{rateBPM: v.rateBPM, irregular: 0.02, breathingHz: 0.25}.beats(newStream("rate"), 16)
	r := newRenderer()
	fine := r.render(v.circulation, beats, 16*512, 13, 512)
	wave := fine.recorded(fine.radial)
	coarse := r.render(v.circulation, beats, 16*128, 13, 128)
	squares, worst := 0.0, 0.0
	samples := coarse.recorded(coarse.radial)
	for i, got := range samples {
		d := got - wave[4*i]
		squares, worst = squares+d*d, max(worst, math.Abs(d))
	}
	if rms := math.Sqrt(squares / float64(len(samples))); rms > 0.15 || worst > 0.6 {
		t.Errorf("128 and 512 Hz differ by %.3f mmHg (root mean square), %.3f at worst", rms, worst)
	}
}

func TestRecording(t *testing.T) {
	samples, truth := Recording("one", 12, 200)
	again, _ := Recording("one", 12, 200)
	other, _ := Recording("two", 12, 200)
	if len(samples) != 2400 || len(truth.AorticWave) != 2400 || len(truth.RadialWave) != 2400 {
		t.Fatalf("%d samples, %d and %d true ones, want 2400", len(samples), len(truth.AorticWave), len(truth.RadialWave))
	}
	same, differs := true, false
	for i := range samples {
		same = same && samples[i] == again[i]
		differs = differs || samples[i] != other[i]
	}
	if !same || !differs {
		t.Errorf("same seed same samples: %v; other seed other samples: %v", same, differs)
	}
	if beats := float64(len(truth.OnsetsS)); math.Abs(beats-truth.HeartRateBPM/60*12) > 1.5 {
		t.Errorf("%g beats in 12 s at %.1f a minute", beats, truth.HeartRateBPM)
	}
	// Without gain and zero the samples are the true wave, drift and noise aside.
	worst := 0.0
	for i, v := range samples {
		worst = max(worst, math.Abs((v-truth.Offset)/truth.Gain-truth.RadialWave[i]))
	}
	if worst < 0.3 || worst > 12 {
		t.Errorf("drift and noise reach %.2f mmHg", worst)
	}
	if !(truth.Aortic.PP() < truth.Radial.PP()) || !(truth.Aortic.DBP < truth.Aortic.MAP) {
		t.Errorf("aortic %+v, radial %+v", truth.Aortic, truth.Radial)
	}
}

func BenchmarkRecording(b *testing.B) {
	for b.Loop() {
		Recording("bench", 14, 256)
	}
}
