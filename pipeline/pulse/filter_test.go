package pulse

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"tonocohort/testdata"
)

// goldenFilters is what SciPy 1.10.1 made; the script stands beside the file.
type goldenFilters struct {
	Designs map[string]struct {
		Cut json.RawMessage
		FS  float64
		SOS [][6]float64
	}
	Filtfilt map[string]struct {
		First []float64 `json:"sosfiltfilt_first64"`
		Last  []float64 `json:"sosfiltfilt_last64"`
		Short []float64 `json:"short40_sosfiltfilt"`
	}
}

func loadGoldenFilters(t *testing.T) (g goldenFilters) {
	t.Helper()
	text, err := os.ReadFile(testdata.Path(t, "golden/out/p01_filters.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &g); err != nil {
		t.Fatal(err)
	}
	return g
}

func TestButterworthAgainstSciPy(t *testing.T) {
	g := loadGoldenFilters(t)
	for name, cut := range map[string]float64{"lp4_20_256": 20, "lp4_40_128": 40} {
		d := g.Designs[name]
		if len(d.SOS) != 2 {
			t.Fatalf("%s: %d sections", name, len(d.SOS))
		}
		f := butterworth(cut, d.FS)
		for k, s := range d.SOS {
			near(t, name+" a1", f[k].a1, s[4], 1e-13)
			near(t, name+" a2", f[k].a2, s[5], 1e-13)
		}
		near(t, name+" gain", f[0].b*f[1].b, d.SOS[0][0]*d.SOS[1][0], 1e-15)
	}
}

func TestZeroPhaseAgainstSciPy(t *testing.T) {
	const tolerance = 1e-10
	g := loadGoldenFilters(t).Filtfilt["lp4_20_256"]
	x := column(t, testdata.Path(t, "golden/in/signal.csv"), "p")
	f := butterworth(20, 256)
	n := len(x)
	y, work := make([]float64, n), make([]float64, n+2*padding)
	f.zeroPhase(y, x, work)
	worst := 0.0
	compare := func(got, want []float64) {
		for i := range want {
			worst = max(worst, math.Abs(got[i]-want[i]))
		}
	}
	compare(y[:64], g.First)
	compare(y[n-64:], g.Last)
	f.zeroPhase(y[:40], x[:40], work)
	compare(y[:40], g.Short)
	if len(g.First) != 64 || len(g.Last) != 64 || len(g.Short) != 40 || !(worst <= tolerance) {
		t.Errorf("largest difference %g of %d, %d, %d values", worst, len(g.First), len(g.Last), len(g.Short))
	}
	t.Logf("largest difference %.2g", worst)
}

// At its cut-off a Butterworth filter passes 1/√2 of an amplitude, so half of
// it forward and backward, at any sampling rate (Butterworth 1930, Exp
// Wireless 7:536-41); the squared gain of order 4 is 1/(1 + r⁸), where r is the
// ratio of the prewarped frequencies.
func TestZeroPhaseGain(t *testing.T) {
	for _, hz := range []float64{50, 128, 256, 1000, 20000} {
		for _, tone := range []float64{1, 10, 20} {
			f := butterworth(20, hz)
			x := make([]float64, int(6*hz))
			for i := range x {
				x[i] = 1e3 + math.Sin(2*math.Pi*tone*float64(i)/hz)
			}
			work := make([]float64, len(x)+2*padding)
			y := work[padding : padding+len(x)]
			f.zeroPhase(y, x, work)
			// Amplitude in phase and out of phase over whole seconds in the middle.
			in, out := 0.0, 0.0
			for i := int(2 * hz); i < int(4*hz); i++ {
				in += (y[i] - 1e3) * math.Sin(2*math.Pi*tone*float64(i)/hz) / hz
				out += (y[i] - 1e3) * math.Cos(2*math.Pi*tone*float64(i)/hz) / hz
			}
			r := math.Tan(math.Pi*tone/hz) / math.Tan(math.Pi*20/hz)
			near(t, "gain", in, 1/(1+math.Pow(r, 8)), 1e-8)
			near(t, "out of phase", out, 0, 1e-8)
		}
	}
}

func TestZeroPhaseKeepsAConstant(t *testing.T) {
	f := butterworth(20, 20000)
	x := make([]float64, 20000)
	for i := range x {
		x[i] = 1e6
	}
	f.zeroPhase(x, x, make([]float64, len(x)+2*padding))
	for i, v := range x {
		if math.Abs(v-1e6) > 1e-5 {
			t.Fatalf("sample %d: %.12g", i, v)
		}
	}
}
