package pulse

import (
	"encoding/json"
	"math"
	"os"
	"slices"
	"testing"

	"tonocohort/testdata"
)

// The feet of one simulated record, found by a separate program in NumPy with
// tangents at whole samples; the script stands beside the file.
func TestFeetAgainstAnotherProgram(t *testing.T) {
	var golden struct {
		FS    float64
		Feet  []float64 `json:"feet_intersecting_tangent"`
		First []float64 `json:"filtered_first32"`
	}
	text, err := os.ReadFile(testdata.Path(t, "golden/out/p02_pipeline.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &golden); err != nil {
		t.Fatal(err)
	}
	x := column(t, testdata.Path(t, "golden/in/record.csv"), "p_raw")
	r := analyse(t, defaults, x, golden.FS)
	if len(golden.Feet) != 14 {
		t.Fatalf("%d feet", len(golden.Feet))
	}
	for _, want := range golden.Feet {
		best := math.Inf(1)
		for _, b := range r.Beats {
			best = min(best, math.Abs(b.FootS*golden.FS-want))
		}
		if best > 0.5 {
			t.Errorf("foot at sample %.2f: nearest is %.2f samples off", want, best)
		}
	}
	if r.Accepted != 13 {
		t.Errorf("%d accepted %v", r.Accepted, reasons(r))
	}
}

// An upstroke A (1 − cos(π t/D)) / 2 has its steepest point at D/2 with slope
// π A / 2D, so its tangent meets the level before it at (1/2 − 1/π) D, wherever
// the upstroke begins between the samples.
func TestFootOfACosineUpstroke(t *testing.T) {
	const duration = 0.16
	for _, hz := range []float64{125, 256, 1000} {
		for _, begin := range []float64{0.3, 0.3013, 0.3031, 0.3055} {
			x := make([]float64, int(12*hz))
			for i := range x {
				since := float64(i)/hz - begin
				since -= math.Floor(since)
				if since < duration {
					x[i] = 50 * (1 - math.Cos(math.Pi*since/duration)) / 2
				} else { // not quite level before the upstroke: a level line would rest at the lowest value
					x[i] = 50*max(0, 1-(since-duration)/0.4) + 0.02*(1-since)
				}
			}
			for _, lowpass := range []float64{0, 20} {
				r := analyse(t, Settings{LowpassHz: lowpass, MinAccepted: 8, MinSeconds: 5}, x, hz)
				for i, b := range r.Beats {
					near(t, "foot", b.FootS, float64(i)+begin+(0.5-1/math.Pi)*duration, 0.0015)
				}
			}
		}
	}
}

func TestAverageOfEqualBeatsIsTheBeat(t *testing.T) {
	for _, hz := range []float64{60, 100, 128, 256, 1000, 5000} {
		for _, bpm := range []float64{45, 60, 97.3, 150} {
			x := pulseTrain(hz, 20, bpm, 0)
			r := analyse(t, Settings{LowpassHz: 0, MinAccepted: 8, MinSeconds: 5}, x, hz)
			near(t, "period", r.PeriodS, 60/bpm, 2e-4)
			near(t, "rate", r.HeartRateBPM, 60/r.PeriodS, 1e-12)
			near(t, "step", r.StepS*float64(len(r.Average)), r.PeriodS, 1e-12)
			if math.Abs(float64(len(r.Beats))-20*bpm/60) > 1.5 || r.Accepted < len(r.Beats)-1 {
				t.Errorf("%g Hz, %g per minute: %d beats %v", hz, bpm, len(r.Beats), reasons(r))
			}
			foot := r.Beats[1].FootS * bpm / 60
			worst := 0.0
			for j, v := range r.Average {
				phase := foot + float64(j)/float64(len(r.Average))
				worst = max(worst, math.Abs(v-40*pulseShape(phase-math.Floor(phase))))
			}
			// Coarse sampling of a fast pulse costs up to a few per cent of its height.
			if limit := 0.05 + 40*2*math.Pow(bpm/60/0.055/hz, 2); worst > limit {
				t.Errorf("%g Hz, %g per minute: average off by %.3f, limit %.3f", hz, bpm, worst, limit)
			}
		}
	}
}

func TestResultIsConsistent(t *testing.T) {
	r := analyse(t, defaults, column(t, testdata.Path(t, "golden/in/record.csv"), "p_raw"), 256)
	checkResult(t, r)
	if len(r.Stack) != r.Accepted {
		t.Fatalf("%d rows, %d accepted", len(r.Stack), r.Accepted)
	}
	amplitude := slices.Max(r.Average) - slices.Min(r.Average)
	if gap := math.Abs(r.Average[0] - r.Average[len(r.Average)-1]); gap > 0.1*amplitude {
		t.Errorf("the end lies %.3f from the start, amplitude %.3f", gap, amplitude)
	}
}

// checkResult holds whatever the input was.
func checkResult(t *testing.T, r Result) {
	t.Helper()
	n := 0
	for i, b := range r.Beats {
		if b.Accepted {
			n++
		}
		if b.Accepted != (b.Reason == "") || b.Accepted && !(b.PeriodS > 0) || b.FootS < b.OnsetS || b.Maximum < b.Minimum-1e-9*math.Abs(b.Minimum) {
			t.Errorf("beat %d: %+v", i, b)
		}
		if i > 0 && b.FootS <= r.Beats[i-1].FootS {
			t.Errorf("beat %d does not follow the one before", i)
		}
		if !math.IsNaN(b.PeriodS) && math.Abs(r.Beats[i+1].FootS-b.FootS-b.PeriodS) > 1e-6 {
			t.Errorf("beat %d: period %g, next foot after %g", i, b.PeriodS, r.Beats[i+1].FootS-b.FootS)
		}
	}
	if n != r.Accepted {
		t.Errorf("%d accepted, said %d", n, r.Accepted)
	}
	for j, v := range r.Average {
		sum := 0.0
		for _, row := range r.Stack {
			sum += row[j]
		}
		if !(math.Abs(sum/float64(len(r.Stack))-v) <= 1e-9*(1+math.Abs(v))) {
			t.Fatalf("average[%d] = %g, mean of the stack %g", j, v, sum/float64(len(r.Stack)))
		}
	}
}

// Scale and offset of an uncalibrated wave change nothing but the pressures.
func TestScaleAndOffset(t *testing.T) {
	x := column(t, testdata.Path(t, "golden/in/record.csv"), "p_raw")
	want := analyse(t, defaults, x, 256)
	for _, c := range [][2]float64{{1e-4, 0}, {3, -1000}, {250, 1e5}, {0.02, -3}} {
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = c[0]*v + c[1]
		}
		got := analyse(t, defaults, y, 256)
		if len(got.Beats) != len(want.Beats) || got.Grade != want.Grade {
			t.Fatalf("%v: %d beats, want %d", c, len(got.Beats), len(want.Beats))
		}
		for i, b := range got.Beats {
			w := want.Beats[i]
			near(t, "foot", b.FootS, w.FootS, 1e-7)
			near(t, "onset", b.OnsetS, w.OnsetS, 1e-6)
			near(t, "maximum", b.Maximum, c[0]*w.Maximum+c[1], 1e-6*c[0]+1e-12*math.Abs(c[1]))
			if b.Reason != w.Reason {
				t.Errorf("%v: beat %d %q, want %q", c, i, b.Reason, w.Reason)
			}
		}
		for j, v := range got.Average {
			near(t, "average", v, c[0]*want.Average[j]+c[1], 1e-6*c[0]+1e-11*math.Abs(c[1]))
		}
	}
}

