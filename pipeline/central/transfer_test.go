package central

import (
	"encoding/json"
	"math"
	"math/cmplx"
	"os"
	"testing"

	"tonocohort/testdata"
)

// forward is the gain aorta → artery of a tube, without the band limit.
func forward(t Tube, hz float64) (modulus, degrees float64) {
	h := 1 / t.Response(hz)
	return cmplx.Abs(h), cmplx.Phase(h) * 180 / math.Pi
}

// The tables follow from the equations of the lossless line (textbook) with
// the parameters that give the published peak; they were worked out with other
// software, to the digits shown.
func TestTubeGainTables(t *testing.T) {
	tables := []struct {
		name                 string
		tube                 Tube
		hz, modulus, degrees []float64
	}{
		{
			"constant", ConstantTube(Radial),
			[]float64{0.5, 1, 2, 3, 4, 5, 6, 7, 8},
			[]float64{1.0170, 1.0707, 1.3318, 1.9791, 2.8000, 1.9791, 1.3318, 1.0707, 1.0000},
			[]float64{-4.06, -8.41, -19.65, -40.77, -90.0, -139.23, -160.35, -171.59, -180.0},
		},
		{
			"windkessel", WindkesselTube(Radial),
			[]float64{0.5, 1, 2, 3, 4, 5, 6, 7, 8, 10},
			[]float64{1.0185, 1.0767, 1.3575, 2.0319, 2.8004, 2.0220, 1.3755, 1.0774, 0.9403, 0.8938},
			[]float64{-1.07, -2.50, -8.42, -25.34, -69.71, -113.21, -131.73, -141.40, -148.64, -163.36},
		},
	}
	for _, table := range tables {
		for i, hz := range table.hz {
			modulus, degrees := forward(table.tube, hz)
			if math.Abs(modulus-table.modulus[i]) > 5.1e-5 {
				t.Errorf("%s tube at %g Hz: modulus %.5f, table %.4f", table.name, hz, modulus, table.modulus[i])
			}
			turned := math.Mod(degrees-table.degrees[i]+540, 360) - 180 // −180° is +180°
			if math.Abs(turned) > 5.1e-3 {
				t.Errorf("%s tube at %g Hz: phase %.4f°, table %.2f°", table.name, hz, degrees, table.degrees[i])
			}
		}
	}
}

// Karamanoglu 1993, Eur Heart J 14:160-7: the forward gain peaks at 2.8 at 4 Hz
// (radial) and 2.5 at 5 Hz (brachial).
func TestForwardGainHasThePublishedPeak(t *testing.T) {
	for _, c := range []struct {
		tube           Tube
		hz, height     float64
		nearHz, nearBy float64
	}{
		{ConstantTube(Radial), 4, 2.8, 1e-6, 1e-12},
		{ConstantTube(Brachial), 5, 2.5, 1e-6, 1e-12},
		{WindkesselTube(Radial), 4, 2.8, 0.03, 2e-3},
		{WindkesselTube(Brachial), 5, 2.5, 0.03, 2e-3},
	} {
		best, top := 0.0, 0.0
		for hz := 1.0; hz < 8; hz += 1.0 / 1024 {
			if m, _ := forward(c.tube, hz); m > top {
				best, top = hz, m
			}
		}
		if math.Abs(best-c.hz) > c.nearHz+1.0/1024 || math.Abs(top-c.height) > c.nearBy {
			t.Errorf("%+v: peak %.5f at %.4f Hz, published %.1f at %.0f Hz", c.tube, top, best, c.height, c.hz)
		}
	}
}

