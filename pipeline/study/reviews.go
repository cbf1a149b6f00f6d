package study

import (
	"cmp"
	"slices"

	"tonocohort/schema"
)

func (l *loader) readReviews(t *tableReader) {
	id, decision := t.column("recording_id"), t.column("decision")
	for t.next() {
		if _, gone := l.withdrawnRecordings[t.raw(id)]; gone {
			t.count.Withdrawn++
			continue
		}
		key, ok := t.key(id, "value")
		if !ok {
			continue
		}
		t.recordingID = key.Text
		at, ok := l.recordingAt.find(key.Text)
		if !ok {
			t.orphan(id, l.recordingsTable, "orphan_recording", "no such recording in recordings")
			continue
		}
		visit := &l.visits[l.recordings[at].visit]
		t.subjectID, t.visitID, t.recordingID = l.subjects[visit.subject].id, visit.ID, l.recordings[at].ID
		text := t.raw(decision)
		f := scanLevel(text, "decision", t.columns[decision].Levels)
		if text == "" {
			f = &fault{"no_decision", "no decision: the review is left out", ""}
		}
		if f != nil {
			t.leaveOut("value", decision, text, *f)
			continue
		}
		row := reviewRow{recording: at}
		row.Decision, row.Line = t.columns[decision].keep(text), t.rows.line(0)
		row.Reader, row.Reason, row.ReadOn = t.cell(t.column("reader")).Text, t.cell(t.column("reason")).Text, t.cell(t.column("read_on")).Text
		if row.Reason == "" {
			l.log.note(noteKey{t.file, "reason", "no_reason", t.columns[t.column("reason")].at + 1}, row.Line, "a decision without a reason", "")
		}
		l.reviews = append(l.reviews, row)
	}
	l.placeReviews(t)
}

// placeReviews gives the recordings their reviews.
func (l *loader) placeReviews(t *tableReader) {
	slices.SortFunc(l.reviews, func(a, b reviewRow) int {
		return cmp.Or(cmp.Compare(a.recording, b.recording), cmp.Compare(a.Reader, b.Reader), cmp.Compare(a.Line, b.Line))
	})
	for i, row := range l.reviews {
		r := &l.recordings[row.recording]
		if i > 0 && l.reviews[i-1].recording == row.recording && l.reviews[i-1].Reader == row.Reader {
			l.log.add(schema.Issue{Size: schema.SizeStructural, File: t.file, Row: row.Line, Name: "recording_id", Value: mask(r.ID), Code: "duplicate_key",
				Message: firstLine(int32(l.reviews[i-1].Line)) + " and the same reader", Hint: "keep one", RecordingID: r.ID})
			continue
		}
		if r.Review != "" && r.Review != row.Decision {
			l.log.note(noteKey{t.file, "decision", "readers_disagree", t.columns[t.column("decision")].at + 1}, row.Line, "readers disagree on a recording; one reject outweighs any accept", "")
		}
		if r.Review != "reject" {
			r.Review = row.Decision
		}
		r.Reviews = append(r.Reviews, row.Review)
	}
}
