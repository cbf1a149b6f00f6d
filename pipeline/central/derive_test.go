package central

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"
)

// pairThrough makes a pair whose peripheral wave is what a tube makes of the
// central one, each rotated to its foot, as recordings are.
func pairThrough(id string, t Tube, central []float64, stepS float64) Pair {
	length := stepS * float64(len(central))
	var f fourier
	var s series
	s.resize(harmonicsBelow(20, length, len(central)))
	f.analyse(central, length, &s)
	clean, out := make([]float64, len(central)), make([]float64, len(central))
	f.synthesise(&s, clean)
	forward := make([]complex128, len(s.cos))
	for k := range forward {
		forward[k] = 1 / t.Response(float64(k+1)/length)
	}
	s.multiply(forward)
	f.synthesise(&s, out)
	return Pair{SubjectID: id, Central: fromFoot(clean, stepS), Peripheral: fromFoot(out, stepS), StepS: stepS}
}

// fromFoot turns a wave so that it begins at its foot.
func fromFoot(wave []float64, stepS float64) []float64 {
	return turned(wave, stepS, Measure(wave, stepS).FootS)
}

// turned begins a wave at another time.
func turned(wave []float64, stepS, at float64) []float64 {
	length := stepS * float64(len(wave))
	var f fourier
	var s series
	s.resize((len(wave) - 1) / 2)
	f.analyse(wave, length, &s)
	turn := make([]complex128, len(s.cos))
	for k := range turn {
		turn[k] = cmplx.Rect(1, 2*math.Pi*float64(k+1)/length*at)
	}
	s.multiply(turn)
	out := make([]float64, len(wave))
	f.synthesise(&s, out)
	return out
}

// pairsThrough are people at heart rates from 52 to 95 per minute with a tube each.
func pairsThrough(n int, tube func(i int) Tube) []Pair {
	var pairs []Pair
	for i := range n {
		length := 60 / (52 + 43*math.Mod(float64(i)*0.618, 1))
		wave := make([]float64, int(length*250))
		for j := range wave {
			wave[j] = 80 + 40*incisura(length*float64(j)/float64(len(wave)))
		}
		pairs = append(pairs, pairThrough(fmt.Sprintf("S%03d", i), tube(i), wave, length/float64(len(wave))))
	}
	return pairs
}

