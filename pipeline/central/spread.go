package central

import (
	"math"
	"sort"
)

// Spread is the standard deviation of central pressures that comes from not
// knowing the transfer function of the person, in the unit of the wave.
type Spread struct{ SBP, DBP, PP float64 }

// ConstantTubeSpread returns the spread for the tube with constant Γ: the
// frequency of the peak of the forward gain varies between people by 16.9 %, its
// height by 24.9 % (Chen 1997, Circulation 95:1827-36, from memory). Each is
// moved by one standard deviation to either side; the half differences add in
// quadrature.
func (w *Workspace) ConstantTubeSpread(wave []float64, stepS float64, artery string) Spread {
	hz, height := publishedPeak(artery)
	tube := func(u, v float64) Transfer {
		h := height * math.Exp(v)
		return Tube{Method: TubeConstant, TravelS: 1 / (4 * hz * math.Exp(u)), Reflection: (h - 1) / (h + 1)}
	}
	return w.spread(wave, stepS, tube, peakFrequencyCV, peakHeightCV)
}

// Spread returns the spread for the tube that was found for a wave: what the
// search left of the spread between people.
func (f *Individual) Spread(w *Workspace, fit IndividualFit, wave []float64, stepS float64) Spread {
	tube := func(u, v float64) Transfer {
		t := fit.Tube
		t.Reflection = f.reflectionOf(fit.Peak * math.Exp(v))
		t.TravelS = fit.Tube.TravelS * math.Exp(-u)
		return t
	}
	return w.spread(wave, stepS, tube, fit.PeakHzCV, fit.PeakCV)
}

// reflectionOf returns the reflection at which the peak has a height, held
// inside the range of the search.
func (f *Individual) reflectionOf(height float64) float64 {
	i := sort.SearchFloat64s(f.peak, height)
	if i == 0 {
		return f.reflection[0]
	}
	if i == len(f.peak) {
		return f.reflection[i-1]
	}
	u := (height - f.peak[i-1]) / (f.peak[i] - f.peak[i-1])
	return f.reflection[i-1] + float64(u*(f.reflection[i]-f.reflection[i-1]))
}

// spread moves both numbers of the peak to either side.
func (w *Workspace) spread(wave []float64, stepS float64, tube func(u, v float64) Transfer, hzCV, peakCV float64) Spread {
	length := stepS * float64(len(wave))
	ends := func(u, v float64) (high, low float64) {
		w.trial = w.Apply(tube(u, v), wave, length, w.trial)
		p := period{wave: w.trial, step: stepS, length: length}
		return p.extreme(+1).value, p.extreme(-1).value
	}
	var s Spread
	for _, d := range [2][2]float64{{hzCV, 0}, {0, peakCV}} {
		h1, l1 := ends(d[0], d[1])
		h2, l2 := ends(-d[0], -d[1])
		s.SBP = math.Hypot(s.SBP, (h1-h2)/2)
		s.DBP = math.Hypot(s.DBP, (l1-l2)/2)
		s.PP = math.Hypot(s.PP, ((h1-l1)-(h2-l2))/2)
	}
	return s
}
