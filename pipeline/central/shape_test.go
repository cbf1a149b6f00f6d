package central

import (
	"math"
	"path/filepath"
	"slices"
	"testing"

	"tonocohort/testdata"
)

// A forward wave that is the flow and what the closed valve sends back, and its
// part R that returns after a delay: forward and backward waves are known.
func TestSeparationOfAKnownReflection(t *testing.T) {
	const n, step, ejection, zc = 450, 0.002, 0.30, 30.0
	for _, part := range []float64{0.3, 0.5, 0.7} {
		for _, delay := range []int{50, 75, 100} { // samples
			forward, backward := make([]float64, n), make([]float64, n)
			for range 200 { // until it is periodic
				for j := range forward {
					backward[j] = part * forward[(j-delay+n)%n]
					forward[j] = zc*triangle(float64(j)*step, 0.3*ejection, ejection) + backward[j]
				}
			}
			wave := make([]float64, n)
			for j := range wave {
				wave[j] = 70 + forward[j] + backward[j]
			}
			m := Indices{FootS: 0, EjectionMS: 1000 * ejection, MaximumSlope: zc / (0.3 * ejection)}
			s := Separate(wave, step, &m, TriangleThirty)
			f, b := span(forward), span(backward)
			if math.Abs(s.Forward-f) > 1e-9 || math.Abs(s.Backward-b) > 1e-9 {
				t.Errorf("R %.1f: %.3f and %.3f mmHg, want %.3f and %.3f", part, s.Forward, s.Backward, f, b)
			}
			if math.Abs(s.ReflectionMagnitude-part) > 1e-9 || math.Abs(s.ReflectionIndex-part/(1+part)) > 1e-9 {
				t.Errorf("R %.1f: magnitude %.4f, index %.4f", part, s.ReflectionMagnitude, s.ReflectionIndex)
			}
		}
	}
}

func span(x []float64) float64 { return slices.Max(x) - slices.Min(x) }

func TestSeparationIsAbsentWithAReason(t *testing.T) {
	wave := reflected(0.13, 0.3, early)
	m := Measure(wave, 0.002)
	if s := Separate(wave, 0.002, &m, TriangleShoulder); m.Type != "C" || !math.IsNaN(s.ReflectionMagnitude) || !slices.Equal(s.Notes, []string{NoteFlowNoShoulder}) {
		t.Errorf("type %s: %+v", m.Type, s)
	}
	if s := Separate(wave, 0.002, &m, TriangleThirty); math.IsNaN(s.ReflectionMagnitude) || s.Flow != TriangleThirty {
		t.Errorf("%+v", s)
	}
	nothing := absent()
	if s := Separate(wave, 0.002, &nothing, TriangleThirty); !slices.Equal(s.Notes, []string{NoteFlowNoEjection}) {
		t.Errorf("%+v", s)
	}
}

// A three-element windkessel is its own reservoir: the excess pressure is Zc·Q,
// so ks = 1/(Zc·C) and kd = 1/(R·C) (textbook). Zc 0.05, R 1, C 1.5, P∞ 30.
func TestReservoirOfAWindkessel(t *testing.T) {
	wave := exponentialAorta()
	for j := range wave {
		wave[j] += 30
	}
	m := Measure(wave, 0.002)
	m.FootS, m.EjectionMS = 0, 300 // of the flow, to leave the landmarks out of it
	r := MeasureReservoir(wave, 0.002, &m)
	if len(r.Notes) != 0 {
		t.Fatalf("notes %q", r.Notes)
	}
	if math.Abs(r.SystolicRate-1/(0.05*1.5)) > 0.2 || math.Abs(r.DiastolicRate-1/1.5) > 0.01 || math.Abs(r.Asymptote-30) > 0.5 {
		t.Errorf("ks %.3f, kd %.4f, P∞ %.2f; want 13.333, 0.6667, 30", r.SystolicRate, r.DiastolicRate, r.Asymptote)
	}
	if peak := 0.05 * 70 / 0.3 * math.Pi / 2; math.Abs(r.ExcessAmplitude-peak) > 0.3 {
		t.Errorf("excess %.2f mmHg, Zc times peak flow is %.2f", r.ExcessAmplitude, peak)
	}
	if want := 0.05 * 70; math.Abs(r.ExcessIntegral-want) > 0.05 {
		t.Errorf("excess integral %.3f mmHg·s, Zc times stroke volume is %.3f", r.ExcessIntegral, want)
	}
	if sum := r.ReservoirIntegral + r.ExcessIntegral; math.Abs(sum-(m.MAP-m.DBP)*0.9) > 1e-9 {
		t.Errorf("both integrals make %.6f, the wave above DBP %.6f", sum, (m.MAP-m.DBP)*0.9)
	}
}

func TestReservoirIsAbsentWithAReason(t *testing.T) {
	wave := exponentialAorta()
	m := Measure(wave, 0.002)
	late := m
	late.EjectionMS = 800
	rising := make([]float64, len(wave))
	for j := range rising {
		rising[j] = 160 - wave[j]
	}
	upside := m
	upside.DBP, upside.EjectionMS, upside.FootS = slices.Min(rising), 300, 0
	nothing := absent()
	for _, c := range []struct {
		wave []float64
		m    Indices
		note string
	}{{wave, nothing, NoteReservoirNoEjection}, {wave, late, NoteReservoirShort}, {rising, upside, NoteReservoirNoDecay}} {
		r := MeasureReservoir(c.wave, 0.002, &c.m)
		if !slices.Equal(r.Notes, []string{c.note}) || !math.IsNaN(r.Amplitude) || !math.IsNaN(r.SystolicRate) {
			t.Errorf("%s: %+v", c.note, r)
		}
	}
}

