package central

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"tonocohort/schema"
)

// radialTable is the gain of the constant tube as a table.
func radialTable() *Table {
	t := &Table{Artery: Radial, Source: "the constant tube"}
	for hz := 0.125; hz <= 14; hz += 0.125 {
		modulus, degrees := forward(ConstantTube(Radial), hz)
		phase := -degrees * math.Pi / 180
		if n := len(t.Phase); n > 0 {
			phase -= 2 * math.Pi * math.Round((phase-t.Phase[n-1])/(2*math.Pi))
		}
		t.Hz, t.Modulus, t.Phase = append(t.Hz, hz), append(t.Modulus, 1/modulus), append(t.Phase, phase)
	}
	return t
}

// Every method of the contract has an estimator, with a name, a source and
// limits; its estimate follows scale and offset of the beat, and a carotid wave
// is left alone by every method that makes a wave.
func TestEstimatorsOfTheContract(t *testing.T) {
	w := NewWorkspace()
	radial := w.Apply(inverted{NewIndividual(Radial).population}, reflected(0.13, 0.3, early), 0.9, nil)
	scaled := make([]float64, len(radial))
	for j, v := range radial {
		scaled[j] = 7 + 0.031*v
	}
	for _, method := range schema.CentralMethods {
		e, err := NewEstimator(method, radialTable())
		if err != nil {
			t.Fatal(err)
		}
		if e.Name() != method || e.Source() == "" || e.Limits() == "" {
			t.Errorf("%s: name %q, source %q, limits %q", method, e.Name(), e.Source(), e.Limits())
		}
		a, err := e.Estimate(w, Beat{Wave: radial, StepS: 0.002, Artery: Radial}, nil)
		if err != nil {
			t.Fatal(err)
		}
		b, err := e.Estimate(w, Beat{Wave: scaled, StepS: 0.002, Artery: Radial}, nil)
		if err != nil {
			t.Fatal(err)
		}
		if math.IsNaN(a.SBP) || math.Abs(b.SBP-(7+0.031*a.SBP)) > 1e-6 {
			t.Errorf("%s: %v mmHg, scaled %v", method, a.SBP, b.SBP)
		}
		if a.Method != method || (a.Transfer == nil) != (a.Wave == nil) {
			t.Errorf("%s: estimate of %q with transfer %v and %d samples", method, a.Method, a.Transfer, len(a.Wave))
		}
		if s := e.Spread(w, Beat{Wave: radial, StepS: 0.002, Artery: Radial}, a); (a.Wave == nil || method == TransferTable) != math.IsNaN(s.SBP) || (method == None) != (s == Spread{}) {
			t.Errorf("%s: spread %+v", method, s)
		}
		carotid, err := e.Estimate(w, Beat{Wave: radial, StepS: 0.002, Artery: Carotid}, nil)
		switch {
		case err != nil:
			t.Errorf("%s of a carotid wave: %v", method, err)
		case a.Wave == nil && (!math.IsNaN(carotid.SBP) || len(carotid.Notes) != 1):
			t.Errorf("%s of a carotid wave: %v, notes %q", method, carotid.SBP, carotid.Notes)
		case a.Wave != nil && (carotid.Method != None || largestDifference(carotid.Wave, radial) != 0):
			t.Errorf("%s of a carotid wave: it went through %q", method, carotid.Method)
		}
		if _, err := e.Estimate(w, Beat{Wave: radial, StepS: 0.002, Artery: "femoral"}, nil); err == nil && a.Wave != nil && method != None {
			t.Errorf("%s made an aortic wave of a femoral one", method)
		}
	}
	if _, err := NewEstimator(TransferTable, nil); err == nil {
		t.Error("a transfer table without a table made no error")
	}
	if _, err := NewEstimator("guess", nil); err == nil {
		t.Error("an unknown method made no error")
	}
}

func TestTableOfTheTubeActsLikeTheTube(t *testing.T) {
	w := NewWorkspace()
	wave := reflected(0.12, 0.4, incisura)
	want := w.Apply(ConstantTube(Radial), wave, 0.9, nil)
	got := w.Apply(radialTable(), wave, 0.9, nil)
	if d := largestDifference(got, want); d > 0.05 {
		t.Errorf("%g mmHg between the tube and its table", d)
	}
	if g := radialTable().Gain(0); g != 1 {
		t.Errorf("gain %v at 0 Hz", g)
	}
}

