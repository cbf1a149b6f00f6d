package pulse

import (
	"math"
	"slices"
	"testing"
)

// spoilt builds 30 beats at 75 per minute, of which spoil may change the
// samples of some: it gets the number of the beat, the phase within it, the
// time and the sound sample. stretch gives the period of a beat, s.
func spoilt(spoil func(beat int, phase, second, v float64) float64, stretch func(beat int) float64) []float64 {
	const hz = 256
	var x []float64
	start := 0.0
	for beat := range 30 {
		period := 0.8
		if stretch != nil {
			period = stretch(beat)
		}
		for float64(len(x))/hz < start+period {
			second := float64(len(x)) / hz
			phase := (second - start) / period
			v := 40 * pulseShape(phase)
			if spoil != nil {
				v = spoil(beat, phase, second, v)
			}
			x = append(x, v)
		}
		start += period
	}
	return x
}

func TestEachRule(t *testing.T) {
	only := func(n int, f func(phase, second, v float64) float64) func(int, float64, float64, float64) float64 {
		return func(beat int, phase, second, v float64) float64 {
			if beat == n {
				return f(phase, second, v)
			}
			return v
		}
	}
	fade := func(phase float64) float64 { return math.Sin(math.Pi * phase) }
	for _, c := range []struct {
		rule    string
		spoil   func(int, float64, float64, float64) float64
		stretch func(int) float64
	}{
		{RuleSaturated, only(15, func(_, _, v float64) float64 { return min(1.8*v, 48) }), nil},
		{RuleFlatLine, only(15, func(phase, _, v float64) float64 {
			if phase > 0.3 && phase < 0.7 {
				return 20
			}
			return v
		}), nil},
		{RulePeriodRange, nil, func(n int) float64 {
			if n == 15 {
				return 1.6
			}
			return 0.8
		}},
		{RulePeriodJump, nil, func(n int) float64 {
			if n == 15 {
				return 1.2
			}
			return 0.8
		}},
		{RuleNoise, only(15, func(phase, second, v float64) float64 { return v + 9*fade(phase)*math.Sin(2*math.Pi*60*second) }), nil},
		{RuleSteepFall, only(15, func(phase, second, v float64) float64 { return v + 18*fade(phase)*math.Sin(2*math.Pi*15*second) }), nil},
		{RuleAmplitude, only(15, func(_, _, v float64) float64 { return 0.4 * v }), nil},
		{RuleAmplitudeJump, func(beat int, phase, _, v float64) float64 {
			// The pressure creeps up before beat 15, so that its peak is high without its height being large.
			switch {
			case beat == 14 && phase > 0.5:
				return v + 10*(phase-0.5)/0.5
			case beat == 15 && phase < 0.2:
				return v + 10 + 14*phase/0.2
			case beat == 15:
				return v + 24*(1-phase)/0.8
			}
			return v
		}, nil},
		{RuleBaselineJump, func(beat int, phase, _, v float64) float64 {
			// The pressure falls within beat 14 and comes back within beat 15.
			switch depth := 0.35 * 42.0; {
			case beat == 14 && phase > 0.4:
				return v - 1.6*depth*(phase-0.4)/0.6
			case beat == 15 && phase < 0.7:
				return v - 1.6*depth*(0.7-phase)/0.7
			}
			return v
		}, nil},
		{RuleTemplate, only(15, func(phase, _, _ float64) float64 { return 40 * math.Pow(fade(phase), 2) }), nil},
	} {
		x := spoilt(c.spoil, c.stretch)
		r := analyse(t, defaults, x, 256)
		checkResult(t, r)
		got := reasons(r)
		if got[c.rule] == 0 || r.Accepted < 25 {
			t.Errorf("%s: %v", c.rule, got)
		}
		for _, b := range r.Beats {
			if b.Reason == c.rule && math.Abs(b.OnsetS-15*0.8) > 1.2 {
				t.Errorf("%s: beat at %.2f s", c.rule, b.OnsetS)
			}
		}
	}
}

func TestSoundBeatsPass(t *testing.T) {
	r := analyse(t, defaults, spoilt(nil, nil), 256)
	if r.Accepted != len(r.Beats)-1 || r.Grade != Usable || r.GradeReasons != nil || r.Notes != nil {
		t.Errorf("%v, %s %v %v", reasons(r), r.Grade, r.GradeReasons, r.Notes)
	}
	if last := r.Beats[len(r.Beats)-1]; last.Reason != RuleIncomplete || !math.IsNaN(last.PeriodS) || !math.IsNaN(last.Correlation) {
		t.Errorf("last beat %+v", last)
	}
}

