package pipeline

import (
	"strings"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// addReviews files each reader's verdict beside what the program made of the
// recording by itself: its grade, which no review changes.
func (c *chunkRows) addReviews(s schema.Settings, subjectID, visitID string, r *recordingResult) {
	f := c.reviews
	for _, v := range r.row.Reviews {
		row := f.AddRow()
		for name, text := range map[string]string{
			"subject_id": subjectID, "visit_id": visitID, "recording_id": r.row.ID,
			"reader": v.Reader, "decision": v.Decision, "reason": v.Reason, "read_on": v.ReadOn,
			"quality": r.quality, "quality_reasons": strings.Join(r.qualityReasons, " "),
			"program_decision": programDecision(r.quality, s.Quality), "status": r.status,
		} {
			f.SetText(row, name, text)
		}
	}
}

// programDecision is what the grade alone would decide; none where there is no
// grade.
func programDecision(grade string, s schema.QualitySettings) string {
	switch {
	case grade == "":
		return ""
	case gradeRank(grade) < gradeRank(s.MinGrade):
		return "reject"
	}
	return "accept"
}

func (c *chunkRows) addReadings(subjectID string, visit *study.Visit) {
	f := c.readings
	for _, r := range visit.Cuff {
		row := f.AddRow()
		f.SetText(row, "subject_id", subjectID)
		f.SetText(row, "visit_id", visit.ID)
		f.SetText(row, "recording_id", r.RecordingID)
		setInteger(f, row, "reading", r.Number)
		f.SetNumber(row, "sbp_mmhg", r.SBP)
		f.SetNumber(row, "dbp_mmhg", r.DBP)
		f.SetNumber(row, "map_mmhg", r.MAP)
		f.SetNumber(row, "pulse_bpm", r.Pulse)
	}
}
