package central

import "math"

// TubeIndividual is the name of the tube whose travel time and reflection are
// found from the peripheral wave alone.
const TubeIndividual = "tube_individual"

// The search for the individual tube.
const (
	// Spread of the peak of the forward gain between people, coefficient of
	// variation: Chen 1997, Circulation 95:1827-36 (from memory).
	peakFrequencyCV = 0.169
	peakHeightCV    = 0.249

	// Bounds of the search: physically plausible, derived from arm length and
	// wave speed; those of a brachial tube are shorter as its published peak
	// lies higher.
	travelFromS    = 0.040
	travelToS      = 0.110
	travelStepS    = 0.002
	reflectionFrom = 0.20
	reflectionTo   = 0.90
	reflectionStep = 0.02

	// Ejection ends (415.5 − 1.65·heart rate) ± 10 ms after the foot, the mean
	// of men and women of Weissler 1968 (from memory); after two standard
	// deviations it has ended in all but one in forty. The decay is looked at
	// until half a period of the middle of the band limit, 10 Hz, before the
	// next foot: nearer the limit smears the upstroke into it.
	ejectionBaseS   = 0.4155
	ejectionSlopeS  = 0.00165
	ejectionSpareS  = 0.020
	beforeNextFootS = 0.050

	fittedNumbers  = 3     // of an exponential with an asymptote
	fewestFree     = 1     // independent samples beyond them
	largestMisfit  = 0.015 // part of pulse pressure
	diastolePoints = 48
)

// The notes of the individual tube: population values were used, and why.
const (
	NoteShortDiastole    = "tube_individual:population_values_diastole_too_short"
	NoteNotExponential   = "tube_individual:population_values_diastole_not_exponential"
	NoteNoIndividualFoot = "tube_individual:population_values_no_foot"
)

// IndividualFit is the tube that was found for one wave.
type IndividualFit struct {
	Tube     SteppedTube
	Fallback string  // a note where population values stand instead; else empty
	Misfit   float64 // root mean square departure from an exponential in diastole, part of the pulse pressure of the aortic wave
	PeakHz   float64 // peak of the forward gain of the tube
	Peak     float64
	PeakHzCV float64 // what is left of the spread between people, coefficients of variation
	PeakCV   float64
}

// Individual finds travel time and reflection for one artery. It is built once
// and may be shared.
type Individual struct {
	population SteppedTube
	travel     []float64
	reflection []float64
	peakHz     []float64   // by reflection: frequency of the peak · travel time
	peak       []float64   // and its height
	prior      [][]float64 // −2·log prior density by travel time and reflection
}

// NewIndividual returns the search for an artery, radial or brachial. The
// prior has its mode where the forward gain has the published peak of the
// artery and the published spread of that peak between people.
func NewIndividual(artery string) *Individual {
	hz, height := publishedPeak(artery)
	shape := SteppedTube{Method: TubeIndividual, TravelS: 1, UpperPart: radialUpperPart, Step: radialStep}
	from, to := travelFromS, travelToS
	if artery == Brachial {
		shape.UpperPart, shape.Step = 1, 1
		from, to = from*4/5, to*4/5
	}
	f := &Individual{population: withPeak(shape, hz, height)}
	for i := 0; from+float64(i)*travelStepS < to+travelStepS/2; i++ {
		f.travel = append(f.travel, from+float64(i)*travelStepS)
	}
	f.prior = make([][]float64, len(f.travel))
	for i := 0; reflectionFrom+float64(i)*reflectionStep < reflectionTo+reflectionStep/2; i++ {
		shape.Reflection = reflectionFrom + float64(i)*reflectionStep
		f.reflection = append(f.reflection, shape.Reflection)
		peakHz, peak := shape.peak() // of a tube of one second: the frequency goes with 1/Td
		f.peakHz, f.peak = append(f.peakHz, peakHz), append(f.peak, peak)
		for j, travel := range f.travel {
			u := math.Log(peakHz/travel/hz) / peakFrequencyCV
			v := math.Log(peak/height) / peakHeightCV
			f.prior[j] = append(f.prior[j], float64(u*u)+float64(v*v))
		}
	}
	return f
}

// withPeak gives a tube the travel time and reflection at which its forward
// gain has a peak: by bisection, for the height grows with the reflection.
func withPeak(t SteppedTube, hz, height float64) SteppedTube {
	low, high := 0.0, 0.99
	for range 60 {
		t.Reflection = (low + high) / 2
		if _, top := t.peak(); top < height {
			low = t.Reflection
		} else {
			high = t.Reflection
		}
	}
	at, _ := t.peak()
	t.TravelS *= at / hz
	return t
}