// Weissler 1968 (from memory) and Lance et al. (abstract) at 60, 70 and 80 bpm.
func TestExpectedEjection(t *testing.T) {
	for i, hr := range []float64{60, 70, 80} {
		men, women := []float64{311, 294, 277}[i], []float64{322, 306, 290}[i]
		if e := ExpectedEjection(hr, "male"); math.Abs(e.MS-men) > 1e-9 {
			t.Errorf("men at %g: %g ms, want %g", hr, e.MS, men)
		}
		if e := ExpectedEjection(hr, "female"); math.Abs(e.MS-women) > 1e-9 {
			t.Errorf("women at %g: %g ms, want %g", hr, e.MS, women)
		}
		if e := ExpectedEjection(hr, "unknown"); math.Abs(e.MS-(men+women)/2) > 1e-9 || e.SDMS != 10 {
			t.Errorf("unknown sex at %g: %+v", hr, e)
		}
		if e := ExpectedEjectionSeated(hr); math.Abs(e.MS-[]float64{271, 253, 235}[i]) > 1e-9 {
			t.Errorf("seated men at %g: %g ms", hr, e.MS)
		}
	}
}

func TestImplausible(t *testing.T) {
	good := Indices{EjectionMS: 310, FormFactor: 0.45, SupplyDemandPct: 160, PeakMS: 190}
	if notes := Implausible(&good, 65, "female"); notes != nil {
		t.Errorf("a plain wave: %q", notes)
	}
	nothing := absent()
	if notes := Implausible(&nothing, 65, ""); notes != nil {
		t.Errorf("nothing measured: %q", notes)
	}
	bad := Indices{EjectionMS: 480, FormFactor: 0.8, SupplyDemandPct: 500, PeakMS: 10}
	if notes := Implausible(&bad, 65, "male"); len(notes) != 4 {
		t.Errorf("four implausible indices: %q", notes)
	}
}

// Virtual people whose flow is known: the reflection magnitude by the triangle
// beside that by the flow itself, and shape indices of the estimated wave
// beside those of the true one.
func TestShapeOnVirtualPeople(t *testing.T) {
	people := virtualSubjects(t)
	folder := testdata.External(t, "data/onedim-train/waves")
	e, err := NewEstimator(TubeIndividual, nil)
	if err != nil {
		t.Fatal(err)
	}
	w := NewWorkspace()
	var byFlow, byTriangle []float64
	var magnitude, reservoir, factor spread
	for i := range people {
		p := &people[i]
		m := Measure(p.aorta, p.stepS)
		flow := oneBeat(t, csvRows(t, filepath.Join(folder, p.id+".csv")), 6, p.stepS*float64(len(p.aorta)))
		s := Separate(p.aorta, p.stepS, &m, TriangleThirty)
		byFlow = append(byFlow, magnitudeByFlow(w, p, flow, m.MaximumSlope))
		byTriangle = append(byTriangle, s.ReflectionMagnitude)
		got, err := e.Estimate(w, Beat{Wave: p.radial, StepS: p.stepS, Artery: Radial}, nil)
		if err != nil {
			t.Fatal(err)
		}
		k := Measure(got.Wave, p.stepS)
		magnitude = append(magnitude, Separate(got.Wave, p.stepS, &k, TriangleThirty).ReflectionMagnitude-s.ReflectionMagnitude)
		factor = append(factor, k.FormFactor-m.FormFactor)
		a, b := MeasureReservoir(got.Wave, p.stepS, &k), MeasureReservoir(p.aorta, p.stepS, &m)
		if d := a.Amplitude - b.Amplitude; !math.IsNaN(d) {
			reservoir = append(reservoir, d)
		}
	}
	r := correlation(byFlow, byTriangle)
	t.Logf("reflection magnitude by triangle: R² %.2f with the flow, mean %.2f against %.2f", r*r, mean(byTriangle), mean(byFlow))
	t.Logf("estimated less true wave: reflection magnitude %v, form factor %+.3f ± %.3f, reservoir amplitude %v mmHg (n %d)",
		magnitude, factor.mean(), factor.sd(), reservoir, len(reservoir))
	// Asklepios 2007 found R² 0.21 to 0.25, Westerhof BE 2006 0.79 to 0.85.
	if r*r < 0.25 {
		t.Errorf("R² %.2f with the measured flow", r*r)
	}
	if math.Abs(magnitude.mean()) > 0.1 || math.Abs(factor.mean()) > 0.05 {
		t.Errorf("estimated less true: reflection magnitude %v, form factor %v", magnitude, factor)
	}
}

// magnitudeByFlow is the reflection magnitude by the true flow, its impedance
// from the slopes of early systole.
func magnitudeByFlow(w *Workspace, p *virtualSubject, flow []float64, slope float64) float64 {
	c := w.curve(flow, p.stepS*float64(len(flow)))
	zc := slope / slices.Max(c.d1)
	forward, backward := make([]float64, len(flow)), make([]float64, len(flow))
	for j, v := range p.aorta {
		forward[j], backward[j] = (v+zc*flow[j])/2, (v-zc*flow[j])/2
	}
	return span(backward) / span(forward)
}

func correlation(a, b []float64) float64 {
	x, y := mean(a), mean(b)
	xy, xx, yy := 0.0, 0.0, 0.0
	for i := range a {
		xy += (a[i] - x) * (b[i] - y)
		xx += (a[i] - x) * (a[i] - x)
		yy += (b[i] - y) * (b[i] - y)
	}
	return xy / math.Sqrt(xx*yy)
}
