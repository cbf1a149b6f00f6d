package pipeline

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"tonocohort/pipeline/central"
	"tonocohort/pipeline/pulse"
	"tonocohort/pipeline/recording"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// What became of a recording or a visit.
const (
	statusUsed     = "used"
	statusExcluded = "excluded"
	statusFailed   = "failed"
)

// recordingResult is everything that one recording leaves behind.
type recordingResult struct {
	row            *study.Recording
	sex            string
	status         string
	reason, detail string
	quality        string
	qualityReasons []string
	unit           string
	samplingHz     float64
	resampling     string
	waveMinimum    float64 // of the average beat, in the unit of the samples
	waveAmplitude  float64
	durationS      float64
	centralMethod  string
	calibration    string
	cuff           study.Cuff
	mapSource      string
	indexNotes     []string
	augmentation   string // type A, B or C
	methods        []methodResult
	errors         valueErrors
	values         values
	beats          []pulse.Beat
	scale          float64 // of the primary calibration: mmHg = offset + scale · sample
	offset         float64
	stepS          float64
	peripheral     []float32 // mmHg, primary calibration
	aortic         []float32
	inputs         []recording.Input
	issues         []schema.Issue
}

// leave marks the recording as left out; the first reason stands.
func (r *recordingResult) leave(status, reason, detail string) {
	if r.status == statusUsed {
		r.status, r.reason, r.detail = status, reason, detail
	}
}

// worker is what one goroutine reuses from recording to recording.
type worker struct {
	settings schema.Settings
	files    *tracedFiles
	disguise *disguise
	read     func(recording.Request) (recording.Recording, error)
	analyser *pulse.Analyser
	*estimators
	central *central.Workspace
	wave    []float64 // calibrated average beat, mmHg
	aortic  []float64 // in the unit of the recording
	other   []float64
	scaled  []calibration
	told    toldParameters
}

func newWorker(s schema.Settings, files Files, e *estimators, d *disguise) *worker {
	w := &worker{settings: s, files: &tracedFiles{files: files, wait: time.Sleep}, estimators: e, disguise: d}
	w.read = newReader(w.files, s).Read
	w.renew()
	return w
}

// renew gives the worker memory in which nothing is half done.
func (w *worker) renew() {
	beats := w.settings.Beats
	w.analyser = pulse.NewAnalyser(pulse.Settings{LowpassHz: beats.LowpassHz, MinAccepted: beats.MinAccepted, MinSeconds: beats.MinSeconds})
	w.central = central.NewWorkspace()
}

// begin makes the result of a recording of which nothing is known but its row
// and its cuff readings.
func (w *worker) begin(sex string, visit *study.Visit, row *study.Recording) *recordingResult {
	r := &recordingResult{
		row: row, sex: sex, status: statusUsed, unit: row.Unit, samplingHz: math.NaN(), durationS: math.NaN(), waveMinimum: math.NaN(), waveAmplitude: math.NaN(),
		calibration: w.settings.Calibration.Primary, stepS: math.NaN(), scale: math.NaN(), offset: math.NaN(),
		values: theLayout.empty(), errors: newErrors(),
	}
	w.brachial(r, visit)
	return r
}

