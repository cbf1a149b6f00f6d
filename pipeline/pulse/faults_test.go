package pulse

import (
	"errors"
	"math"
	"slices"
	"testing"
)

func TestGaps(t *testing.T) {
	x := pulseTrain(256, 40, 60, 0.2)
	for i := 3000; i < 3500; i++ {
		x[i] = math.NaN()
	}
	x[7000] = math.Inf(1)
	x[7001] = 9.9e36 // a fill value
	before := slices.Clone(x)
	r := analyse(t, defaults, x, 256)
	checkResult(t, r)
	for i, b := range r.Beats {
		for _, gap := range [][2]float64{{3000, 3500}, {7000, 7002}} {
			if from, to := gap[0]/256, gap[1]/256; b.Accepted && b.FootS < to && b.FootS+b.PeriodS > from {
				t.Errorf("beat %d spans a gap: %+v", i, b)
			}
		}
		if phase := b.FootS - r.Beats[0].FootS; math.Abs(phase-math.Round(phase)) > 0.02 {
			t.Errorf("beat %d: foot at %.3f s", i, b.FootS)
		}
	}
	if reasons(r)[RuleIncomplete] != 3 || r.Accepted < 32 {
		t.Errorf("%v", reasons(r))
	}
	if r.Grade != Usable {
		t.Errorf("%s %v: 2 of 40 s are missing", r.Grade, r.GradeReasons)
	}
	for i, v := range before {
		if v != x[i] && !(math.IsNaN(v) && math.IsNaN(x[i])) {
			t.Fatal("the samples were changed")
		}
	}
	for i := 3000; i < 6000; i++ {
		x[i] = math.NaN()
	}
	if r := analyse(t, defaults, x, 256); r.Grade != Doubtful || !slices.Equal(r.GradeReasons, []string{GradeDropouts}) {
		t.Errorf("%s %v", r.Grade, r.GradeReasons)
	}
}

// A low-pass that cannot be made is left out, and that is said.
func TestLowpassNotApplied(t *testing.T) {
	for hz, applied := range map[float64]bool{30: false, 40: false, 44: false, 45: true, 64: true} {
		r := analyse(t, defaults, pulseTrain(hz, 40, 60, 0), hz)
		if got := !slices.Contains(r.Notes, NoteNoLowpass); got != applied {
			t.Errorf("%g Hz: applied %v, want %v", hz, got, applied)
		}
		near(t, "period", r.PeriodS, 1, 1e-3)
	}
}

// The rate of a recording says how fine its samples are, not how fine the
// result is: at 20 kHz the same beat comes out.
func TestVeryHighRate(t *testing.T) {
	fast, slow := analyse(t, defaults, pulseTrain(20000, 12, 60, 0), 20000), analyse(t, defaults, pulseTrain(250, 12, 60, 0), 250)
	if len(fast.Beats) != len(slow.Beats) || len(fast.Average) != len(slow.Average) {
		t.Fatalf("%d and %d beats, %d and %d samples", len(fast.Beats), len(slow.Beats), len(fast.Average), len(slow.Average))
	}
	for j := range fast.Average {
		near(t, "average", fast.Average[j], slow.Average[j], 0.05)
	}
}

func TestFailures(t *testing.T) {
	constant := slices.Repeat([]float64{80}, 10000)
	nan := slices.Repeat([]float64{math.NaN()}, 10000)
	tiny := slices.Clone(constant)
	for i := range tiny {
		tiny[i] += 1e-12 * math.Sin(float64(i)/40)
	}
	falling := make([]float64, 10000)
	step := make([]float64, 10000)
	gappy := pulseTrain(256, 40, 60, 0)
	for i := range falling {
		falling[i] = -float64(i)
		if i > 5000 {
			step[i] = 1
		}
	}
	for i := 0; i < len(gappy); i += 200 {
		gappy[i] = math.NaN()
	}
	huge := pulseTrain(256, 40, 60, 0)
	for i := range huge {
		huge[i] *= 1e300
	}
	for name, c := range map[string]struct {
		x    []float64
		hz   float64
		code string
	}{
		"none":        {nil, 256, CodeNoSamples},
		"empty":       {[]float64{}, 256, CodeNoSamples},
		"missing":     {nan, 256, CodeNoSamples},
		"huge":        {slices.Repeat([]float64{math.MaxFloat64}, 9999), 256, CodeNoSamples},
		"overflow":    {huge, 256, CodeNoSamples},
		"one":         {[]float64{1}, 256, CodeFlat},
		"two":         {[]float64{1, 2}, 256, CodeTooShort},
		"constant":    {constant, 256, CodeFlat},
		"rounding":    {tiny, 256, CodeFlat},
		"falling":     {falling, 256, CodeFlat},
		"step":        {step, 256, CodeFlat},
		"half second": {pulseTrain(256, 0.5, 60, 0), 256, CodeTooShort},
		"gaps":        {gappy, 256, CodeTooShort},
		"five beats":  {pulseTrain(256, 6, 60, 0), 256, CodeTooFewBeats},
		"rate 0":      {constant, 0, CodeSamplingRate},
		"rate NaN":    {constant, math.NaN(), CodeSamplingRate},
		"rate low":    {constant, 29, CodeSamplingRate},
		"rate high":   {constant, 20001, CodeSamplingRate},
		"four second": {pulseTrain(256, 4.5, 150, 0), 256, CodeTooFewSeconds},
	} {
		r, err := NewAnalyser(defaults).Analyse(c.x, c.hz)
		var f *Failure
		if !errors.As(err, &f) || f.Code != c.code || f.Message == "" {
			t.Errorf("%s: %v, want %s", name, err, c.code)
			continue
		}
		if r.Grade != Unusable || !slices.Equal(r.GradeReasons, []string{c.code}) || r.Average != nil {
			t.Errorf("%s: %+v", name, r)
		}
	}
	r, _ := NewAnalyser(defaults).Analyse(pulseTrain(256, 6, 60, 0), 256)
	if len(r.Beats) != 6 || r.Accepted != 5 {
		t.Errorf("the beats of a failed recording are not shown: %d, %d accepted", len(r.Beats), r.Accepted)
	}
}
