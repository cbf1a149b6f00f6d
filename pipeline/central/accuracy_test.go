package central

import (
	"math"
	"testing"
)

// The constant tube on virtual people whose aortic wave is known, with the true
// scale of the radial wave: two independent one-dimensional flow solvers.
func TestConstantTubeOnVirtualPeople(t *testing.T) {
	people := virtualSubjects(t)
	for _, method := range []string{TubeConstant, TubeWindkessel} {
		f, err := For(method, Radial)
		if err != nil {
			t.Fatal(err)
		}
		var a accuracy
		for i := range people {
			p := &people[i]
			a.add(p, Apply(f, p.radial, p.stepS*float64(len(p.radial)), nil))
		}
		t.Logf("%s: %v", method, &a)
		if math.Abs(a.sbp.mean()) > 1.5 || a.sbp.sd() > 4.0 {
			t.Errorf("%s: central SBP %v mmHg, want within 1.5 and SD at most 4.0", method, a.sbp)
		}
		// What the same tubes reached in other software on these people.
		if other := map[string]float64{TubeConstant: -0.1, TubeWindkessel: -0.5}[method]; math.Abs(a.sbp.mean()-other) > 0.1 || math.Abs(a.sbp.sd()-3.6) > 0.1 {
			t.Errorf("%s: central SBP %v mmHg; elsewhere %.1f ± 3.6", method, a.sbp, other)
		}
	}
}

func TestMovingAverageOnVirtualPeople(t *testing.T) {
	var radial, brachial spread
	for _, p := range virtualSubjects(t) {
		truth := p.truth["aorta_root_sbp"]
		r, ok := MovingAverage(p.radial, p.stepS, Radial)
		b, too := MovingAverage(p.brachial, p.stepS, Brachial)
		if !ok || !too {
			t.Fatalf("%s: no moving average", p.id)
		}
		radial, brachial = append(radial, r-truth), append(brachial, b-truth)
	}
	t.Logf("central SBP by moving average: radial wave %v mmHg, brachial wave %v mmHg", radial, brachial)
	// What the same window reached in other software on these people.
	if math.Abs(radial.mean()+2.2) > 0.15 || math.Abs(radial.sd()-2.7) > 0.1 {
		t.Errorf("radial %v mmHg; elsewhere −2.2 ± 2.7", radial)
	}
}

func BenchmarkConstantTubeAndMeasure(b *testing.B) {
	for _, c := range []struct {
		name string
		n    int
	}{{"256Hz", 220}, {"1000Hz", 860}} {
		wave := make([]float64, c.n)
		for j := range wave {
			x := float64(j) / float64(c.n)
			wave[j] = 80 + 45*incisura(0.9*x)
		}
		f := ConstantTube(Radial)
		step := 0.86 / float64(c.n)
		b.Run(c.name+"/reused", func(b *testing.B) {
			w := NewWorkspace()
			var out []float64
			for b.Loop() {
				out = w.Apply(f, wave, 0.86, out)
				w.Measure(out, step)
			}
		})
		b.Run(c.name+"/fresh", func(b *testing.B) {
			for b.Loop() {
				Measure(Apply(f, wave, 0.86, nil), step)
			}
		})
	}
}
