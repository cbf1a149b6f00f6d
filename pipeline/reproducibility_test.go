package pipeline

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tonocohort/pipeline/simulate"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
	"tonocohort/stats/agree"
)

// Two operators differ in derived central systolic pressure by 1.7 mmHg (SD;
// Siebenhofer 1999, J Hum Hypertens 13:625-9), so one measurement by 1.2. A
// sensor that is held unsteadily enough to give that spread between repeats of a
// person must have beat-to-beat standard errors that say as much, within 15 %.
func TestReportedErrorsMatchRepeats(t *testing.T) {
	const published = 1.7 / math.Sqrt2
	const unsteadyMMHg = 7.4 // SD of the movement, chosen to give the published spread
	w := repeatWorker(t)
	var persons [][]float64
	squares, n := 0.0, 0.0
	for i := range 20 {
		values, errors := w.repeats(i, unsteadyMMHg)
		persons = append(persons, values)
		for _, se := range errors {
			squares += se * se
			n++
		}
	}
	r, err := agree.Repeat(persons, 0.95, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	reported := math.Sqrt(squares / n)
	t.Logf("%.0f repeats: observed %.3f mmHg (%.3f to %.3f), reported %.3f", n, r.WithinSD, r.WithinSDCI.Low, r.WithinSDCI.High, reported)
	if math.Abs(r.WithinSD/published-1) > 0.1 {
		t.Errorf("the repeats spread by %.2f mmHg, the published spread is %.2f", r.WithinSD, published)
	}
	if ratio := reported / r.WithinSD; ratio < 0.85 || ratio > 1.15 {
		t.Errorf("the reported error is %.2f of the observed spread", ratio)
	}
}

func repeatWorker(t *testing.T) *worker {
	settings := schema.DefaultSettings()
	settings.Central.Also = nil
	methods, err := newEstimators(settings.Central, nil)
	if err != nil {
		t.Fatal(err)
	}
	files, err := store.OpenRoot(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { files.Close() })
	return newWorker(settings, files, methods, nil)
}

// repeats measures one person again and again: stretches of 12 s of one long
// recording, each with movement of its own, and the same cuff reading.
func (w *worker) repeats(person int, unsteadyMMHg float64) (values, errors []float64) {
	const hz, seconds, stretches = 128, 12, 30
	samples, truth := simulate.Recording(fmt.Sprint("repeat", person), seconds*stretches, hz)
	random := rand.New(rand.NewPCG(2, uint64(person)))
	move := 0.0
	const kept = 0.92 // of the movement from sample to sample: gone after a tenth of a second
	visit := &study.Visit{ID: "v", Cuff: []study.Reading{{Number: 1, SBP: math.Round(truth.Radial.SBP), DBP: math.Round(truth.Radial.DBP), MAP: math.NaN(), Pulse: math.NaN()}}}
	for k := range stretches {
		piece := samples[k*seconds*hz : (k+1)*seconds*hz]
		for i := range piece {
			move = kept*move + math.Sqrt(1-kept*kept)*unsteadyMMHg*random.NormFloat64()
			piece[i] += truth.Gain * move
		}
		p, err := w.analyser.Analyse(piece, hz)
		if err != nil {
			continue // too few beats are whole; a person would measure again
		}
		r := &recordingResult{row: &study.Recording{ID: "R", Setup: &study.Setup{Artery: "radial"}}, status: statusUsed, unit: "au",
			calibration: w.settings.Calibration.Primary, values: theLayout.empty(), errors: newErrors()}
		w.brachial(r, visit)
		w.estimate(r, p)
		values = append(values, r.values[columnAt("central_sbp_mmhg")])
		errors = append(errors, r.errors[errorOfCentral.sbp].beats)
	}
	return values, errors
}