func TestIsolated(t *testing.T) {
	r := analyse(t, defaults, spoilt(func(beat int, _, _, v float64) float64 {
		if beat == 14 || beat == 16 {
			return 0.4 * v
		}
		return v
	}, nil), 256)
	var found []string
	for _, b := range r.Beats {
		if b.OnsetS > 13.5*0.8 && b.OnsetS < 16.5*0.8 {
			found = append(found, b.Reason)
		}
	}
	if !slices.Equal(found, []string{RuleAmplitude, RuleIsolated, RuleAmplitude}) {
		t.Errorf("%v", found)
	}
}

// A strong dicrotic wave is no beat of its own.
func TestDicroticWaveIsNoBeat(t *testing.T) {
	x := make([]float64, 256*30)
	for i := range x {
		phase := math.Mod(float64(i)/256, 1)
		bump := func(at, width float64) float64 { return math.Exp(-(phase - at) * (phase - at) / (2 * width * width)) }
		x[i] = 50*bump(0.2, 0.05) + 22*bump(0.55, 0.05)
	}
	if r := analyse(t, defaults, x, 256); len(r.Beats) != 30 || r.Accepted != 29 {
		t.Errorf("%d beats, %v", len(r.Beats), reasons(r))
	}
}

// With the sensor off for half of the time, the beats of the other half are
// found, and nothing else.
func TestSensorOffHalfTheTime(t *testing.T) {
	x := pulseTrain(256, 60, 70, 0.3)
	noise := pulseTrain(256, 60, 70, 0.3)
	clean := pulseTrain(256, 60, 70, 0)
	for i := 256 * 25; i < 256*55; i++ {
		x[i] = 5 + noise[i] - clean[i]
	}
	r := analyse(t, defaults, x, 256)
	if r.Accepted < 30 || r.Accepted > 35 {
		t.Errorf("%d accepted, %v", r.Accepted, reasons(r))
	}
}

// Noise and a sine that is no pulse give no result, or none that is trusted.
func TestNoPulse(t *testing.T) {
	x := pulseTrain(256, 40, 60, 1)
	clean := pulseTrain(256, 40, 60, 0)
	for i := range x {
		x[i] -= clean[i]
	}
	if r, err := NewAnalyser(defaults).Analyse(x, 256); err == nil || r.Grade != Unusable {
		t.Errorf("noise: %s, %d of %d beats", r.Grade, r.Accepted, len(r.Beats))
	}
}

func TestGrades(t *testing.T) {
	rhythm := func(n int) float64 { return []float64{0.62, 0.95, 0.75, 1, 0.8}[n%5] }
	for name, c := range map[string]struct {
		x      []float64
		grade  string
		reason string
	}{
		"amplitude": {spoilt(func(beat int, _, _, v float64) float64 { return v * (1 + 0.35*math.Sin(float64(beat)/4)) }, nil), Doubtful, GradeAmplitude},
		"baseline":  {spoilt(func(_ int, _, second, v float64) float64 { return v + 16*math.Sin(second/2.5) }, nil), Doubtful, GradeBaseline},
		"rhythm":    {spoilt(nil, rhythm), Doubtful, GradeRhythm},
		"few":       {pulseTrain(256, 9.4, 60, 0), Doubtful, GradeFewBeats},
		"share": {spoilt(func(beat int, _, _, v float64) float64 {
			if beat%4 == 3 {
				return 0.4 * v
			}
			return v
		}, nil), Doubtful, GradeAcceptedShare},
		"few of many": {spoilt(func(beat int, _, second, v float64) float64 {
			if beat > 13 {
				return v + 9*math.Sin(2*math.Pi*60*second)
			}
			return v
		}, nil), Unusable, GradeAcceptedShare},
		"saturation": {spoilt(func(_ int, _, _, v float64) float64 { return min(v, 30) }, nil), "", ""},
		"flat": {spoilt(func(beat int, phase, _, v float64) float64 {
			if beat%8 == 3 && phase > 0.3 && phase < 0.8 {
				return 15 + float64(beat)/10
			}
			return v
		}, nil), Doubtful, GradeFlatLine},
		"some saturation": {spoilt(func(beat int, _, _, v float64) float64 {
			if beat%8 == 3 {
				return min(1.8*v, 48)
			}
			return v
		}, nil), Doubtful, GradeSaturation},
	} {
		r, err := NewAnalyser(defaults).Analyse(c.x, 256)
		if c.grade == "" {
			if err == nil || r.Grade != Unusable {
				t.Errorf("%s: %s", name, r.Grade)
			}
			continue
		}
		if err != nil || r.Grade != c.grade || !slices.Contains(r.GradeReasons, c.reason) {
			t.Errorf("%s: %s %v %v %v", name, r.Grade, r.GradeReasons, reasons(r), err)
		}
	}
}
