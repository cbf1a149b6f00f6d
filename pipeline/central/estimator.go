package central

import (
	"fmt"
	"math"
)

// Beat is what an estimator is given: one period of a peripheral wave.
type Beat struct {
	Wave   []float64 // any unit and any rotation
	StepS  float64   // s between samples
	Artery string

	harmonics *series // those below 12 Hz; nil: worked out by whoever needs them
}

// Beat prepares a beat: its harmonics are worked out once for all that is made of
// it. It holds until the workspace prepares the next.
func (w *Workspace) Beat(wave []float64, stepS float64, artery string) Beat {
	b := Beat{Wave: wave, StepS: stepS, Artery: artery}
	w.beat.resize(harmonicsBelow(rollOffToHz, b.period(), len(wave)))
	w.wave.analyse(wave, b.period(), &w.beat)
	b.harmonics = &w.beat
	return b
}

// harmonics returns at least so many harmonics of a beat.
func (w *Workspace) harmonics(b Beat, least int) *series {
	return w.seriesOf(b.Wave, b.period(), least, b.harmonics)
}

// period returns the duration of the beat.
func (b Beat) period() float64 { return b.StepS * float64(len(b.Wave)) }

// Parameter is a number that an estimator found or used.
type Parameter struct {
	Name  string // with its unit at the end
	Value float64
}

// Estimate is what an estimator makes of a beat, in the unit of the beat. Every
// estimate follows scale and offset of the beat, so that it may be made once
// and calibrated afterwards.
type Estimate struct {
	Method     string    // public name of what was done; none for a carotid or aortic wave
	Transfer   Transfer  // what the wave went through; nil where the method gives a peak alone
	Wave       []float64 // aortic wave, sample by sample of the beat; nil where the method gives a peak alone
	SBP        float64   // its peak; NaN where there is none
	Parameters []Parameter
	Notes      []string // "index:reason"

	fit      *IndividualFit
	measured *Indices // of Wave in its own unit, where it has been measured
}

// measure returns the indices of the wave in its own unit.
func (w *Workspace) measure(e *Estimate, stepS float64) *Indices {
	if e.measured == nil {
		m := w.Measure(e.Wave, stepS)
		e.measured = &m
	}
	return e.measured
}

// Calibrated returns the indices of an estimate's wave, which it has, after
// calibration: pressure is offset + scale·wave.
func (w *Workspace) Calibrated(e *Estimate, stepS, scale, offset float64) Indices {
	return w.measure(e, stepS).Calibrated(scale, offset, stepS*float64(len(e.Wave)))
}

// Estimator is one published way from a peripheral beat to aortic pressure.
type Estimator interface {
	// Name is the public name that is stored beside every value.
	Name() string
	// Source says where the method was published.
	Source() string
	// Limits says for what it is valid and what it cannot do.
	Limits() string
	// Estimate works out one beat. The wave goes into out, grown if it is too
	// short. An artery that the method was not made for is an error.
	Estimate(w *Workspace, b Beat, out []float64) (Estimate, error)
	// Spread says how far not knowing the person's own transfer function moves
	// the pressures of an estimate of the same beat; NaN where nothing is
	// published about it, zero where the wave went through none.
	Spread(w *Workspace, b Beat, e Estimate) Spread
}

// unknownSpread is the spread of a method about which nothing is published.
func unknownSpread() Spread {
	nan := math.NaN()
	return Spread{nan, nan, nan, nan, nan}
}

// NewEstimator returns the estimator of a name; transfer_table needs its table,
// the others ignore it. An estimator may be shared by goroutines.
func NewEstimator(method string, table *Table) (Estimator, error) {
	switch method {
	case None, TubeConstant, TubeWindkessel:
		return fixed{method: method}, nil
	case TubeIndividual:
		return individual{radial: NewIndividual(Radial), brachial: NewIndividual(Brachial)}, nil
	case TransferTable:
		if table == nil {
			return nil, fmt.Errorf("central: method %q needs a table", method)
		}
		if err := table.Check(); err != nil {
			return nil, err
		}
		return tabulated{table: *table}, nil
	case MovingAverageMethod:
		return movingAverage{}, nil
	case LateShoulderMethod:
		return lateShoulder{}, nil
	}
	return nil, fmt.Errorf("central: no method %q", method)
}

// through is the estimate of a transfer function.
func through(t Transfer, w *Workspace, b Beat, out []float64) Estimate {
	e := Estimate{Method: t.Name(), Transfer: t, SBP: math.NaN()}
	e.Wave = w.apply(t, b.Wave, b.period(), b.harmonics, out)
	if len(e.Wave) > 2 && finite(e.Wave) {
		p := period{wave: e.Wave, step: b.StepS, length: b.period()}
		e.SBP = p.extreme(+1).value
	}
	return e
}