func derived(t testing.TB, pairs []Pair) *Derived {
	t.Helper()
	d, err := Derive(pairs)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// Where everybody has the arm of the published peak, its forward gain comes
// back, modulus and phase, once the time between the feet is given back. The
// numbers are those of the tube at the peak of Karamanoglu 1993 (Eur Heart J
// 14:160-7), worked out from the formula outside this program.
func TestDerivedIsThePublishedGain(t *testing.T) {
	d := derived(t, pairsThrough(24, func(int) Tube { return ConstantTube(Radial) }))
	shift := d.Beside(ConstantTube(Radial)).ShiftS
	for _, row := range []struct{ hz, modulus, degrees float64 }{
		{0.5, 1.0170, -4.06}, {1, 1.0707, -8.41}, {2, 1.3318, -19.65}, {3, 1.9791, -40.77}, {4, 2.8000, -90.0},
		{5, 1.9791, -139.23}, {6, 1.3318, -160.35}, {7, 1.0707, -171.59}, {8, 1.0000, -180.0},
	} {
		i := slices.Index(d.Hz, row.hz)
		forward := 1 / (d.Gain[i] * cmplx.Rect(1, 2*math.Pi*row.hz*shift))
		turn := cmplx.Phase(forward*cmplx.Rect(1, -row.degrees*math.Pi/180)) * 180 / math.Pi
		// Feet lie some milliseconds differently in different pulses: 1 ms is 1.4°
		// at 4 Hz, and what spreads in phase is lost in modulus.
		if modulus := cmplx.Abs(forward); math.Abs(modulus/row.modulus-1) > 0.015 || math.Abs(turn) > 1 {
			t.Errorf("%g Hz: modulus %.4f, published %.4f; phase off by %.2f°", row.hz, modulus, row.modulus, turn)
		}
		if d.Coherence[i] < 0.999 {
			t.Errorf("%g Hz: coherence %.5f with one arm for everybody", row.hz, d.Coherence[i])
		}
	}
}

// The tube that made the pairs comes back, with the height and frequency of its
// peak; a windkessel that is none is found at a bound.
func TestFitTubeFindsTheTube(t *testing.T) {
	d := derived(t, pairsThrough(24, func(int) Tube { return ConstantTube(Radial) }))
	f := d.FitTube(TubeConstantFitted)
	t.Logf("constant: Td %.2f ms, Γ %.4f, shift %.2f ms, misfit %.4f, SE %.2g s and %.2g", 1000*f.Tube.TravelS, f.Tube.Reflection, 1000*f.ShiftS, f.Misfit, f.SE[0], f.SE[1])
	if math.Abs(f.Tube.TravelS-0.0625) > 0.0005 || math.Abs(f.Tube.Reflection-9.0/19) > 0.006 || f.AtBound() {
		t.Errorf("Td %.2f ms, Γ %.4f; made with 62.5 and 0.4737", 1000*f.Tube.TravelS, f.Tube.Reflection)
	}
	if w := d.FitTube(TubeWindkesselFitted); !w.AtBound() || w.SE != nil {
		t.Errorf("a load without compliance fitted by a windkessel: %+v", w)
	}
	// B = 0.3, A = 58 ms and Td = 43 ms make the same peak.
	w := derived(t, pairsThrough(24, func(int) Tube { return windkessel(0.043, 0.058, 0.3) })).FitTube(TubeWindkesselFitted)
	a, b := w.Tube.Windkessel()
	t.Logf("windkessel: Td %.2f ms, A %.2f ms, B %.3f, shift %.2f ms, misfit %.4f", 1000*w.Tube.TravelS, 1000*a, b, 1000*w.ShiftS, w.Misfit)
	if math.Abs(w.Tube.TravelS-0.043) > 0.002 || math.Abs(a-0.058) > 0.004 || math.Abs(b-0.3) > 0.05 {
		t.Errorf("Td %.2f ms, A %.2f ms, B %.3f; made with 43, 58 and 0.3", 1000*w.Tube.TravelS, 1000*a, b)
	}
}

// personalTubes have the published spread of the peak between people.
func personalTubes(random *rand.Rand) func(int) Tube {
	return func(int) Tube {
		height := 2.8 * math.Exp(peakHeightCV*random.NormFloat64())
		return Tube{TravelS: 0.0625 * math.Exp(peakFrequencyCV*random.NormFloat64()), Reflection: (height - 1) / (height + 1)}
	}
}

func TestDerivedForgetsTheOrder(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	pairs := pairsThrough(30, personalTubes(random))
	for i := range pairs { // two pairs each
		pairs[i].SubjectID = fmt.Sprintf("S%02d", i/2)
	}
	shuffled := slices.Clone(pairs)
	random.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	a, b := derived(t, pairs), derived(t, shuffled)
	for i := range a.Gain {
		if cmplx.Abs(a.Gain[i]-b.Gain[i]) > 1e-13 {
			t.Fatalf("%g Hz: %v and %v", a.Hz[i], a.Gain[i], b.Gain[i])
		}
	}
	if a.Subjects != 15 {
		t.Errorf("%d subjects, want 15: pairs of one person are one person", a.Subjects)
	}
	for i, c := range a.Coherence {
		if c > 0.9999 || c < 0.3 {
			t.Errorf("%g Hz: coherence %.3f of people who differ", a.Hz[i], c)
		}
	}
	// A subject who was measured often weighs no more than the others.
	again := append(slices.Clone(pairs), pairs[0], pairs[1], pairs[0], pairs[1])
	if c := derived(t, again); cmplx.Abs(c.Gain[15]-a.Gain[15]) > 1e-13 {
		t.Errorf("4 Hz: %v, with a subject's pairs three times %v", a.Gain[15], c.Gain[15])
	}
}

// The band covers what infinitely many people of the same kind would give, here
// 4,000, in 95 of 100 samples of 20.
func TestBandCovers(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	truth := derived(t, pairsThrough(4000, personalTubes(random)))
	rows := []int{3, 7, 11, 15, 19} // 1, 2, 3, 4, 5 Hz
	inside, total := 0, 0
	const samples = 300
	for range samples {
		d := derived(t, pairsThrough(20, personalTubes(random)))
		band, ok := d.Band(0.95)
		if !ok {
			t.Fatal("no band from 20 subjects")
		}
		for _, i := range rows {
			modulus := cmplx.Abs(truth.Gain[i])
			turn := cmplx.Phase(truth.Gain[i] / d.Gain[i])
			half := (band.PhaseHigh[i] - band.PhaseLow[i]) / 2
			for _, covered := range []bool{band.ModulusLow[i] <= modulus && modulus <= band.ModulusHigh[i], math.Abs(turn) <= half} {
				total++
				if covered {
					inside++
				}
			}
		}
	}
	share := float64(inside) / float64(total)
	t.Logf("nominal 95 %% band covered %.1f %% (%d samples, 5 frequencies, modulus and phase)", 100*share, samples)
	if share < 0.92 || share > 0.975 {
		t.Errorf("coverage %.3f, want 0.95", share)
	}
	if _, ok := derived(t, pairsThrough(SubjectsForBands-1, personalTubes(random))).Band(0.95); ok {
		t.Errorf("a band from %d subjects", SubjectsForBands-1)
	}
}

// Harmonics that drown in the noise of the beats are no signal.
func TestNoiseIsNoGain(t *testing.T) {
	pairs := pairsThrough(12, func(int) Tube { return ConstantTube(Radial) })
	w := NewWorkspace()
	for i := range pairs {
		p := &pairs[i]
		p.Beats = beats(uint64(i), 12, p.Peripheral, 0)
		if clean := len(w.knots(p, DeriveToHz)); clean < 7 {
			t.Fatalf("%d harmonics without noise", clean)
		}
		p.Beats = beats(uint64(i), 12, p.Peripheral, 3)
		noise := w.harmonicErrors(p.Beats, p.period(), 20)
		for _, k := range w.knots(p, DeriveToHz) {
			if pp := span(p.Peripheral); math.Sqrt(k.power)*pp < 2.9*noise[k.number-1] {
				t.Errorf("harmonic %d of %.2f mmHg used in noise of %.2f", k.number, math.Sqrt(k.power)*pp, noise[k.number-1])
			}
		}
	}
	for i := range pairs {
		pairs[i].Beats = beats(uint64(i), 12, pairs[i].Peripheral, 1000)
	}
	if d, err := Derive(pairs); err == nil {
		t.Errorf("a transfer function of noise up to %g Hz", d.Hz[len(d.Hz)-1])
	}
}

func TestDeriveNeedsSubjects(t *testing.T) {
	tube := func(int) Tube { return ConstantTube(Radial) }
	if _, err := Derive(pairsThrough(FewestSubjects-1, tube)); err == nil {
		t.Errorf("a transfer function from %d subjects", FewestSubjects-1)
	}
	if d, err := Derive(pairsThrough(FewestSubjects, tube)); err != nil {
		t.Error(err)
	} else if f := d.FitTube(TubeConstantFitted); f.SE != nil {
		t.Error("standard errors from five subjects")
	}
}

func TestRetimedKeepsSystole(t *testing.T) {
	wave := make([]float64, 250) // a second
	for j := range wave {
		wave[j] = 80 + 40*incisura(float64(j)/250)
	}
	same := Retimed(wave, 0.004, 250, 0.004)
	if d := largestDifference(same, wave); d > 1e-9 {
		t.Errorf("the same period differs by %g", d)
	}
	slower := Retimed(wave, 0.004, 270, 0.004)
	for j := range 100 { // 0.4 s
		if math.Abs(slower[j]-wave[j]) > 1e-9 {
			t.Fatalf("systole moved at %d ms", 4*j)
		}
	}
	if at := 400 + 4*(270-100)/2; math.Abs(slower[at/4]-wave[(400+300)/4]) > 1 {
		t.Errorf("the middle of diastole: %.1f and %.1f mmHg", slower[at/4], wave[175])
	}
}

func TestWaveErrorOfShapes(t *testing.T) {
	w := NewWorkspace()
	wave := reflected(0, 0, incisura)
	length := 0.002 * float64(len(wave))
	for _, shift := range []float64{0, 0.0137, 0.2, -0.31} {
		other := turned(wave, 0.002, shift)
		for j := range other {
			other[j] += 5
		}
		if e := w.WaveError(other, wave, length); e > 0.02 {
			t.Errorf("a wave against itself, %g s later and 5 higher: %g", shift, e)
		}
	}
}
