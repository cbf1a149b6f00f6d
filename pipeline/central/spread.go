package central

import (
	"math"
	"sort"
)

// Spread is the standard deviation that comes from not knowing the transfer
// function of the person: pressures in the unit of the wave, the index in
// points. NaN where nothing is published or the index is absent.
type Spread struct{ SBP, DBP, PP, AugmentationPressure, AugmentationIndexPct float64 }

// ConstantTubeSpread returns the spread for the tube with constant Γ: the
// frequency of the peak of the forward gain varies between people by 16.9 %, its
// height by 24.9 % (Chen 1997, Circulation 95:1827-36, from memory). Each is
// moved by one standard deviation to either side; the changes add in quadrature.
func (w *Workspace) ConstantTubeSpread(wave []float64, stepS float64, artery string) Spread {
	return w.constantTubeSpread(w.Beat(wave, stepS, artery), Estimate{})
}

func (w *Workspace) constantTubeSpread(b Beat, e Estimate) Spread {
	hz, height := publishedPeak(b.Artery)
	tube := func(u, v float64) Transfer {
		h := height * math.Exp(v)
		return Tube{Method: TubeConstant, TravelS: 1 / (4 * hz * math.Exp(u)), Reflection: (h - 1) / (h + 1)}
	}
	return w.spread(b, e, tube, peakFrequencyCV, peakHeightCV)
}

// Spread returns the spread for the tube that was found for a wave: what the
// search left of the spread between people.
func (f *Individual) Spread(w *Workspace, fit IndividualFit, wave []float64, stepS float64) Spread {
	return f.spreadOf(w, fit, w.Beat(wave, stepS, ""), Estimate{})
}

func (f *Individual) spreadOf(w *Workspace, fit IndividualFit, b Beat, e Estimate) Spread {
	tube := func(u, v float64) Transfer {
		t := fit.Tube
		t.Reflection = f.reflectionOf(fit.Peak * math.Exp(v))
		t.TravelS = fit.Tube.TravelS * math.Exp(-u)
		return t
	}
	return w.spread(b, e, tube, fit.PeakHzCV, fit.PeakCV)
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

// spread moves both numbers of the peak to either side of tube(0, 0) and takes
// the root mean square of what changes, so that a bend counts as well as a
// slope. What a wave on one of the sides does not have, has no spread. An
// estimate e that went through tube(0, 0) itself is not made again.
func (w *Workspace) spread(b Beat, e Estimate, tube func(u, v float64) Transfer, hzCV, peakCV float64) Spread {
	measured := func(u, v float64) Indices {
		s, g := &w.spectrum, w.gains(tube(u, v), b.period(), len(b.Wave))
		s.through(w.harmonics(b, len(g)), g) // what a tube makes of harmonics need not be taken apart again
		w.trial = resized(w.trial, len(b.Wave))
		w.wave.synthesise(s, w.trial)
		return w.measureWave(w.trial, b.StepS, s, true)
	}
	var centre Indices
	if e.Transfer != nil && e.Transfer == tube(0, 0) {
		centre = *w.measure(&e, b.StepS)
	} else {
		centre = measured(0, 0)
	}
	var s Spread
	for _, d := range [4][2]float64{{hzCV, 0}, {-hzCV, 0}, {0, peakCV}, {0, -peakCV}} {
		m := measured(d[0], d[1])
		add := func(sum *float64, moved, from float64) { *sum += float64((moved-from)*(moved-from)) / 2 }
		add(&s.SBP, m.SBP, centre.SBP)
		add(&s.DBP, m.DBP, centre.DBP)
		add(&s.PP, m.PP, centre.PP)
		add(&s.AugmentationPressure, m.AugmentationPressure, centre.AugmentationPressure)
		add(&s.AugmentationIndexPct, m.AugmentationIndexPct, centre.AugmentationIndexPct)
	}
	for _, v := range []*float64{&s.SBP, &s.DBP, &s.PP, &s.AugmentationPressure, &s.AugmentationIndexPct} {
		*v = math.Sqrt(*v)
	}
	return s
}
