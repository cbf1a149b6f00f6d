package central

import (
	"math"
	"testing"
)

// Between people whose tubes have the published spread of the peak, the error
// of a tube at the published peak must spread about as is said. The people are a
// grid of the normal distribution, the aortic wave is one.
func TestConstantTubeSpreadIsTheSpreadOfErrors(t *testing.T) {
	w := NewWorkspace()
	aorta := reflected(0.12, 0.4, incisura)
	hz, height := publishedPeak(Radial)
	var errors, said spread
	for i := range 17 {
		for k := range 17 {
			u, v := normalQuantile(i), normalQuantile(k)
			own := Tube{TravelS: 1 / (4 * hz * math.Exp(peakFrequencyCV*u))}
			h := height * math.Exp(peakHeightCV*v)
			own.Reflection = (h - 1) / (h + 1)
			radial := w.Apply(forwardTube{own}, aorta, 0.9, nil)
			s := w.ConstantTubeSpread(radial, 0.002, Radial)
			central := Measure(w.Apply(ConstantTube(Radial), radial, 0.9, nil), 0.002)
			errors = append(errors, central.SBP-Measure(aorta, 0.002).SBP)
			said = append(said, s.SBP)
		}
	}
	t.Logf("central SBP: spread of errors %.2f mmHg, said %.2f", errors.sd(), said.mean())
	if ratio := said.mean() / errors.sd(); ratio < 0.6 || ratio > 1.67 {
		t.Errorf("spread of errors %.2f mmHg, said %.2f", errors.sd(), said.mean())
	}
}

// forwardTube is the forward gain of a tube within the band limit.
type forwardTube struct{ Tube }

func (f forwardTube) Gain(hz float64) complex128 {
	if hz > rollOffToHz {
		return 0
	}
	return 1 / f.Response(hz)
}

// normalQuantile is the quantile of the normal distribution at (i + ½)/17, by
// bisection of its distribution function.
func normalQuantile(i int) float64 {
	p := (float64(i) + 0.5) / 17
	low, high := -5.0, 5.0
	for range 60 {
		if x := (low + high) / 2; 0.5*math.Erfc(-x/math.Sqrt2) < p {
			low = x
		} else {
			high = x
		}
	}
	return (low + high) / 2
}

// What the search leaves of the spread is less than that between people, and
// all of it where it fell back on the population.
func TestIndividualTubeNarrowsTheSpread(t *testing.T) {
	f, w := NewIndividual(Radial), NewWorkspace()
	radial := w.Apply(inverted{f.population}, exponentialAorta(), 0.9, nil)
	fit := f.Fit(w, radial, 0.9)
	if fit.Fallback != "" || fit.PeakHzCV >= peakFrequencyCV || fit.PeakCV >= peakHeightCV || fit.PeakHzCV <= 0 || fit.PeakCV <= 0 {
		t.Errorf("%q: spread %.3f and %.3f left", fit.Fallback, fit.PeakHzCV, fit.PeakCV)
	}
	narrow := f.Spread(w, fit, radial, 0.002)
	wide := f.Spread(w, f.fallback(NoteShortDiastole, math.NaN()), radial, 0.002)
	if !(narrow.SBP < wide.SBP) || !(narrow.PP < wide.PP) || !(narrow.SBP > 0) {
		t.Errorf("left %+v, between people %+v", narrow, wide)
	}
}

// The errors on virtual people beside what the spread of the transfer function
// says of them.
func TestSpreadOnVirtualPeople(t *testing.T) {
	people := virtualSubjects(t)
	f, w := NewIndividual(Radial), NewWorkspace()
	const fall = 2.8 // by which true mean pressure falls from root to wrist in them
	inside := [2]int{}
	var said [2]spread
	for i := range people {
		p := &people[i]
		length := p.stepS * float64(len(p.radial))
		fit := f.Fit(w, p.radial, length)
		for k, c := range []struct {
			f Transfer
			s Spread
		}{{ConstantTube(Radial), w.ConstantTubeSpread(p.radial, p.stepS, Radial)}, {fit.Tube, f.Spread(w, fit, p.radial, p.stepS)}} {
			m := Measure(Apply(c.f, p.radial, length, nil), p.stepS)
			if math.Abs(m.SBP+fall-p.truth["aorta_root_sbp"]) <= 1.96*math.Hypot(c.s.SBP, 1.1) {
				inside[k]++
			}
			said[k] = append(said[k], c.s.SBP)
		}
	}
	t.Logf("central SBP within 1.96 of the spread of the transfer and of the fall of mean pressure: constant tube %d, individual tube %d of %d; spread said %.2f and %.2f mmHg",
		inside[0], inside[1], len(people), said[0].mean(), said[1].mean())
	// 95 % would be 67 of 71; the solvers also differ from any tube.
	for k, method := range []string{TubeConstant, TubeIndividual} {
		if float64(inside[k]) < 0.8*float64(len(people)) {
			t.Errorf("%s: only %d of %d inside", method, inside[k], len(people))
		}
	}
}
