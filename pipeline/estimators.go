package pipeline

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"tonocohort/pipeline/central"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// estimators are the methods that the study names, made once and shared.
type estimators struct {
	primary central.Estimator
	also    []central.Estimator
}

// studyEstimators makes the methods of a study, with its transfer function.
func studyEstimators(s *study.Study) (*estimators, error) {
	var table *central.Table
	if s.Transfer != nil {
		var err error
		if table, err = transferTable(s.Transfer); err != nil {
			return nil, err
		}
	}
	return newEstimators(s.Settings.Central, table)
}

func newEstimators(s schema.CentralSettings, table *central.Table) (*estimators, error) {
	primary, err := central.NewEstimator(s.Method, table)
	if err != nil {
		return nil, err
	}
	e := &estimators{primary: primary}
	for _, method := range s.Also {
		other, err := central.NewEstimator(method, table)
		if err != nil {
			return nil, err
		}
		e.also = append(e.also, other)
	}
	return e, nil
}

// methodResult is one method's estimate under one calibration, a row of the
// table estimates.
type methodResult struct {
	method, source, calibration string
	primary                     bool
	sbp, dbp, mean, pp          float64
	augmentationPressure        float64
	augmentationIndex           float64
	parameters, notes           string
}

// byMethod files the estimate under each calibration that the recording allows.
func (w *worker) byMethod(r *recordingResult, scaled []calibration, e central.Estimate, source string, primary bool) {
	parameters, notes := w.told.text(e.Parameters), strings.Join(e.Notes, " ")
	if r.methods == nil {
		r.methods = make([]methodResult, 0, len(scaled)*(1+len(w.estimators.also)))
	}
	for i := range scaled {
		c := &scaled[i]
		if c.fault != nil {
			continue // the reason stands with the primary calibration, or the cuff lacks what this one needs
		}
		r.methods = append(r.methods, methodResult{method: e.Method, source: source, calibration: c.kind, primary: primary && c.kind == r.calibration,
			sbp: c.indices.SBP, dbp: c.indices.DBP, mean: c.indices.MAP, pp: c.indices.PP,
			augmentationPressure: c.indices.AugmentationPressure, augmentationIndex: c.indices.AugmentationIndexPct,
			parameters: parameters, notes: notes})
	}
}

// peakOnly is what a method without a wave gives.
func peakOnly(sbp float64) central.Indices {
	nan := math.NaN()
	return central.Indices{SBP: sbp, DBP: nan, MAP: nan, PP: nan, AugmentationPressure: nan, AugmentationIndexPct: nan}
}

// others runs the methods that stand beside the primary one.
func (w *worker) others(r *recordingResult, beat central.Beat) {
	for _, method := range w.estimators.also {
		e, err := method.Estimate(w.central, beat, w.other)
		if err != nil {
			nan := math.NaN()
			r.methods = append(r.methods, methodResult{method: method.Name(), source: method.Source(), calibration: r.calibration,
				sbp: nan, dbp: nan, mean: nan, pp: nan, augmentationPressure: nan, augmentationIndex: nan, notes: "estimate:" + strings.ReplaceAll(err.Error(), " ", "_")})
			continue
		}
		if e.Wave != nil {
			w.other = e.Wave
		}
		w.byMethod(r, w.calibrations(r, beat.Wave, &e, nil), e, method.Source(), false)
	}
}

// toldParameters are those that were told last, with their text: a tube with fixed
// numbers has the same for every recording.
type toldParameters struct {
	of  []central.Parameter
	was string
}

func (t *toldParameters) text(parameters []central.Parameter) string {
	if len(parameters) == 0 {
		return ""
	}
	if !slices.Equal(parameters, t.of) {
		*t = toldParameters{parameters, parameterText(parameters)}
	}
	return t.was
}

func parameterText(parameters []central.Parameter) string {
	var b []byte
	for i, p := range parameters {
		if i > 0 {
			b = append(b, ' ')
		}
		b = append(append(b, p.Name...), '=')
		b = strconv.AppendFloat(b, p.Value, 'g', 6, 64)
	}
	return string(b)
}