func TestGainAtZeroFrequencyIsExactlyOne(t *testing.T) {
	for _, method := range []string{TubeConstant, TubeWindkessel, None} {
		for _, artery := range []string{Radial, Brachial, Carotid, Aortic} {
			f, err := For(method, artery)
			if err != nil {
				t.Fatal(err)
			}
			if g := f.Gain(0); g != 1 {
				t.Errorf("%s of a %s wave: gain %v at 0 Hz", method, artery, g)
			}
			if want := method; artery == Carotid || artery == Aortic {
				want = None
				if f.Name() != want {
					t.Errorf("a %s wave goes through %q", artery, f.Name())
				}
			}
		}
	}
	if _, err := For(TubeConstant, "femoral"); err == nil {
		t.Error("a femoral wave has no transfer function here, but no error came")
	}
	if _, err := For(MovingAverageMethod, Radial); err == nil {
		t.Error("the moving average has no transfer function, but no error came")
	}
}

func TestRollOff(t *testing.T) {
	for _, c := range [][2]float64{{0, 1}, {8, 1}, {9, (1 + math.Sqrt2/2) / 2}, {10, 0.5}, {11, (1 - math.Sqrt2/2) / 2}, {12, 0}, {40, 0}} {
		if g := RollOff(c[0]); math.Abs(g-c[1]) > 1e-15 {
			t.Errorf("at %g Hz: %v, want %v", c[0], g, c[1])
		}
	}
	if g, want := ConstantTube(Radial).Gain(10), ConstantTube(Radial).Response(10)/2; cmplx.Abs(g-want) > 1e-15 {
		t.Errorf("the tube at 10 Hz has gain %v, want half of its response, %v", g, want)
	}
}

// unlimited is a tube without the band limit.
type unlimited struct{ Tube }

func (u unlimited) Gain(hz float64) complex128 { return u.Response(hz) }

// golden is an aortic beat of ten harmonics and the radial beats that tubes
// with windkessel loads make of it (scipy 1.10.1): the truth is known.
type golden struct {
	FS     float64
	N      int
	Mean   float64
	Aortic []float64
	SBP    float64 `json:"aortic_sbp"`
	DBP    float64 `json:"aortic_dbp"`
	Cases  []struct {
		Td, A, B      float64
		Radial        []float64
		Reconstructed []float64 `json:"reconstructed_with_generic"`
		SBP           float64   `json:"central_sbp"`
		DBP           float64   `json:"central_dbp"`
	}
}