func TestParseTable(t *testing.T) {
	text := &strings.Builder{}
	text.WriteString("# artery: radial\n# source: Karamanoglu's peak\n# direction: aorta_to_artery\nhz,modulus,phase_deg\n0,1,0\n")
	for hz := 0.25; hz <= 12; hz += 0.25 {
		m, p := forward(ConstantTube(Radial), hz) // wrapped into ±180°
		fmt.Fprintf(text, "%g,%.9f,%.7f\n", hz, m, p)
	}
	table, err := ParseTable([]byte(text.String()))
	if err != nil {
		t.Fatal(err)
	}
	if table.Source != "Karamanoglu's peak" || table.Artery != Radial || len(table.Hz) != 48 {
		t.Errorf("%q, %q, %d rows", table.Source, table.Artery, len(table.Hz))
	}
	for hz := 0.25; hz < 12; hz += 0.25 {
		want := ConstantTube(Radial).Gain(hz)
		if got := table.Gain(hz); math.Abs(real(got-want)) > 1e-6 || math.Abs(imag(got-want)) > 1e-6 {
			t.Errorf("%g Hz: %v, want %v", hz, got, want)
		}
	}
	head := "# direction: artery_to_aorta\nhz,modulus,phase_deg\n"
	for name, text := range map[string]string{
		"empty":            "",
		"no direction":     "hz,modulus,phase_deg\n1,1,0\n5,1,0\n",
		"header":           "# direction: artery_to_aorta\nf,m,p\n1,1,0\n",
		"no rows":          head,
		"ends early":       head + "1,1,0\n3,1,0\n",
		"descends":         head + "5,1,0\n1,1,0\n",
		"zero modulus":     head + "1,0,0\n5,1,0\n",
		"text":             head + "1,one,0\n5,1,0\n",
		"not finite":       head + "1,Inf,0\n5,1,0\n",
		"mean not kept":    head + "0,0.9,0\n1,1,0\n5,1,0\n",
		"wrong artery":     "# artery: femoral\n" + head + "1,1,0\n5,1,0\n",
		"too many columns": head + "1,1,0,4\n5,1,0\n",
	} {
		if _, err := ParseTable([]byte(text)); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestLateShoulder(t *testing.T) {
	w := NewWorkspace()
	// After an early peak: between the arrival of the reflection and its peak.
	wave := reflected(0.14, 0.3, early)
	got, ok := w.LateShoulder(wave, 0.002)
	if m := Measure(wave, 0.002); !ok || got != m.LateSystolic {
		t.Errorf("late shoulder %v, late systolic pressure %v", got, m.LateSystolic)
	}
	// Where the second peak is the higher one it is the late shoulder.
	if got, ok := w.LateShoulder(reflected(0.135, 0.5, plateau), 0.002); !ok || math.Abs(got-140) > 0.01 {
		t.Errorf("higher second peak: %v, want 80 + 40·1.5", got)
	}
	tone := make([]float64, 300)
	for j := range tone {
		tone[j] = 90 - 20*math.Cos(2*math.Pi*float64(j)/300)
	}
	for _, wave := range [][]float64{tone, make([]float64, 300), nil, {math.NaN()}} {
		if got, ok := w.LateShoulder(wave, 0.003); ok || !math.IsNaN(got) {
			t.Errorf("a wave of %d samples without a shoulder: %v", len(wave), got)
		}
	}
}

func TestLateShoulderOnVirtualPeople(t *testing.T) {
	var errors spread
	none := 0
	w := NewWorkspace()
	for _, p := range virtualSubjects(t) {
		if got, ok := w.LateShoulder(p.radial, p.stepS); ok {
			errors = append(errors, got-p.truth["aorta_root_sbp"])
		} else {
			none++
		}
	}
	t.Logf("central SBP by the late shoulder of the radial wave: %v mmHg, %d without", errors, none)
	// Zhang 2011, J Hypertens 29:676-81: 1.2 ± 5.1 to 13.9 ± 10.9 mmHg too low.
	if errors.mean() > 1 || errors.mean() < -14 || errors.sd() > 11 {
		t.Errorf("late shoulder %v mmHg", errors)
	}
}
