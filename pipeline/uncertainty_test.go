package pipeline

import (
	"math"
	"math/rand/v2"
	"testing"

	"tonocohort/pipeline/central"
	"tonocohort/pipeline/pulse"
	"tonocohort/pipeline/simulate"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
	"tonocohort/testdata"
)

// Nominal 95 % intervals hold the truth in 94 to 96 % where every component is
// drawn as the settings say: cuff readings, the step to the wrist or the form
// factor, beats, the peak of the person's own transfer function and the fall of
// mean pressure. It is a check of how the components are carried over and
// combined (internal), not of the published spreads themselves; the floor under
// the transfer function's spread is off, since it adds to what is drawn here.
func TestIntervalsCoverWhatTheyName(t *testing.T) {
	replicates, within := 4000, 0.01
	if testdata.UnderRaceDetector() { // one goroutine: the count is for the shares alone
		replicates, within = 400, 0.035
	}
	for _, calibration := range []string{pulse.BySBPDBP, pulse.ByMAPDBP} {
		d := newDraws(t, calibration)
		covered := map[string]int{}
		for range replicates {
			truth, r := d.replicate()
			for name, value := range truth {
				if math.Abs(r.values[columnAt(name)]-value) <= 1.96*r.values[columnAt(name+"_se")] {
					covered[name]++
				}
			}
		}
		for _, name := range []string{"central_sbp_mmhg", "central_dbp_mmhg", "central_map_mmhg", "central_pp_mmhg"} {
			share := float64(covered[name]) / float64(replicates)
			t.Logf("%s, %s: %.1f %%", calibration, name, 100*share)
			if math.Abs(share-0.95) > within {
				t.Errorf("%s, %s: 95 %% intervals hold the truth in %.1f %%", calibration, name, 100*share)
			}
		}
	}
}

// draws makes recordings whose truth is known.
type draws struct {
	w      *worker
	random *rand.Rand
	wave   []float64 // true radial pressure of one beat, mmHg
	stepS  float64
}

func newDraws(t *testing.T, calibration string) *draws {
	settings := schema.DefaultSettings()
	settings.Calibration.Primary, settings.Calibration.Map = calibration, "factor"
	settings.Central.Also = nil
	u := &settings.Uncertainty
	u.TransferSBPSDMmHg, u.TransferDBPSDMmHg, u.TransferPPSDMmHg = 0, 0, 0
	methods, err := newEstimators(settings.Central, nil)
	if err != nil {
		t.Fatal(err)
	}
	files, err := store.OpenRoot(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { files.Close() })
	d := &draws{w: newWorker(settings, files, methods, &disguise{settings: settings.Privacy}), random: rand.New(rand.NewPCG(1, 2))}
	samples, truth := simulate.Recording("coverage", 40, 128)
	p, err := d.w.analyser.Analyse(samples, 128)
	if err != nil {
		t.Fatal(err)
	}
	scale, offset, err := pulse.Calibrate(p.Average, pulse.BySBPDBP, truth.Radial.SBP, truth.Radial.DBP, 0)
	if err != nil {
		t.Fatal(err)
	}
	d.stepS = p.StepS
	for _, x := range p.Average {
		d.wave = append(d.wave, offset+scale*x)
	}
	return d
}

// replicate draws one person and one recording of the same true radial wave.
func (d *draws) replicate() (truth map[string]float64, r *recordingResult) {
	u, normal := d.w.settings.Uncertainty, d.random.NormFloat64
	hz, height := 4*math.Exp(0.169*normal()), 2.8*math.Exp(0.249*normal())
	own := central.Tube{Method: central.TubeConstant, TravelS: 1 / (4 * hz), Reflection: (height - 1) / (height + 1)}
	m := central.Measure(central.Apply(own, d.wave, d.stepS*float64(len(d.wave)), nil), d.stepS)
	fall := u.MeanFallSDMmHg * normal()
	truth = map[string]float64{"central_sbp_mmhg": m.SBP + fall, "central_dbp_mmhg": m.DBP + fall, "central_map_mmhg": m.MAP + fall, "central_pp_mmhg": m.PP}

	low, high, mean := d.wave[0], d.wave[0], 0.0
	for _, p := range d.wave {
		low, high, mean = min(low, p), max(high, p), mean+p/float64(len(d.wave))
	}
	r = &recordingResult{row: &study.Recording{ID: "R", Setup: &study.Setup{Artery: "radial"}}, status: statusUsed, unit: "au",
		calibration: d.w.settings.Calibration.Primary, values: theLayout.empty(), errors: newErrors()}
	sbp := high + u.RadialStepSDMmHg*normal()
	if r.calibration == pulse.ByMAPDBP {
		// The person's own form factor makes the mean what it is.
		sbp = low + (mean-low)/(d.w.settings.Calibration.FormFactor+u.FormFactorSD*normal())
	}
	d.cuff(r, sbp, low)
	d.w.estimate(r, d.beats())
	return truth, r
}

// cuff reads the brachial pressure twice.
func (d *draws) cuff(r *recordingResult, sbp, dbp float64) {
	u, normal := d.w.settings.Uncertainty, d.random.NormFloat64
	readings := make([]study.Reading, 2)
	for i := range readings {
		a, b := normal(), normal()
		b = u.CuffCorrelation*a + math.Sqrt(1-u.CuffCorrelation*u.CuffCorrelation)*b
		readings[i] = study.Reading{Number: i + 1, SBP: sbp + u.CuffSBPSDMmHg*a, DBP: dbp + u.CuffDBPSDMmHg*b, MAP: math.NaN(), Pulse: math.NaN()}
	}
	d.w.brachial(r, &study.Visit{ID: "v", Cuff: readings})
}

// beats makes two dozen beats that differ in height and tilt.
func (d *draws) beats() pulse.Result {
	const beats, amplitude = 24, 0.04
	n := len(d.wave)
	p := pulse.Result{Average: make([]float64, n), StepS: d.stepS, PeriodS: d.stepS * float64(n)}
	for range beats {
		gain, wave := 1+amplitude*d.random.NormFloat64(), 2*d.random.NormFloat64()
		beat := make([]float64, n)
		for i, x := range d.wave {
			beat[i] = gain*x + wave*math.Sin(2*math.Pi*float64(i)/float64(n))
			p.Average[i] += beat[i] / beats
		}
		p.Stack = append(p.Stack, beat)
	}
	return p
}
