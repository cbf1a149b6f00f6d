package central

import (
	"math"
	"testing"
)

func TestCrossing(t *testing.T) {
	for _, c := range []struct {
		name       string
		f          func(float64) float64
		low, high  float64
		want       float64
		mostValues int
	}{
		{"cube root of two", func(x float64) float64 { return x*x*x - 2 }, 0, 2, math.Cbrt(2), 20},
		{"logarithm", func(x float64) float64 { return math.Exp(x) - 10 }, 0, 20, math.Log(10), 60},
		{"line", func(x float64) float64 { return 3*x - 1 }, -1, 1, 1.0 / 3, 3},
		{"above zero", func(x float64) float64 { return x + 1 }, 0, 1, 0, 0},
		{"below zero", func(x float64) float64 { return x - 2 }, 0, 1, 1, 0},
		{"no value", func(float64) float64 { return math.NaN() }, 0, 1, 0, 0},
	} {
		values := 0
		f := func(x float64) float64 { values++; return c.f(x) }
		got := crossing(f, c.low, c.f(c.low), c.high, c.f(c.high))
		if !(math.Abs(got-c.want) <= 1e-12*max(1, c.want)) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
		if values > c.mostValues {
			t.Errorf("%s: %d values, want at most %d", c.name, values, c.mostValues)
		}
	}
}

// A decay that is an exponential has one answer, which the fit finds to all the
// digits that the sum of squares tells; a search by values alone finds half.
func TestDecayOfExponential(t *testing.T) {
	for _, rate := range []float64{0.5, 1.7, 2.5, 9} {
		for _, asymptote := range []float64{0, 31, 60} {
			d := decayFit{step: 1.0 / 256, x: make([]float64, 130), e: make([]float64, 130)}
			for i := range d.x {
				d.x[i] = asymptote + 45*math.Exp(-rate*float64(i)*d.step)
			}
			if !d.fit(76) {
				t.Fatal("no fit")
			}
			if math.Abs(d.rate-rate) > 1e-8*rate || math.Abs(d.asymptote-asymptote) > 1e-6 || math.Abs(d.amplitude-45) > 1e-6 {
				t.Errorf("rate %v, asymptote %v: found %v, %v, %v", rate, asymptote, d.rate, d.asymptote, d.amplitude)
			}
		}
	}
	// Beyond the bounds the nearest bound is the answer.
	d := decayFit{step: 1.0 / 256, x: make([]float64, 130), e: make([]float64, 130)}
	for i := range d.x {
		d.x[i] = 80 + 30*math.Exp(-2*float64(i)*d.step)
	}
	if !d.fit(76) || !d.bound || d.asymptote != 76 {
		t.Errorf("asymptote %v, bound %v, want 76 on its bound", d.asymptote, d.bound)
	}
	best := d.try(d.rate, 76)
	for _, by := range []float64{0.999, 1.001} {
		if d.try(d.rate*by, 76) < best {
			t.Errorf("a rate of %v is better than %v", d.rate*by, d.rate)
		}
	}
}

// Rates that are tried together are tried one by one, to the bit.
func TestRatesTogetherAndAlone(t *testing.T) {
	d := decayFit{step: 1.0 / 256, x: make([]float64, 130), e: make([]float64, 130)}
	for i := range d.x {
		d.x[i] = 60 + 40*math.Exp(-1.7*float64(i)*d.step) + math.Sin(float64(i))
	}
	if !d.fit(76) {
		t.Fatal("no fit")
	}
	for i, s := range d.sums([ratesTogether]float64{0.3, 12}) {
		rate := [ratesTogether]float64{0.3, 12}[i]
		d.solve(rate, s, 76)
		asymptote, amplitude := d.asymptote, d.amplitude
		if d.at(rate, 76); d.asymptote != asymptote || d.amplitude != amplitude {
			t.Errorf("rate %v: %v and %v together, %v and %v alone", rate, asymptote, amplitude, d.asymptote, d.amplitude)
		}
	}
	rates := [fillingTogether]float64{1, 5, 20, 90}
	for i, pressure := range d.filled(rates, d.x, 100, d.step, 70) {
		alone, by := 70.0, d.advance(rates[i], d.step)
		for j := range 100 {
			alone = by.next(alone, d.x[j], d.x[j+1])
		}
		if pressure != alone {
			t.Errorf("filling at %v: %v together, %v alone", rates[i], pressure, alone)
		}
	}
}

func BenchmarkReservoir(b *testing.B) {
	w := NewWorkspace()
	wave := reflected(0.12, 0.4, incisura)
	m := w.Measure(wave, 0.002)
	b.ReportAllocs()
	for b.Loop() {
		if r := w.MeasureReservoir(wave, 0.002, &m); math.IsNaN(r.Amplitude) {
			b.Fatal(r.Notes)
		}
	}
}
