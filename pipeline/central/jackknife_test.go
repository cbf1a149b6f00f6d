package central

import (
	"math"
	"math/rand/v2"
	"testing"
)

// beats is a stack of radial beats around one wave: each has its own size,
// level, slow shape and noise below 10 Hz.
func beats(seed uint64, n int, wave []float64, spread float64) [][]float64 {
	random := rand.New(rand.NewPCG(seed, 1))
	stack := make([][]float64, n)
	for i := range stack {
		scale, level := 1+0.03*spread*random.NormFloat64(), spread*random.NormFloat64()
		var a, b [9]float64
		for k := range a {
			a[k], b[k] = 0.4*spread*random.NormFloat64(), 0.4*spread*random.NormFloat64()
		}
		stack[i] = make([]float64, len(wave))
		for j, v := range wave {
			x := level + scale*v
			for k := range a {
				s, c := math.Sincos(2 * math.Pi * float64(k+1) * float64(j) / float64(len(wave)))
				x += a[k]*c + b[k]*s
			}
			stack[i][j] = x
		}
	}
	return stack
}

// leaveOneOut is the jackknife by the long way: each average without one beat
// goes through calibration, transfer and Measure.
func leaveOneOut(stack [][]float64, stepS float64, f Transfer, kind string, upper, lower float64) [indexCount]float64 {
	n := len(stack)
	var rows [][indexCount]float64
	for out := range stack {
		average := make([]float64, len(stack[0]))
		for i, beat := range stack {
			if i != out {
				for j, v := range beat {
					average[j] += v / float64(n-1)
				}
			}
		}
		low, high := math.Inf(1), math.Inf(-1)
		for _, v := range average {
			low, high = min(low, v), max(high, v)
		}
		scale := (upper - lower) / (high - low)
		if kind == "map_dbp" {
			scale = (upper - lower) / (mean(average) - low)
		}
		if kind == "as_recorded" {
			scale, lower = 1, low
		}
		for j := range average {
			average[j] = lower + scale*(average[j]-low)
		}
		m := Measure(Apply(f, average, stepS*float64(len(average)), nil), stepS)
		rows = append(rows, [indexCount]float64{
			m.SBP, m.DBP, m.MAP, m.PP, m.AugmentationPressure, m.AugmentationIndexPct,
		})
	}
	var se [indexCount]float64
	for k := range se {
		centre, sum := 0.0, 0.0
		for _, row := range rows {
			centre += row[k] / float64(n)
		}
		for _, row := range rows {
			sum += (row[k] - centre) * (row[k] - centre)
		}
		se[k] = math.Sqrt(float64(n-1) / float64(n) * sum)
	}
	return se
}

func asList(e Errors) [indexCount]float64 {
	return [indexCount]float64{
		e.SBP, e.DBP, e.MAP, e.PP, e.AugmentationPressure, e.AugmentationIndexPct,
	}
}

var indexNames = [indexCount]string{
	"SBP", "DBP", "MAP", "PP", "augmentation pressure", "augmentation index",
}

// added is the sum of two waves, the second without its level.
func added(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for j := range a {
		out[j] = a[j] + b[j] - 80
	}
	return out
}

func TestJackknifeAgreesWithTheLongWay(t *testing.T) {
	w := NewWorkspace()
	stepped := NewIndividual(Radial).population
	decaying := exponentialAorta()
	for _, c := range []struct {
		name  string
		aorta []float64
		f     Transfer
	}{
		{"type A", added(decaying, reflected(0.12, 0.4, incisura)), identity{}},
		{"type C", added(decaying, reflected(0.14, 0.2, early)), identity{}},
		{"smooth", decaying, identity{}},
		{"smooth", decaying, stepped},
		{"smooth", decaying, ConstantTube(Radial)},
		{"smooth", decaying, WindkesselTube(Radial)},
	} {
		wave := c.aorta
		if c.f != (identity{}) {
			wave = w.Apply(inverted{stepped}, c.aorta, 0.9, nil)
		}
		stack := beats(3, 24, wave, 1)
		for _, kind := range []string{"sbp_dbp", "map_dbp", "as_recorded"} {
			upper := 130.0
			if kind == "map_dbp" {
				upper = 95
			}
			want := leaveOneOut(stack, 0.002, c.f, kind, upper, 70)
			got := asList(w.Jackknife(stack, 0.002, c.f, Radial).Errors(kind, upper, 70))
			for k := range want {
				if c.name == "smooth" && k >= 4 {
					continue // a windkessel has no shoulder to speak of: one beat decides where it is
				}
				if !(math.Abs(got[k]-want[k]) <= 0.05*want[k]+0.01) {
					t.Errorf("%s, %s, %s, %s: standard error %.4f, the long way %.4f", c.name, kind, c.f.Name(), indexNames[k], got[k], want[k])
				}
			}
		}
	}
}

