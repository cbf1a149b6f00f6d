package centile

import (
	"math"
	"testing"

	"tonocohort/stats"
)

func nineLevels() []float64 {
	return []float64{0.03, 0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95, 0.97}
}

// By construction at most the share p of people lies below its curve and at most
// 1 − p above, but for those through which it passes (Koenker and Bassett 1978).
func TestQuantileShares(t *testing.T) {
	age, value := cohort(3000, 5)
	f, err := FitQuantiles(age, value, QuantileOptions{Levels: nineLevels()})
	if err != nil {
		t.Fatal(err)
	}
	if f.DF != 4 {
		t.Errorf("3000 people: %d degrees of freedom", f.DF)
	}
	for k, p := range f.Levels {
		below, above := 0, 0
		for i, a := range age {
			switch d := value[i] - f.Curves[k].At(a); {
			case d < -1e-9:
				below++
			case d > 1e-9:
				above++
			}
		}
		if float64(below) > p*3000 || float64(above) > (1-p)*3000 || 3000-below-above != 5 {
			t.Errorf("%s: %d below, %d above", LevelName(p), below, above)
		}
		if got, want := f.Centile(50, p), truth(50, p); math.Abs(got/want-1) > 0.05 {
			t.Errorf("%s at 50 years: %.2f, want %.2f", LevelName(p), got, want)
		}
	}
}

// Nineteen curves through 300 people cross; what is returned does not.
func TestQuantilesDoNotCross(t *testing.T) {
	c := readColumns(t, "golden/in/cohort.csv", "age", "cpp")
	var levels []float64
	for k := 1; k < 20; k++ {
		levels = append(levels, float64(k)/20)
	}
	f, err := FitQuantiles(c[0], c[1], QuantileOptions{Levels: levels, DF: 4})
	if err != nil {
		t.Fatal(err)
	}
	crossed := 0
	ages := f.Ages.Years()
	bands, err := f.Bands(ages, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for j, a := range ages {
		if f.Crossed(a) {
			crossed++
		}
		values := f.At(a)
		for k := range values {
			if k > 0 && values[k] < values[k-1] {
				t.Errorf("%s below %s at %g years", LevelName(levels[k]), LevelName(levels[k-1]), a)
			}
			if b := bands[k][j]; !math.IsNaN(b.Low) && !(b.Low <= values[k] && values[k] <= b.High) {
				t.Errorf("%s at %g years: %g outside %g to %g", LevelName(levels[k]), a, values[k], b.Low, b.High)
			}
		}
	}
	if crossed == 0 {
		t.Error("no curve crosses: the test shows nothing")
	}
}

func TestQuantileScore(t *testing.T) {
	flat := func(v float64) Curve {
		c, err := NewCurve([]float64{20}, []float64{v})
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	r := Quantiles{Levels: []float64{0.1, 0.5, 0.9}, Curves: []Curve{flat(20), flat(40), flat(70)}, Ages: Ages{Lowest: 20, Highest: 80}}
	z := 1.2815515655446004
	for _, c := range []struct{ value, z float64 }{{20, -z}, {40, 0}, {70, z}, {30, -z / 2}, {55, z / 2}} {
		s := r.Score(50, c.value)
		if math.Abs(s.Z-c.z) > 1e-12 || math.Abs(s.Centile-100*stats.NormalProbability(c.z)) > 1e-9 {
			t.Errorf("%g: %+v, want z %g", c.value, s, c.z)
		}
		near(t, "there and back", r.Centile(50, s.Centile/100), c.value, 1e-9)
	}
	for _, c := range []struct {
		age, value float64
		note       string
	}{{50, 19.9, NoteBelowLowest}, {50, 70.1, NoteAboveHighest}, {81, 40, NoteOutsideAges}, {50, math.NaN(), NoteNoValue}, {math.NaN(), 40, NoteOutsideAges}} {
		if s := r.Score(c.age, c.value); !math.IsNaN(s.Z) || !math.IsNaN(s.Centile) || s.Note != c.note {
			t.Errorf("%g at %g: %+v", c.value, c.age, s)
		}
	}
	if !math.IsNaN(r.Centile(50, 0.05)) || !math.IsNaN(r.Centile(81, 0.5)) {
		t.Error("a centile beyond the outermost, or outside the ages")
	}
}

// Scores and centiles undo each other, for every method, and end where the ages do.
func TestScoreUndoesCentile(t *testing.T) {
	age, value := cohort(1500, 6)
	l, err := FitLMS(age, value, LMSOptions{DF: DefaultLMSDF()})
	if err != nil {
		t.Fatal(err)
	}
	p, err := FitFractional(age, value, FractionalOptions{Power: 0})
	if err != nil {
		t.Fatal(err)
	}
	q, err := FitQuantiles(age, value, QuantileOptions{Levels: nineLevels()})
	if err != nil {
		t.Fatal(err)
	}
	for name, r := range map[string]Reference{MethodLMS: l, MethodFractional: p, MethodQuantile: q} {
		for _, a := range []float64{18, 33.3, 79.9} {
			for _, share := range nineLevels() {
				s := r.Score(a, r.Centile(a, share))
				if math.Abs(s.Centile-100*share) > 1e-8 || math.Abs(s.Z-stats.NormalQuantile(share)) > 1e-8 {
					t.Errorf("%s: %s at %g has centile %g", name, LevelName(share), a, s.Centile)
				}
			}
		}
		for _, a := range []float64{17.9, 80, math.NaN()} {
			if s := r.Score(a, 40); !math.IsNaN(s.Z) || s.Note != NoteOutsideAges || !math.IsNaN(r.Centile(a, 0.5)) {
				t.Errorf("%s at %g years: %+v", name, a, s)
			}
		}
	}
}

func TestQuantilesRefuse(t *testing.T) {
	age, value := cohort(200, 3)
	for what, o := range map[string]QuantileOptions{
		"no level": {}, "falling levels": {Levels: []float64{0.5, 0.1}}, "a level of 1": {Levels: []float64{0.5, 1}}, "too many columns": {Levels: []float64{0.5}, DF: 90},
	} {
		if _, err := FitQuantiles(age, value, o); err == nil {
			t.Errorf("%s: fitted", what)
		}
	}
	if _, err := FitQuantiles(age[:8], value[:8], QuantileOptions{Levels: []float64{0.5}}); err == nil {
		t.Error("eight people: fitted")
	}
}

func TestLevelName(t *testing.T) {
	for level, want := range map[float64]string{0.03: "p3", 0.5: "p50", 0.975: "p97.5", 0.07: "p7", 0.999: "p99.9"} {
		if got := LevelName(level); got != want {
			t.Errorf("%g: %s", level, got)
		}
	}
}
