package central

import (
	"cmp"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"tonocohort/stats"
)

// What a derived transfer function is called in its file.
const (
	CrossSpectrum = "cross_spectrum_h1"                 // of the average over subjects
	JackknifeBand = "jackknife_over_subjects_student_t" // of its band
)

// The grid of a derived transfer function.
const (
	DeriveStepHz = 0.25
	DeriveToHz   = rollOffToHz
)

// How many subjects a derived transfer function needs; own choices.
const (
	// FewestSubjects: with fewer, a validation on whole subjects has folds of
	// nobody, and the average is the shape of a few arms. Published functions
	// rest on 14 (Karamanoglu 1993) and 20 subjects (Chen 1997).
	FewestSubjects = 5
	// SubjectsForBands: with n subjects a standard deviation is known to
	// 1/√(2(n − 1)), at 10 within 24 %; bands and limits from fewer would claim
	// more than they hold.
	SubjectsForBands = 10
)

// Derived is the transfer function artery → aorta of paired recordings.
//
// Each pair gives its gain at its harmonics, feet aligned; between them, and
// between 0 Hz, where it is 1, and the first, a cubic. Cross-spectrum and power
// spectra of a subject are the means of those of the subject's pairs, in units
// of peripheral pulse pressure, so that every subject weighs alike. Over the
// subjects
//
//	gain = Σ Sxy / Σ Sxx,  coherence = |Σ Sxy|² / (Σ Sxx · Σ Syy)
//
// with x the peripheral and y the central wave: the gain that leaves the least
// mean square error of the central wave (Bendat & Piersol, Random Data, from
// memory: H1). A coherence below 1 means that people differ, or noise.
type Derived struct {
	Hz        []float64
	Gain      []complex128
	Coherence []float64
	Count     []int     // subjects whose harmonics reach the frequency
	Power     []float64 // of the peripheral wave, mean over subjects, in pulse pressures squared
	Harmonics []Harmonic
	Subjects  int

	parts []spectra // by subject
}

// Harmonic is the gain by number of harmonic.
type Harmonic struct {
	Number    int
	MeanHz    float64
	Gain      complex128
	Coherence float64
	Count     int
}

// spectrum is one frequency of one subject, or of a sum of them.
type spectrum struct {
	sxy      complex128
	sxx, syy float64
	hz       float64 // of a harmonic
	n        int     // 0: does not reach the frequency
}

func (s *spectrum) add(t spectrum) {
	s.sxy, s.sxx, s.syy, s.hz, s.n = s.sxy+t.sxy, s.sxx+t.sxx, s.syy+t.syy, s.hz+t.hz, s.n+t.n
}

func (s spectrum) gain() complex128 { return s.sxy / complex(s.sxx, 0) }

func (s spectrum) coherence() float64 {
	size := cmplx.Abs(s.sxy)
	return min(1, size*size/float64(s.sxx*s.syy))
}

// spectra are those of one subject.
type spectra struct {
	subject   string
	grid      []spectrum // at DeriveStepHz, 2·DeriveStepHz, …
	harmonics []spectrum // by number, from 1
}

// Derive averages pairs into a transfer function. The order of the pairs does
// not matter. An error says what they lack: FewestSubjects, or harmonics up to
// the radial resonance in half of the subjects.
func Derive(pairs []Pair) (*Derived, error) {
	return derive(subjectSpectra(pairs), FewestSubjects)
}

// subjectSpectra works out the spectra of each subject, sorted by id.
func subjectSpectra(pairs []Pair) []spectra {
	sorted := slices.Clone(pairs)
	slices.SortStableFunc(sorted, func(a, b Pair) int { return cmp.Compare(a.SubjectID, b.SubjectID) })
	w := NewWorkspace()
	var all []spectra
	for i := 0; i < len(sorted); {
		var same []spectra
		id := sorted[i].SubjectID
		for ; i < len(sorted) && sorted[i].SubjectID == id; i++ {
			same = append(same, pairSpectra(w.knots(&sorted[i], DeriveToHz)))
		}
		one := spectra{subject: id, grid: averaged(same, func(s spectra) []spectrum { return s.grid }),
			harmonics: averaged(same, func(s spectra) []spectrum { return s.harmonics })}
		all = append(all, one)
	}
	return all
}

// averaged is the mean over the pairs of a subject that reach a frequency.
func averaged(pairs []spectra, of func(spectra) []spectrum) []spectrum {
	longest := 0
	for _, p := range pairs {
		longest = max(longest, len(of(p)))
	}
	out := make([]spectrum, longest)
	for i := range out {
		for _, p := range pairs {
			if i < len(of(p)) {
				out[i].add(of(p)[i])
			}
		}
		if n := float64(out[i].n); n > 0 {
			out[i] = spectrum{sxy: out[i].sxy / complex(n, 0), sxx: out[i].sxx / n, syy: out[i].syy / n, hz: out[i].hz / n, n: 1}
		}
	}
	return out
}

// pairSpectra puts the harmonics of one pair on the grid, as far as they reach.
func pairSpectra(knots []knot) spectra {
	var s spectra
	if len(knots) == 0 {
		return s
	}
	for _, k := range knots {
		for len(s.harmonics) < k.number {
			s.harmonics = append(s.harmonics, spectrum{})
		}
		s.harmonics[k.number-1] = spectrum{sxy: k.gain * complex(k.power, 0), sxx: k.power, syy: k.central, hz: k.hz, n: 1}
	}
	line := gainLine(knots)
	for i := 1; ; i++ {
		hz := float64(i) * DeriveStepHz
		if hz > DeriveToHz || hz > knots[len(knots)-1].hz {
			return s
		}
		gain, power := line.at(hz)
		size := cmplx.Abs(gain)
		s.grid = append(s.grid, spectrum{sxy: gain * complex(power, 0), sxx: power, syy: power * size * size, n: 1})
	}
}