// A weight of a sample says what it adds to the aortic wave: the sum over a beat is
// what the beat gives when it goes through the transfer function itself.
func TestWeightsGiveTheAorticWave(t *testing.T) {
	for _, n := range []int{224, 225} {
		w := NewWorkspace()
		stack := beats(7, 5, exponentialAorta()[:n], 1)
		b := w.Beat(stack[0], 0.004, Radial)
		e := Estimate{Transfer: ConstantTube(Radial), Wave: w.Apply(ConstantTube(Radial), b.Wave, b.period(), nil)}
		m := w.measure(&e, b.StepS)
		if math.IsNaN(m.ShoulderMS) {
			t.Fatal("the wave has no shoulder")
		}
		q := &w.jackknife.probe
		q.prepare(w, m, e.Transfer, b)
		for i, beat := range stack {
			got, meanOfBeat := q.weights.of(beat)
			var s series
			s.resize(len(q.aortic.cos))
			w.wave.analyse(w.Apply(e.Transfer, beat, b.period(), nil), b.period(), &s)
			order := 4
			if m.marks.shoulderIsPeak {
				order = 1
			}
			for which, of := range [followed]struct {
				at     float64
				order  int
				smooth bool
			}{{at: m.marks.highest}, {at: m.marks.lowest}, {at: m.FootS + m.ShoulderMS/1000}, {m.FootS + m.ShoulderMS/1000, order, true}} {
				q.moment.set(of.at, b.period(), len(s.cos))
				want := q.derivative(of.order, of.smooth).of(&s)
				if !(math.Abs(got[which]-want) <= 1e-9*max(1, math.Abs(want))) {
					t.Errorf("%d samples, beat %d: %d is %.12g, of the transferred wave %.12g", n, i, which, got[which], want)
				}
			}
			if want := mean(beat); meanOfBeat != want {
				t.Errorf("%d samples, beat %d: mean %v, want %v", n, i, meanOfBeat, want)
			}
		}
	}
}

// The jackknife of a mean is its standard error s/√n, exactly (textbook).
func TestJackknifeOfTheMean(t *testing.T) {
	stack := beats(5, 17, exponentialAorta(), 2)
	var means spread
	for _, beat := range stack {
		means = append(means, mean(beat))
	}
	e := NewWorkspace().Jackknife(stack, 0.002, ConstantTube(Radial), Radial).Errors("as_recorded", 0, 0)
	if want := means.sd() / math.Sqrt(17); e.Beats != 17 || math.Abs(e.MAP-want) > 1e-9 {
		t.Errorf("standard error of the mean of %d beats %.12f, want %.12f", e.Beats, e.MAP, want)
	}
}

// Over many recordings the standard error must be what the spread of the
// estimates is, within 15 %.
func TestJackknifeIsTheSpreadOfRepeats(t *testing.T) {
	w := NewWorkspace()
	stepped := NewIndividual(Radial).population
	radial := w.Apply(inverted{stepped}, added(exponentialAorta(), reflected(0.12, 0.4, plateau)), 0.9, nil)
	const recordings, n = 400, 12
	var estimates [indexCount]spread
	var squares [indexCount]float64
	for r := range recordings {
		stack := beats(uint64(100+r), n, radial, 1)
		average := make([]float64, len(radial))
		for _, beat := range stack {
			for j, v := range beat {
				average[j] += v / n
			}
		}
		m := w.Measure(w.Apply(stepped, average, 0.9, nil), 0.002)
		for k, x := range [indexCount]float64{
			m.SBP, m.DBP, m.MAP, m.PP, m.AugmentationPressure, m.AugmentationIndexPct,
		} {
			estimates[k] = append(estimates[k], x)
		}
		for k, se := range asList(w.Jackknife(stack, 0.002, stepped, Radial).Errors("as_recorded", 0, 0)) {
			squares[k] += se * se / recordings
		}
	}
	for k, name := range indexNames {
		se, sd := math.Sqrt(squares[k]), estimates[k].sd()
		t.Logf("%s: standard error %.3f, spread %.3f", name, se, sd)
		if math.Abs(se/sd-1) > 0.15 {
			t.Errorf("%s: standard error %.3f, spread %.3f", name, se, sd)
		}
	}
}

func TestJackknifeNeedsTwoBeats(t *testing.T) {
	w := NewWorkspace()
	wave := exponentialAorta()
	flat := [][]float64{make([]float64, 100), make([]float64, 100), make([]float64, 100)}
	for name, stack := range map[string][][]float64{"none": nil, "one": {wave}, "flat": flat} {
		e := w.Jackknife(stack, 0.002, ConstantTube(Radial), Radial).Errors("sbp_dbp", 120, 80)
		for k, se := range asList(e) {
			if !math.IsNaN(se) || e.Beats != 0 {
				t.Errorf("%s: %s has a standard error of %v from %d beats", name, indexNames[k], se, e.Beats)
			}
		}
	}
	if e := w.Jackknife(beats(1, 8, wave, 1), 0.002, identity{}, Carotid).Errors("sbp_dbp", 120, 80); math.IsNaN(e.SBP) {
		t.Errorf("a carotid wave, which goes through no tube, has no standard error of SBP")
	}
}

func BenchmarkJackknife(b *testing.B) {
	w := NewWorkspace()
	wave := exponentialAorta()
	coarse := make([]float64, 225)
	for j := range coarse {
		coarse[j] = wave[2*j]
	}
	stack := beats(1, 45, coarse, 1) // 40 s at 250 Hz
	b.ReportAllocs()
	for b.Loop() {
		j := w.Jackknife(stack, 0.004, ConstantTube(Radial), Radial)
		j.Errors("sbp_dbp", 130, 80)
		j.Errors("map_dbp", 97, 80)
	}
}