// recording carries one recording from its file to its values.
func (w *worker) recording(sex string, visit *study.Visit, row *study.Recording) *recordingResult {
	r := w.begin(sex, visit, row)
	if row.Fault != "" {
		r.leave(statusFailed, row.Fault, "the table says so")
		return r
	}
	if row.Review == "reject" {
		r.leave(statusExcluded, "rejected_by_reader", reviewReason(row, "reject"))
	}
	read, err := w.read(requestFor(row))
	r.inputs = read.Inputs
	w.addNotes(r, visit, read.Notes)
	if err != nil {
		w.failed(r, err)
		return r
	}
	r.samplingHz, r.unit = read.SamplingHz, read.Unit
	r.durationS = float64(len(read.Samples)) / read.SamplingHz
	pulses, err := w.analyser.Analyse(read.Samples, read.SamplingHz)
	r.beats, r.quality, r.qualityReasons = pulses.Beats, pulses.Grade, append(pulses.GradeReasons, pulses.Notes...)
	r.values[atBeatsFound] = float64(len(pulses.Beats))
	r.values[atBeatsUsed] = float64(pulses.Accepted)
	if err != nil {
		w.failed(r, err)
		return r
	}
	r.resampling = pulses.Resampling
	r.values[atHeartRate] = pulses.HeartRateBPM
	r.waveMinimum = slices.Min(pulses.Average)
	r.waveAmplitude = slices.Max(pulses.Average) - r.waveMinimum
	w.judgeGrade(r)
	w.estimate(r, pulses)
	return r
}

// failed files the error of a door under its stable code.
func (w *worker) failed(r *recordingResult, err error) {
	issue := asIssue(r.row, err)
	var failure *pulse.Failure
	if errors.As(err, &failure) {
		issue.Code, issue.Message = failure.Code, failure.Message
	}
	issue.RecordingID = r.row.ID
	issue = w.disguise.ofRecording(issue, r.row.ID)
	r.issues = append(r.issues, issue)
	r.leave(statusFailed, issue.Code, issue.String())
	r.quality = pulse.Unusable
}

func (w *worker) addNotes(r *recordingResult, visit *study.Visit, notes []schema.Issue) {
	for _, n := range notes {
		n.RecordingID, n.VisitID = r.row.ID, visit.ID
		n = w.disguise.ofRecording(n, r.row.ID)
		r.issues = append(r.issues, n)
	}
}

// brachial combines the cuff readings that serve the recording.
func (w *worker) brachial(r *recordingResult, visit *study.Visit) {
	r.cuff = w.combineCuff(visit.ReadingsFor(r.row.ID))
	r.values[atBrachialSBP] = r.cuff.SBP
	r.values[atBrachialDBP] = r.cuff.DBP
	mean, source := meanPressure(r.cuff, w.settings.Calibration)
	r.values[atBrachialMAP] = mean
	r.mapSource = source
	r.values.derive()
}

// combineCuff combines readings by the study's rule; the rule was checked when
// the settings were read, so that its error cannot come up here.
func (w *worker) combineCuff(readings []study.Reading) study.Cuff {
	c, err := study.CombineCuff(readings, w.settings.Cuff.Rule)
	if err != nil {
		panic(err)
	}
	return c
}

// meanPressure is the cuff's own mean pressure or DBP + form factor · PP, as the
// settings say, with the name of the source.
func meanPressure(c study.Cuff, s schema.CalibrationSettings) (mmhg float64, source string) {
	if s.Map != "factor" && !math.IsNaN(c.MAP) {
		return c.MAP, "cuff"
	}
	if s.Map == "cuff" || math.IsNaN(c.SBP) {
		return math.NaN(), ""
	}
	return c.DBP + float64(s.FormFactor*(c.SBP-c.DBP)), "form_factor"
}

// judgeGrade leaves a recording out whose grade is below the one that is
// analysed; a reader's accept overrides the grade.
func (w *worker) judgeGrade(r *recordingResult) {
	order := []string{pulse.Unusable, pulse.Doubtful, pulse.Usable}
	if r.row.Review == "accept" {
		return
	}
	if slices.Index(order, r.quality) < slices.Index(order, w.settings.Quality.MinGrade) {
		r.leave(statusExcluded, "quality_"+r.quality, strings.Join(r.qualityReasons, " "))
	}
}

func reviewReason(row *study.Recording, decision string) string {
	for _, v := range row.Reviews {
		if v.Decision == decision {
			return v.Reason
		}
	}
	return ""
}

