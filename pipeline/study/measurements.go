package study

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"

	"tonocohort/schema"
)

func (l *loader) readCuff(t *tableReader) {
	subjectID, visitID, number := t.column("subject_id"), t.column("visit_id"), t.column("reading")
	recording := t.column("recording_id")
	l.readings = make([]Reading, 0, t.hint)
	for t.next() {
		visit, ok := l.visit(t, subjectID, visitID, "reading")
		if !ok {
			continue
		}
		key, ok := t.key(number, "reading")
		if !ok {
			continue
		}
		row := Reading{visit: visit}
		row.Number, row.Line = int(key.Number), t.rows.line(0)
		if id := t.raw(recording); id != "" {
			// As a missing value it would let the reading serve other recordings.
			if f := scanIdentifier(id); f != nil {
				t.leaveOut("reading", recording, id, *f)
				continue
			}
			row.RecordingID = strings.Clone(id)
			t.recordingID = row.RecordingID
		}
		if !t.pressures(&row) {
			row.SBP = math.NaN()
		}
		t.cell(t.column("arm"))
		t.cell(t.column("cuff_mode"))
		l.readings = append(l.readings, row)
	}
	l.sortReadings(t)
}

// pressures reads the pressures of a row; false where the row has been left out.
func (t *tableReader) pressures(r *Reading) bool {
	for _, p := range []struct {
		name string
		into *float64
	}{{"sbp_mmhg", &r.SBP}, {"dbp_mmhg", &r.DBP}} {
		i := t.column(p.name)
		text := t.raw(i)
		if text == "" {
			t.leaveOut("reading", i, "", fault{"missing_pressure", "no pressure: the reading is left out", ""})
			return false
		}
		v, f := t.number(&t.columns[i], text)
		if f != nil {
			t.leaveOut("reading", i, text, *f)
			return false
		}
		*p.into = v
	}
	if r.SBP <= r.DBP {
		hint := ""
		if r.SBP < r.DBP {
			hint = "the two look swapped"
		}
		i := t.column("sbp_mmhg")
		t.leaveOut("reading", i, t.raw(i), fault{"sbp_not_above_dbp", fmt.Sprintf("systolic pressure %s is not above diastolic %s mmHg", plainNumber(r.SBP), plainNumber(r.DBP)), hint})
		return false
	}
	mapColumn := t.column("map_mmhg")
	r.MAP, r.Pulse = t.cell(mapColumn).Number, t.cell(t.column("pulse_bpm")).Number
	if r.MAP <= r.DBP || r.MAP >= r.SBP {
		t.lose(mapColumn, t.raw(mapColumn), fault{"map_not_between", fmt.Sprintf("mean pressure is not between diastolic %s and systolic %s mmHg", plainNumber(r.DBP), plainNumber(r.SBP)), ""})
		r.MAP = math.NaN()
	}
	return true
}

// sortReadings brings the readings into the order of visit and number, and
// reports numbers that a visit has twice.
func (l *loader) sortReadings(t *tableReader) {
	slices.SortFunc(l.readings, func(a, b Reading) int {
		return cmp.Or(cmp.Compare(a.visit, b.visit), cmp.Compare(a.Number, b.Number), cmp.Compare(a.Line, b.Line))
	})
	number := t.column("reading")
	for i := 1; i < len(l.readings); i++ {
		a, b := &l.readings[i-1], &l.readings[i]
		if a.visit != b.visit || a.Number != b.Number {
			continue
		}
		visit := &l.visits[b.visit]
		l.log.add(schema.Issue{Size: schema.SizeStructural, File: t.file, Row: b.Line, Column: t.columns[number].at + 1, Name: "reading", Value: fmt.Sprint(b.Number),
			Code: "duplicate_key", Message: firstLine(int32(a.Line)), Hint: "keep one", SubjectID: l.subjects[visit.subject].id, VisitID: visit.ID})
	}
	l.readings = slices.DeleteFunc(l.readings, func(r Reading) bool { return math.IsNaN(r.SBP) })
}