func readGolden(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(testdata.Path(t, "golden/out/"+name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

func windkessel(td, a, b float64) Tube {
	return Tube{Method: TubeWindkessel, TravelS: td, Reflection: 1 / (1 + b), ReflectionS: a / (1 + b)}
}

func TestApplyGivesBackTheAorticWave(t *testing.T) {
	var g golden
	readGolden(t, "p02_transfer.json", &g)
	period := float64(g.N) / g.FS
	w := NewWorkspace()
	for _, c := range g.Cases {
		own := w.Apply(unlimited{windkessel(c.Td, c.A, c.B)}, c.Radial, period, nil)
		if d := largestDifference(own, g.Aortic); d > 1e-9 {
			t.Errorf("Td %g: with its own parameters %g mmHg from the truth", c.Td, d)
		}
		generic := w.Apply(unlimited{windkessel(0.06, 0.1, 0.2)}, c.Radial, period, nil)
		if d := largestDifference(generic, c.Reconstructed); d > 1e-9 {
			t.Errorf("Td %g: with other parameters %g mmHg from scipy", c.Td, d)
		}
		m := Measure(generic, 1/g.FS)
		if math.Abs(m.SBP-c.SBP) > 0.02 || math.Abs(m.DBP-c.DBP) > 0.02 || math.Abs(m.MAP-g.Mean) > 1e-9 {
			t.Errorf("Td %g: %.3f/%.3f, mean %.9f; the extreme samples are %.3f/%.3f and the mean %g",
				c.Td, m.SBP, m.DBP, m.MAP, c.SBP, c.DBP, g.Mean)
		}
	}
}

func largestDifference(a, b []float64) float64 {
	if len(a) != len(b) {
		return math.Inf(1)
	}
	worst := 0.0
	for i := range a {
		worst = max(worst, math.Abs(a[i]-b[i]))
	}
	return worst
}

// One record through an independent program (scipy 1.10.1). Its answers are
// not the truth, so only what both define alike is compared tightly.
func TestOneRecordAgreesWithAnotherProgram(t *testing.T) {
	var g struct {
		FS       float64
		Radial   []float64 `json:"radial_calibrated"`
		Aortic   []float64
		H        struct{ Re, Im []float64 }
		Features struct {
			CSBP, CDBP, MAP, ED float64
		} `json:"aortic_features"`
	}
	readGolden(t, "p02_pipeline.json", &g)
	n := len(g.Radial)
	tube := unlimited{windkessel(0.06, 0.1, 0.2)}
	period := float64(n) / g.FS
	for k := 0; float64(k)/period < bandHz; k++ {
		if d := cmplx.Abs(tube.Gain(float64(k)/period) - complex(g.H.Re[k], g.H.Im[k])); d > 1e-12 {
			t.Errorf("harmonic %d: gains differ by %g", k, d)
		}
	}
	aortic := Apply(tube, g.Radial, period, nil)
	if d := largestDifference(aortic, g.Aortic); d > 1e-9 {
		t.Errorf("aortic waves differ by %g mmHg", d)
	}
	m := Measure(aortic, 1/g.FS)
	if math.Abs(m.SBP-g.Features.CSBP) > 0.05 || math.Abs(m.DBP-g.Features.CDBP) > 0.05 || math.Abs(m.MAP-g.Features.MAP) > 1e-9 {
		t.Errorf("%.3f/%.3f, mean %.6f; the other program has %+v", m.SBP, m.DBP, m.MAP, g.Features)
	}
	// Its times count from the minimum, ours from the tangents, which meet later.
	if early := 1000*g.Features.ED - m.EjectionMS; early < 0 || early > 30 {
		t.Errorf("ejection %.0f ms; the other program has %+v", m.EjectionMS, g.Features)
	}
}

func TestApplyKeepsMeanLengthAndCarotidWaves(t *testing.T) {
	for _, n := range []int{64, 197, 211, 256, 1000} {
		wave := make([]float64, n)
		for j := range wave {
			x := 2 * math.Pi * float64(j) / float64(n)
			wave[j] = 93 + 21*math.Sin(x) + 11*math.Cos(2*x-1) + 5*math.Sin(5*x) + 0.5*math.Cos(30*x)
		}
		before := append([]float64(nil), wave...)
		for _, artery := range []string{Radial, Brachial, Carotid} {
			f, err := For(TubeConstant, artery)
			if err != nil {
				t.Fatal(err)
			}
			out := Apply(f, wave, 0.9, nil)
			if len(out) != n || math.Abs(mean(out)-93) > 1e-11 {
				t.Errorf("%d samples, %s: %d samples of mean %.14f came out", n, artery, len(out), mean(out))
			}
			if artery == Carotid && largestDifference(out, wave) != 0 {
				t.Errorf("%d samples: a carotid wave was changed", n)
			}
		}
		if largestDifference(before, wave) != 0 {
			t.Errorf("%d samples: the caller's wave was changed", n)
		}
	}
}

// A second use of a workspace must not remember the first.
func TestWorkspaceRemembersNothing(t *testing.T) {
	var g golden
	readGolden(t, "p02_transfer.json", &g)
	w := NewWorkspace()
	long := make([]float64, 900)
	for j := range long {
		long[j] = math.Sin(float64(j) / 40)
	}
	want := Apply(ConstantTube(Radial), g.Cases[0].Radial, 0.82, nil)
	w.Measure(w.Apply(WindkesselTube(Brachial), long, 1.7, nil), 0.002)
	if d := largestDifference(w.Apply(ConstantTube(Radial), g.Cases[0].Radial, 0.82, nil), want); d != 0 {
		t.Errorf("a used workspace differs by %g mmHg", d)
	}
}
