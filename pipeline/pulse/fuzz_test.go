package pulse

import (
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// samplesFrom makes samples of any kind from bytes: the first byte chooses
// between counts of a converter, any 32-bit floating-point number, and a pulse
// train that the bytes disturb.
func samplesFrom(data []byte) []float64 {
	if len(data) == 0 {
		return nil
	}
	kind, data := data[0], data[1:]
	var x []float64
	switch kind % 3 {
	case 0:
		for ; len(data) >= 2; data = data[2:] {
			x = append(x, float64(int16(binary.LittleEndian.Uint16(data))))
		}
	case 1:
		for ; len(data) >= 4; data = data[4:] {
			x = append(x, float64(math.Float32frombits(binary.LittleEndian.Uint32(data))))
		}
	default:
		x = pulseTrain(128, 20, 70, 0)
		for ; len(data) >= 4; data = data[4:] {
			at := int(binary.LittleEndian.Uint16(data)) % len(x)
			v := float64(int16(binary.LittleEndian.Uint16(data[2:])))
			for i := at; i < min(at+int(data[3])%64+1, len(x)); i++ {
				switch data[2] % 4 {
				case 0:
					x[i] = math.NaN()
				case 1:
					x[i] = v
				case 2:
					x[i] += v / 300
				default:
					x[i] *= 1 + v/30000
				}
			}
		}
	}
	return x
}

func checkAnalysis(t *testing.T, a *Analyser, x []float64, hz float64) {
	r, err := a.Analyse(x, hz)
	checkResult(t, r)
	if err != nil {
		var f *Failure
		if !errors.As(err, &f) || f.Code == "" || f.Message == "" || r.Grade != Unusable || r.Average != nil {
			t.Fatalf("%v, %+v", err, r)
		}
		return
	}
	if r.Accepted < 1 || len(r.Average) < 1 || !(r.PeriodS > 0) || math.Abs(r.StepS*float64(len(r.Average))-r.PeriodS) > 1e-9 {
		t.Fatalf("%d accepted, %d samples of %g s, period %g s", r.Accepted, len(r.Average), r.StepS, r.PeriodS)
	}
	for _, v := range r.Average {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("average holds %g", v)
		}
	}
	if scale, offset, err := Calibrate(r.Average, BySBPDBP, 120, 80, 90); err == nil && (math.IsNaN(scale) || math.IsNaN(offset)) {
		t.Fatalf("calibrated by %g, %g", scale, offset)
	}
}

func FuzzAnalyse(f *testing.F) {
	r := rand.New(rand.NewPCG(3, 4))
	for kind := range byte(3) {
		for _, n := range []int{0, 1, 40, 400, 4000} {
			data := []byte{kind}
			for range n {
				data = append(data, byte(r.Uint32()))
			}
			f.Add(data, 128.0, 20.0)
		}
	}
	f.Add([]byte{2}, 30.0, 20.0)
	f.Add([]byte{2}, 20000.0, 0.01)
	f.Fuzz(func(t *testing.T, data []byte, hz, lowpass float64) {
		checkAnalysis(t, NewAnalyser(Settings{LowpassHz: lowpass, MinAccepted: 2, MinSeconds: 0}), samplesFrom(data), hz)
	})
}

// The same with many random inputs and one analyser, so that memory kept from
// one recording meets the next.
func TestAnyInput(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	a := NewAnalyser(Settings{LowpassHz: 20, MinAccepted: 1})
	rates := []float64{30, 44, 64, 128, 256, 1000, 4000, 20000}
	analysed := 0
	for range 600 {
		data := make([]byte, 1+r.IntN(3000))
		for i := range data {
			data[i] = byte(r.Uint32())
		}
		if r.IntN(2) == 0 {
			data[0] = 2
			data = data[:min(len(data), 1+4*r.IntN(30))]
		}
		x := samplesFrom(data)
		hz := rates[r.IntN(len(rates))]
		checkAnalysis(t, a, x, hz)
		analysed += len(a.beats)
	}
	if analysed < 1000 {
		t.Errorf("only %d beats were found: the inputs are too wild to test anything", analysed)
	}
}
