package pulse

import "testing"

// 40 s at 256 Hz, the size of recording that the cost of a whole run is
// reckoned with.
func BenchmarkAnalyse(b *testing.B) {
	x := pulseTrain(256, 40, 70, 0.5)
	a := NewAnalyser(defaults)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := a.Analyse(x, 256); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAnalyse1000Hz(b *testing.B) {
	x := pulseTrain(1000, 40, 70, 0.5)
	a := NewAnalyser(defaults)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := a.Analyse(x, 1000); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkZeroPhase(b *testing.B) {
	x := pulseTrain(256, 40, 70, 0.5)
	f := butterworth(20, 256)
	y, work := make([]float64, len(x)), make([]float64, len(x)+2*padding)
	for b.Loop() {
		f.zeroPhase(y, x, work)
	}
}