// nearHeart reports whether the artery is so near the heart that its wave is
// taken as the aortic one.
func nearHeart(artery string) bool { return artery == Carotid || artery == Aortic }

// fixed is an estimator whose transfer function is known before the wave.
type fixed struct{ method string }

func (f fixed) Name() string { return f.method }

func (f fixed) Source() string {
	switch f.method {
	case TubeConstant:
		return "lossless tube with constant reflection (Gao 2016, Sci Rep 6:33230) at the published peak of the forward gain (Karamanoglu 1993, Eur Heart J 14:160-7)"
	case TubeWindkessel:
		return "lossless tube with a windkessel as load (Swamy 2009, AJP Heart 297:H1956, from memory) at the published peak of the forward gain (Karamanoglu 1993, Eur Heart J 14:160-7); B = 0.3 is our own choice"
	}
	return "the wave as recorded"
}

func (f fixed) Limits() string {
	if f.method == None {
		return "carotid and aortic waves; of any other artery it is no aortic wave"
	}
	return "adults at rest; the same arm for everybody, so the peak of the gain is wrong by about 17 % in frequency and 25 % in height in a single person (Chen 1997, Circulation 95:1827-36, from memory); nothing above 12 Hz"
}

func (f fixed) Estimate(w *Workspace, b Beat, out []float64) (Estimate, error) {
	t, err := For(f.method, b.Artery)
	if err != nil {
		return Estimate{}, err
	}
	e := through(t, w, b, out)
	if tube, ok := t.(Tube); ok {
		e.Parameters = []Parameter{{"travel_ms", 1000 * tube.TravelS}, {"reflection", tube.Reflection}, {"reflection_time_ms", 1000 * tube.ReflectionS}}
	}
	return e, nil
}

func (f fixed) Spread(w *Workspace, b Beat, e Estimate) Spread {
	if e.Method == None {
		return Spread{}
	}
	return w.constantTubeSpread(b, e)
}

// individual is the tube found from the wave.
type individual struct{ radial, brachial *Individual }

func (individual) Name() string { return TubeIndividual }

func (individual) Source() string {
	return "exponential diastole (Gao 2016, Sci Rep 6:33230) for a tube in two parts (ASME DSCC 2013) with lengths and radii of the arm (Mynard & Smolich 2015); prior at the published peak (Karamanoglu 1993, Eur Heart J 14:160-7) with the published spread (Chen 1997, Circulation 95:1827-36, from memory)"
}

func (individual) Limits() string {
	return "needs a diastole of a quarter of a second after the band limit and one that decays like an exponential; elsewhere it uses population values and says so; nothing above 12 Hz"
}

func (m individual) Estimate(w *Workspace, b Beat, out []float64) (Estimate, error) {
	if nearHeart(b.Artery) {
		return through(identity{}, w, b, out), nil
	}
	search := m.radial
	switch b.Artery {
	case Radial:
	case Brachial:
		search = m.brachial
	default:
		return Estimate{}, fmt.Errorf("central: no transfer function for artery %q", b.Artery)
	}
	fit := search.Fit(w, b.Wave, b.period())
	e := through(fit.Tube, w, b, out)
	e.fit = &fit
	e.Parameters = []Parameter{
		{"travel_ms", 1000 * fit.Tube.TravelS}, {"reflection", fit.Tube.Reflection},
		{"peak_hz", fit.PeakHz}, {"peak_gain", fit.Peak}, {"diastolic_misfit_pct", 100 * fit.Misfit},
	}
	if fit.Fallback != "" {
		e.Notes = append(e.Notes, fit.Fallback)
	}
	return e, nil
}

func (m individual) Spread(w *Workspace, b Beat, e Estimate) Spread {
	if e.fit == nil {
		return Spread{}
	}
	search := m.radial
	if b.Artery == Brachial {
		search = m.brachial
	}
	return search.spreadOf(w, *e.fit, b, e)
}

// movingAverage is the peak by moving average.
type movingAverage struct{}

func (movingAverage) Name() string { return MovingAverageMethod }

func (movingAverage) Source() string {
	return "Williams 2011, JACC 57:951-61 (radial, a quarter of a second); Shih 2014, Hypertension 63:865 (brachial, a sixth of a second)"
}

func (movingAverage) Limits() string {
	return "radial and brachial waves; a peak without a wave: no diastolic pressure, no augmentation"
}

func (movingAverage) Estimate(_ *Workspace, b Beat, _ []float64) (Estimate, error) {
	e := Estimate{Method: MovingAverageMethod}
	var ok bool
	if e.SBP, ok = MovingAverage(b.Wave, b.StepS, b.Artery); !ok {
		e.Notes = append(e.Notes, "central_sbp:no_window_for_this_wave")
	}
	return e, nil
}

func (movingAverage) Spread(*Workspace, Beat, Estimate) Spread { return unknownSpread() }