func (l *loader) readRecordings(t *tableReader) {
	l.recordingsTable = t
	id, subjectID, visitID := t.column("recording_id"), t.column("subject_id"), t.column("visit_id")
	l.recordings = make([]Recording, 0, t.hint)
	for t.next() {
		if l.gone(t, subjectID) {
			l.withdrawnRecordings[strings.Clone(t.raw(id))] = struct{}{}
			continue
		}
		key, ok := t.key(id, "recording")
		if !ok {
			continue
		}
		t.recordingID = strings.Clone(key.Text)
		if first, twice := l.recordingAt.find(t.recordingID); twice {
			t.duplicate(id, int32(l.recordings[first].Line))
			continue
		}
		visit, ok := l.visit(t, subjectID, visitID, "recording")
		if !ok {
			continue
		}
		row, setup := t.recording()
		row.ID, row.GivenID, row.Line, row.visit = t.recordingID, t.recordingID, t.rows.line(0), visit
		l.describeSource(t, &row, &setup)
		row.Setup = l.held(setup)
		l.recordings = append(l.recordings, row)
		l.recordingAt.add(int32(len(l.recordings) - 1))
	}
	l.judgeSharedFiles(t)
}

// mostSetups bounds what is looked for among those met before: in a study of so many
// there is nothing to share.
const mostSetups = 4096

// held returns the setup as it is held for all recordings that have it.
func (l *loader) held(s Setup) *Setup {
	if held, ok := l.setups[s]; ok {
		return held
	}
	if len(l.setups) < mostSetups {
		l.setups[s] = &s
	}
	return &s
}

// recording reads the cells that may be lost.
func (t *tableReader) recording() (Recording, Setup) {
	text := func(name string) string { return t.cell(t.column(name)).Text }
	s := Setup{Channel: text("channel"), Unit: text("unit"), Side: text("side")}
	r := Recording{OperatorID: text("operator_id")}
	s.DeviceID, r.RecordedAt = text("device_id"), text("recorded_at")
	if hz := t.cell(t.column("sampling_hz")).Number; !math.IsNaN(hz) {
		s.SamplingHz = hz
	}
	return r, s
}

// describeSource reads file, format and artery, without any of which the
// recording cannot be read: a wrong artery must not become a radial one.
func (l *loader) describeSource(t *tableReader, r *Recording, s *Setup) {
	fail := func(i int, text string, f fault) {
		issue := t.issue(i, schema.SizeRecording, text, f)
		if r.Fault != "" { // left out already
			t.log.add(issue)
			return
		}
		t.log.excluded("recording", issue)
		r.Fault = f.code
	}
	i := t.column("file")
	switch text := t.raw(i); {
	case text == "":
		fail(i, "", fault{"no_file", "names no file", ""})
	case !isLocal(text) || scanText(strings.TrimLeft(text, "=+-@")) != nil:
		fail(i, text, fault{"file_outside_study", "the path must stay inside the study folder", "a relative path with '/', without '..'"})
	default:
		r.File = strings.Clone(path.Clean(text))
	}
	for _, c := range []struct {
		name string
		into *string
	}{{"format", &s.Format}, {"artery", &s.Artery}} {
		i := t.column(c.name)
		text := t.raw(i)
		f := scanLevel(text, c.name, t.columns[i].Levels)
		switch {
		case text == "" && c.name == "artery":
			s.Artery = "radial" // the default of the contract
		case text == "":
			fail(i, "", fault{"no_format", "names no format", "formats: " + strings.Join(t.columns[i].Levels, ", ")})
		case f != nil:
			fail(i, text, *f)
		default:
			*c.into = t.columns[i].keep(text)
		}
	}
	if able := l.options.RecordingFormats; able != nil && s.Format != "" && !slices.Contains(able, s.Format) {
		fail(t.column("format"), s.Format, fault{"not_supported", "this version cannot read the format yet", "supported: " + strings.Join(able, ", ")})
	}
}

// checkReadingRecordings sees that the recording which a cuff reading names
// exists and is one of its visit.
func (l *loader) checkReadingRecordings() {
	if l.recordingsTable == nil || l.recordingsTable.broken {
		return
	}
	file := path.Clean(l.study.Settings.Tables.Cuff)
	for _, r := range l.readings {
		if r.RecordingID == "" {
			continue
		}
		at, ok := l.recordingAt.find(r.RecordingID)
		if ok && l.recordings[at].visit == r.visit {
			continue
		}
		message := "no such recording in recordings"
		if ok {
			message = "the recording belongs to another visit"
		}
		visit := &l.visits[r.visit]
		l.log.add(schema.Issue{Size: schema.SizeStructural, File: file, Row: r.Line, Name: "recording_id", Value: mask(r.RecordingID), Code: "orphan_recording", Message: message,
			Hint: "correct it, or leave it empty for a reading of the whole visit", SubjectID: l.subjects[visit.subject].id, VisitID: visit.ID, RecordingID: r.RecordingID})
	}
}