// estimate gives the average beat its scale, works back the aortic wave and
// measures both. Every estimate follows scale and offset of the beat, so it is
// made once, in the recording's own unit, and each calibration is a change of
// scale afterwards.
func (w *worker) estimate(r *recordingResult, p pulse.Result) {
	beat := w.central.Beat(p.Average, p.StepS, r.row.Artery)
	primary := w.estimators.primary
	e, err := primary.Estimate(w.central, beat, w.aortic)
	if err != nil {
		r.leave(statusFailed, "no_transfer", err.Error())
		return
	}
	r.centralMethod, r.stepS, r.indexNotes = e.Method, p.StepS, e.Notes
	if e.Wave != nil {
		w.aortic = e.Wave
	}
	var jackknife *central.Jackknife
	if e.Transfer != nil {
		jackknife = w.central.JackknifeOf(p.Stack, beat, &e)
	}
	spread := primary.Spread(w.central, beat, e)
	scaled := w.calibrations(r, p.Average, &e, jackknife)
	w.byMethod(r, scaled, e, primary.Source(), true)
	for i := range scaled {
		if k := slices.Index(schema.Calibrations, scaled[i].kind); k >= 0 {
			w.calibrated(r, &scaled[i], k, spread)
		}
	}
	w.primary(r, p.Average, e, scaled, spread)
	w.others(r, beat)
}

// calibration is an estimate under one calibration.
type calibration struct {
	kind          string
	scale, offset float64
	fault         error // why there is none; nothing else is set then
	indices       central.Indices
	errors        central.Errors // from beat to beat
	hasErrors     bool           // not where the wave went through no transfer function
}

// calibrations measures an estimate once under each calibration, with its errors
// where j is not nil. What it returns holds until the next.
func (w *worker) calibrations(r *recordingResult, average []float64, e *central.Estimate, j *central.Jackknife) []calibration {
	kinds := schema.Calibrations
	if r.calibration == pulse.AsRecorded {
		kinds = append([]string{pulse.AsRecorded}, kinds...)
	}
	w.scaled = w.scaled[:0]
	for _, kind := range kinds {
		w.scaled = append(w.scaled, calibration{kind: kind})
		c := &w.scaled[len(w.scaled)-1]
		if c.scale, c.offset, c.fault = w.scale(r, average, kind); c.fault != nil {
			continue
		}
		c.indices = w.measured(e, c.scale, c.offset, r.stepS)
		if j != nil {
			upper := r.cuff.SBP
			if kind == pulse.ByMAPDBP {
				upper = r.values[atBrachialMAP]
			}
			c.errors, c.hasErrors = j.Errors(kind, upper, r.cuff.DBP), true
		}
	}
	return w.scaled
}

// calibrated fills the central values of one of schema.Calibrations, the kth.
func (w *worker) calibrated(r *recordingResult, c *calibration, k int, spread central.Spread) {
	if c.fault != nil {
		return
	}
	m, at := &c.indices, &atCalibrated[k]
	r.values[at.sbp], r.values[at.dbp], r.values[at.mean] = m.SBP, m.DBP, m.MAP
	r.values.derive()
	if c.hasErrors {
		w.uncertain(r, c.kind, &errorOfCalibrated[k], &c.errors, spread, c.scale)
	}
}

// measured takes the indices of an estimate after calibration; a method that
// gives a peak alone has nothing else.
func (w *worker) measured(e *central.Estimate, scale, offset, stepS float64) central.Indices {
	if e.Wave == nil {
		return peakOnly(offset + float64(scale*e.SBP))
	}
	return w.central.Calibrated(e, stepS, scale, offset)
}

func (w *worker) scale(r *recordingResult, average []float64, kind string) (scale, offset float64, err error) {
	if kind == "as_recorded" && r.unit != "mmHg" {
		return 0, 0, fmt.Errorf("calibration as_recorded needs a wave in mmHg, this one is in %s", r.unit)
	}
	return pulse.Calibrate(average, kind, r.values[atBrachialSBP], r.values[atBrachialDBP], r.values[atBrachialMAP])
}
