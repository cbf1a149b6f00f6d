package pipeline

import (
	"slices"
	"strings"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// chunkRows are the rows of one chunk of subjects, in order.
type chunkRows struct {
	recordings, visits, beats, waveforms, estimates, uncertainty, reviews, readings, exclusions *schema.Frame
}

func newChunkRows(carried []schema.Column) *chunkRows {
	return &chunkRows{
		recordings:  schema.NewFrame(schema.RecordingsTable(), chunkSubjects),
		visits:      schema.NewFrame(schema.SubjectVisitsTable(carried), chunkSubjects),
		beats:       schema.NewFrame(schema.BeatsTable(), 64*chunkSubjects),
		waveforms:   schema.NewFrame(schema.WaveformsTable(), chunkSubjects),
		estimates:   schema.NewFrame(schema.EstimatesTable(), 4*chunkSubjects),
		uncertainty: schema.NewFrame(schema.UncertaintyTable(), 16*chunkSubjects),
		reviews:     schema.NewFrame(schema.ReviewsTable(), 0),
		readings:    schema.NewFrame(schema.ReadingsTable(), 4*chunkSubjects),
		exclusions:  schema.NewFrame(schema.ExclusionsTable(), chunkSubjects),
	}
}

// add appends the rows of one subject.
func (c *chunkRows) add(s schema.Settings, carried []schema.Column, scheme study.Scheme, r *subjectResult) {
	for i := range r.visits {
		v := &r.visits[i]
		for _, rec := range v.recordings {
			c.addRecording(s, r.subject.ID, v.visit.ID, rec)
			c.addReviews(s, r.subject.ID, v.visit.ID, rec)
		}
		c.addReadings(r.subject.ID, v.visit)
		c.addVisit(s, carried, scheme, r.subject.ID, v)
	}
	if status, reason := r.status(); status != statusUsed {
		c.exclude("subject", r.subject.ID, "", "", "subjects", reason, "no usable visit")
	}
}

func (c *chunkRows) addRecording(s schema.Settings, subjectID, visitID string, r *recordingResult) {
	f := c.recordings
	row := f.AddRow()
	for _, c := range []struct{ name, text string }{
		{"subject_id", subjectID}, {"visit_id", visitID}, {"recording_id", r.row.ID},
		{"status", r.status}, {"reason", r.reason},
		{"quality", r.quality}, {"quality_reasons", strings.Join(r.qualityReasons, " ")},
		{"review", r.row.Review}, {"artery", r.row.Artery}, {"side", r.row.Side},
		{"operator_id", r.row.OperatorID}, {"device_id", r.row.DeviceID}, {"recorded_at", r.row.RecordedAt}, {"unit", r.unit}, {"resampling", r.resampling},
		{"calibration", r.calibration}, {"central_method", r.centralMethod},
		{"cuff_rule", s.Cuff.Rule}, {"brachial_map_source", r.mapSource},
		{"augmentation_type", r.augmentation}, {"index_notes", strings.Join(r.indexNotes, " ")},
	} {
		f.SetText(row, c.name, c.text)
	}
	f.SetNumber(row, "wave_minimum", r.waveMinimum)
	f.SetNumber(row, "wave_amplitude", r.waveAmplitude)
	f.SetNumber(row, "sampling_hz", r.samplingHz)
	f.SetNumber(row, "duration_s", r.durationS)
	setInteger(f, row, "cuff_readings", r.cuff.Used)
	f.SetNumber(row, "cuff_sbp_spread_mmhg", r.cuff.SpreadSBP)
	theLayout.write(f, row, r.values)
	c.addBeats(subjectID, visitID, r)
	c.addEstimates(subjectID, visitID, r)
	c.addUncertainty(subjectID, visitID, r)
	if r.peripheral != nil {
		c.addWaveform(subjectID, visitID, r)
	}
	if r.status != statusUsed {
		c.exclude("recording", subjectID, visitID, r.row.ID, "recordings", r.reason, r.detail)
	}
}

func (c *chunkRows) addBeats(subjectID, visitID string, r *recordingResult) {
	f := c.beats
	from := f.AddRows(len(r.beats))
	text := func(name string) []string { return f.Texts(name)[from:] }
	number := func(name string) []float64 { return f.Numbers(name)[from:] }
	subject, visit, recording, reason := text("subject_id"), text("visit_id"), text("recording_id"), text("reason")
	beat, onset, foot, period := number("beat"), number("onset_s"), number("foot_s"), number("period_s")
	minimum, maximum, correlation, accepted := number("minimum_mmhg"), number("maximum_mmhg"), number("template_correlation"), number("accepted")
	for i := range r.beats {
		b := &r.beats[i]
		subject[i], visit[i], recording[i], reason[i] = subjectID, visitID, r.row.ID, b.Reason
		beat[i], onset[i], foot[i], period[i] = float64(i+1), b.OnsetS, b.FootS, b.PeriodS
		minimum[i], maximum[i] = r.offset+float64(r.scale*b.Minimum), r.offset+float64(r.scale*b.Maximum)
		correlation[i], accepted[i] = b.Correlation, 0
		if b.Accepted {
			accepted[i] = 1
		}
	}
}

func (c *chunkRows) addWaveform(subjectID, visitID string, r *recordingResult) {
	f := c.waveforms
	row := f.AddRow()
	f.SetText(row, "subject_id", subjectID)
	f.SetText(row, "visit_id", visitID)
	f.SetText(row, "recording_id", r.row.ID)
	f.SetNumber(row, "step_s", r.stepS)
	f.SetWave(row, "radial_mmhg", r.peripheral)
	f.SetWave(row, "central_mmhg", r.aortic)
}

func (c *chunkRows) addEstimates(subjectID, visitID string, r *recordingResult) {
	f := c.estimates
	from := f.AddRows(len(r.methods))
	text := func(name string) []string { return f.Texts(name)[from:] }
	number := func(name string) []float64 { return f.Numbers(name)[from:] }
	subject, visit, recording, method, calibration := text("subject_id"), text("visit_id"), text("recording_id"), text("method"), text("calibration")
	parameters, notes, source, primary := text("parameters"), text("notes"), text("source"), number("primary")
	sbp, dbp, mean, pp := number("central_sbp_mmhg"), number("central_dbp_mmhg"), number("central_map_mmhg"), number("central_pp_mmhg")
	pressure, index := number("augmentation_pressure_mmhg"), number("augmentation_index_pct")
	for i := range r.methods {
		m := &r.methods[i]
		subject[i], visit[i], recording[i], method[i], calibration[i] = subjectID, visitID, r.row.ID, m.method, m.calibration
		parameters[i], notes[i], source[i], primary[i] = m.parameters, m.notes, m.source, 0
		if m.primary {
			primary[i] = 1
		}
		sbp[i], dbp[i], mean[i], pp[i] = m.sbp, m.dbp, m.mean, m.pp
		pressure[i], index[i] = m.augmentationPressure, m.augmentationIndex
	}
}

func (c *chunkRows) addUncertainty(subjectID, visitID string, r *recordingResult) {
	f := c.uncertainty
	from := f.AddRows(r.errors.known())
	text := func(name string) []string { return f.Texts(name)[from:] }
	number := func(name string) []float64 { return f.Numbers(name)[from:] }
	subject, visit, recording, value, unit := text("subject_id"), text("visit_id"), text("recording_id"), text("value"), text("unit")
	estimate, beats, cuff := number("estimate"), number("se_beats"), number("se_cuff")
	calibration, transfer, combined := number("se_calibration"), number("se_transfer"), number("se")
	i := 0
	for k, c := range uncertainColumns {
		e := &r.errors[k]
		if !e.known {
			continue
		}
		subject[i], visit[i], recording[i], value[i], unit[i] = subjectID, visitID, r.row.ID, c.name, theLayout.columns[c.value].Unit
		estimate[i], beats[i], cuff[i] = r.values[c.value], e.beats, e.cuff
		calibration[i], transfer[i], combined[i] = e.calibration, e.transfer, e.combined()
		i++
	}
}

func (c *chunkRows) addVisit(s schema.Settings, carried []schema.Column, scheme study.Scheme, subjectID string, v *visitResult) {
	f := c.visits
	row := f.AddRow()
	for _, c := range []struct{ name, text string }{
		{"subject_id", subjectID}, {"visit_id", v.visit.ID}, {"status", v.status}, {"reason", v.reason},
		{"replicate_rule", s.Replicates.Rule}, {"quality", lowestGrade(v.used)},
		{"calibration", shared(v.used, func(r *recordingResult) string { return r.calibration })},
		{"central_method", shared(v.used, func(r *recordingResult) string { return r.centralMethod })},
		{"brachial_map_source", v.mapSource}, {"cuff_rule", s.Cuff.Rule},
		{"departures", strings.Join(v.visit.Departures, " ")},
	} {
		f.SetText(row, c.name, c.text)
	}
	if !slices.ContainsFunc(carried, func(c schema.Column) bool { return c.Name == schema.OperatorColumn }) {
		f.SetText(row, schema.OperatorColumn, shared(v.used, func(r *recordingResult) string { return r.row.OperatorID }))
	}
	setInteger(f, row, "recordings_found", len(v.recordings))
	setInteger(f, row, "recordings_used", len(v.used))
	setInteger(f, row, "cuff_readings", v.cuff.Used)
	setInteger(f, row, "departure_count", len(v.visit.Departures))
	if len(v.visit.Cuff) > 1 {
		f.SetBool(row, "cuff_first_two_differ", v.cuff.FirstTwoDiffer)
	}
	setCells(f, row, carried, v.visit.Cells)
	theLayout.write(f, row, v.values)
	classify(f, row, scheme)
	if v.status != statusUsed {
		c.exclude("visit", subjectID, v.visit.ID, "", "subject_visits", v.reason, v.detail)
	}
}

func (c *chunkRows) exclude(level, subjectID, visitID, recordingID, stage, reason, detail string) {
	f := c.exclusions
	row := f.AddRow()
	for _, c := range []struct{ name, text string }{
		{"level", level}, {"subject_id", subjectID}, {"visit_id", visitID}, {"recording_id", recordingID},
		{"stage", stage}, {"reason", reason}, {"detail", detail},
	} {
		f.SetText(row, c.name, c.text)
	}
}