// A recording that starts later has the same beats, earlier.
func TestTimeShift(t *testing.T) {
	x := column(t, testdata.Path(t, "golden/in/record.csv"), "p_raw")
	want := analyse(t, defaults, x, 256)
	for _, cut := range []int{1, 100, 333} {
		got := analyse(t, defaults, x[cut:], 256)
		checked := 0
		for _, b := range got.Beats {
			at := b.FootS + float64(cut)/256
			for _, w := range want.Beats {
				if math.Abs(w.FootS-at) < 0.1 && b.FootS > 1 {
					near(t, "foot", at, w.FootS, 1e-9)
					checked++
				}
			}
		}
		if checked < len(got.Beats)-2 {
			t.Errorf("cut %d: %d of %d beats met", cut, checked, len(got.Beats))
		}
	}
}

func TestNoiseMovesFeetLittle(t *testing.T) {
	for _, c := range []struct{ noise, limitMS float64 }{{0.2, 2}, {0.8, 6}} {
		r := analyse(t, defaults, pulseTrain(256, 40, 66, c.noise), 256)
		if r.Grade != Usable || r.Accepted < len(r.Beats)-1 {
			t.Errorf("noise %g: %s, %v", c.noise, r.Grade, reasons(r))
		}
		clean := analyse(t, defaults, pulseTrain(256, 40, 66, 0), 256)
		var s spread
		for i := range clean.Beats {
			s.add(1000 * (r.Beats[i].FootS - clean.Beats[i].FootS))
		}
		t.Logf("noise %g: feet move by %.2f ± %.2f ms", c.noise, s.mean, s.sd())
		if math.Abs(s.mean) > c.limitMS || s.sd() > c.limitMS {
			t.Errorf("noise %g: feet move by %.2f ± %.2f ms", c.noise, s.mean, s.sd())
		}
	}
}

func TestOneAnalyserForAllRecordings(t *testing.T) {
	record := column(t, testdata.Path(t, "golden/in/record.csv"), "p_raw")
	want := analyse(t, defaults, record, 256)
	a := NewAnalyser(defaults)
	for _, other := range []struct {
		x  []float64
		hz float64
	}{{pulseTrain(1000, 60, 80, 0.3), 1000}, {nil, 256}, {pulseTrain(125, 3, 50, 5), 125}, {make([]float64, 4000), 100}} {
		_, _ = a.Analyse(other.x, other.hz) // some of these fail; nothing of them may stay
		got, err := a.Analyse(record, 256)
		if err != nil || !slices.Equal(got.Average, want.Average) || got.Grade != want.Grade {
			t.Errorf("another result after another recording: %v", err)
		}
	}
}