// Fit finds the tube of one peripheral wave of n samples, in any unit: the
// result does not depend on scale or offset.
//
// The criterion is that of Gao 2016, Sci Rep 6:33230: derived aortic pressure
// decays exponentially in diastole. With an unknown error variance (Jeffreys)
// −2·log posterior = ν·log(misfit²) + prior, where ν is the number of
// independent samples, 2·8 Hz·duration, less the three numbers of the
// exponential. No weight is fitted to data. Where the diastole is too short, or
// the best misfit is above 1.5 % of pulse pressure (our own limit: such a
// diastole is no exponential whatever the tube), the tube is that of the
// population and Fallback says so.
func (f *Individual) Fit(w *Workspace, wave []float64, periodS float64) IndividualFit {
	d, note := w.diastole(wave, periodS)
	if note != "" {
		return f.fallback(note, math.NaN())
	}
	best, at := math.Inf(1), [2]int{}
	w.misfits = resized(w.misfits, len(f.travel)*len(f.reflection))
	for i, travel := range f.travel {
		tube := f.population
		tube.TravelS = travel
		row := w.misfits[i*len(f.reflection) : (i+1)*len(f.reflection)]
		d.misfits(tube, f.reflection, row)
		for j, misfit := range row {
			row[j] = float64(d.freedom*math.Log(misfit)) + f.prior[i][j]
			if row[j] < best {
				best, at = row[j], [2]int{i, j}
			}
		}
	}
	tube := f.population
	tube.TravelS = f.travel[at[0]] + float64(travelStepS*refined(len(f.travel), at[0], func(i int) float64 {
		return w.misfits[i*len(f.reflection)+at[1]]
	}))
	tube.Reflection = f.reflection[at[1]] + float64(reflectionStep*refined(len(f.reflection), at[1], func(j int) float64 {
		return w.misfits[at[0]*len(f.reflection)+j]
	}))
	var one [1]float64
	d.misfits(tube, []float64{tube.Reflection}, one[:])
	w.trial = w.Apply(tube, wave, periodS, w.trial)
	p := period{wave: w.trial, step: periodS / float64(len(wave)), length: periodS}
	misfit := math.Sqrt(one[0]) / (p.extreme(+1).value - p.extreme(-1).value)
	if !(misfit <= largestMisfit) {
		return f.fallback(NoteNotExponential, misfit)
	}
	fit := found(tube, "", misfit)
	fit.PeakHzCV, fit.PeakCV = f.spread(w.misfits, best)
	return fit
}

// spread returns the standard deviations of the logarithms of frequency and
// height of the peak over the posterior, given as −2·log density.
func (f *Individual) spread(posterior []float64, best float64) (hzCV, peakCV float64) {
	var weight, u, v, uu, vv float64
	for i, travel := range f.travel {
		for j, hz := range f.peakHz {
			d := posterior[i*len(f.peakHz)+j] - best
			if d > 40 {
				continue // no more than a part in 10⁸
			}
			p := math.Exp(-d / 2)
			x, y := math.Log(hz/travel), math.Log(f.peak[j])
			weight += p
			u, v = u+float64(p*x), v+float64(p*y)
			uu, vv = uu+float64(p*float64(x*x)), vv+float64(p*float64(y*y))
		}
	}
	u, v = u/weight, v/weight
	return math.Sqrt(max(uu/weight-float64(u*u), 0)), math.Sqrt(max(vv/weight-float64(v*v), 0))
}

// fallback returns the tube of the population.
func (f *Individual) fallback(note string, misfit float64) IndividualFit {
	return found(f.population, note, misfit)
}

func found(tube SteppedTube, note string, misfit float64) IndividualFit {
	hz, peak := tube.peak()
	return IndividualFit{Tube: tube, Fallback: note, Misfit: misfit, PeakHz: hz, Peak: peak, PeakHzCV: peakFrequencyCV, PeakCV: peakHeightCV}
}

// refined returns how far beside the smallest of equidistant values the
// parabola through it and its neighbours has its minimum, in steps; 0 at the
// ends of the range.
func refined(n, at int, value func(int) float64) float64 {
	if at == 0 || at == n-1 {
		return 0
	}
	shift, _ := parabola(value(at-1), value(at), value(at+1))
	return min(max(shift, -0.5), 0.5)
}