// derive sums over subjects, of whom each frequency needs the least number and
// half of all.
func derive(parts []spectra, least int) (*Derived, error) {
	d := &Derived{Subjects: len(parts), parts: parts}
	if d.Subjects < least {
		return nil, fmt.Errorf("%d subjects; at least %d are needed", d.Subjects, least)
	}
	enough := max(least, (d.Subjects+1)/2)
	for i := 0; ; i++ {
		sum := summed(parts, i, func(s *spectra) []spectrum { return s.grid })
		if sum.n < enough {
			break
		}
		d.Hz = append(d.Hz, float64(i+1)*DeriveStepHz)
		d.Gain = append(d.Gain, sum.gain())
		d.Coherence = append(d.Coherence, sum.coherence())
		d.Count = append(d.Count, sum.n)
		d.Power = append(d.Power, sum.sxx/float64(sum.n))
	}
	if n := len(d.Hz); n == 0 || d.Hz[n-1] < lowestTableHz {
		return nil, fmt.Errorf("fewer than %d subjects have harmonics above noise up to %g Hz, where the resonance of the arm lies", enough, lowestTableHz)
	}
	for k := 0; ; k++ {
		sum := summed(parts, k, func(s *spectra) []spectrum { return s.harmonics })
		if sum.n < enough || sum.hz/float64(sum.n) > DeriveToHz {
			return d, nil
		}
		d.Harmonics = append(d.Harmonics, Harmonic{Number: k + 1, MeanHz: sum.hz / float64(sum.n), Gain: sum.gain(), Coherence: sum.coherence(), Count: sum.n})
	}
}

func summed(parts []spectra, i int, of func(*spectra) []spectrum) spectrum {
	var sum spectrum
	for p := range parts {
		if s := of(&parts[p]); i < len(s) {
			sum.add(s[i])
		}
	}
	return sum
}

// without returns what derives from all subjects but one.
func (d *Derived) without(subject int) (*Derived, error) {
	return derive(slices.Delete(slices.Clone(d.parts), subject, subject+1), FewestSubjects)
}

// Table is the transfer function as the estimators take it.
func (d *Derived) Table(artery, source string) Table {
	t := Table{Source: source, Artery: artery, Hz: slices.Clone(d.Hz)}
	before := 0.0
	for _, g := range d.Gain {
		phase := cmplx.Phase(g)
		phase -= 2 * math.Pi * math.Round((phase-before)/(2*math.Pi))
		before = phase
		t.Modulus, t.Phase = append(t.Modulus, cmplx.Abs(g)), append(t.Phase, phase)
	}
	return t
}

// Band is an interval of modulus and phase at each frequency of a Derived; NaN
// where fewer than SubjectsForBands subjects reach the frequency.
type Band struct{ ModulusLow, ModulusHigh, PhaseLow, PhaseHigh []float64 }

// Band returns the pointwise confidence band of a level: the jackknife over
// subjects of log modulus and phase with Student's t. False where there are
// fewer than SubjectsForBands subjects in all.
func (d *Derived) Band(level float64) (Band, bool) {
	if d.Subjects < SubjectsForBands {
		return Band{}, false
	}
	var b Band
	phases := d.Table("", "").Phase
	for i := range d.Hz {
		n := d.Count[i]
		if n < SubjectsForBands {
			nan := math.NaN()
			b.add(nan, nan, nan, nan)
			continue
		}
		all := summed(d.parts, i, func(s *spectra) []spectrum { return s.grid })
		var logs, turns []float64
		for p := range d.parts {
			if i >= len(d.parts[p].grid) {
				continue
			}
			one := d.parts[p].grid[i]
			rest := (all.sxy - one.sxy) / complex(all.sxx-one.sxx, 0)
			logs = append(logs, math.Log(cmplx.Abs(rest)))
			turns = append(turns, cmplx.Phase(rest/d.Gain[i]))
		}
		t := stats.StudentQuantile((1+level)/2, float64(n-1))
		half, turn := t*jackknifeError(logs), t*jackknifeError(turns)
		modulus := cmplx.Abs(d.Gain[i])
		b.add(modulus*math.Exp(-half), modulus*math.Exp(half), phases[i]-turn, phases[i]+turn)
	}
	return b, true
}

func (b *Band) add(modulusLow, modulusHigh, phaseLow, phaseHigh float64) {
	b.ModulusLow, b.ModulusHigh = append(b.ModulusLow, modulusLow), append(b.ModulusHigh, modulusHigh)
	b.PhaseLow, b.PhaseHigh = append(b.PhaseLow, phaseLow), append(b.PhaseHigh, phaseHigh)
}

// jackknifeError is the standard error from the estimates with one left out.
func jackknifeError(leftOut []float64) float64 {
	m, sum, n := mean(leftOut), 0.0, float64(len(leftOut))
	for _, v := range leftOut {
		sum += float64((v - m) * (v - m))
	}
	return math.Sqrt(sum * (n - 1) / n)
}
