package central

import (
	"math"
	"testing"
)

// sine returns one second of a sine of unit amplitude around a mean of 90.
func sine(hz float64, n int) []float64 {
	wave := make([]float64, n)
	for j := range wave {
		wave[j] = 90 + math.Sin(2*math.Pi*hz*float64(j)/float64(n))
	}
	return wave
}

// The amplitude response of a window of w seconds is |sin(πfw)/(πfw)| (textbook).
func TestMovingAverageResponse(t *testing.T) {
	for _, c := range []struct {
		artery       string
		hz, response float64
	}{
		{Radial, 1, 0.9003},
		{Radial, 2, 0.6366},
		{Radial, 3, 0.3001},
		{Radial, 4, 0}, // first null, at the radial resonance of Karamanoglu 1993
		{Radial, 5, 0.1801},
		{Brachial, 3, 2 / math.Pi},
		{Brachial, 6, 0},
	} {
		for _, n := range []int{997, 1000, 4096} { // the window need not be whole samples
			got, ok := MovingAverage(sine(c.hz, n), 1/float64(n), c.artery)
			if !ok || math.Abs(got-90-c.response) > 7e-5 {
				t.Errorf("%s, %g Hz, %d samples: amplitude %.5f, want %.4f", c.artery, c.hz, n, got-90, c.response)
			}
		}
	}
}

func TestMovingAverageIsAbsentWhereNothingIsPublished(t *testing.T) {
	wave := sine(1, 500)
	for _, c := range []struct {
		wave   []float64
		step   float64
		artery string
	}{
		{wave, 0.002, Carotid},
		{wave, 0.002, Aortic},
		{wave[:100], 0.002, Radial}, // shorter than the window
		{append([]float64{math.NaN()}, wave...), 0.002, Radial},
		{nil, 0.002, Radial},
		{wave, math.NaN(), Radial},
		{wave, 0, Radial},
	} {
		if got, ok := MovingAverage(c.wave, c.step, c.artery); ok || !math.IsNaN(got) {
			t.Errorf("%s, %d samples of %g s: %v", c.artery, len(c.wave), c.step, got)
		}
	}
}

func TestMovingAverageDoesNotDependOnTheStart(t *testing.T) {
	wave := make([]float64, 430)
	for j := range wave {
		x := 2 * math.Pi * float64(j) / float64(len(wave))
		wave[j] = 90 + 20*math.Sin(x) + 9*math.Cos(2*x) + 4*math.Sin(3*x+1)
	}
	want, _ := MovingAverage(wave, 0.002, Radial)
	for shift := range wave {
		rotated := append(append([]float64(nil), wave[shift:]...), wave[:shift]...)
		if got, _ := MovingAverage(rotated, 0.002, Radial); math.Abs(got-want) > 1e-11 {
			t.Fatalf("started %d samples later: %v, not %v", shift, got, want)
		}
	}
}
