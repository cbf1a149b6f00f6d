package tabulate

import (
	"cmp"
	"slices"

	"tonocohort/schema"
)

// Measured are the person-level tables that tell how good the measurements are,
// as they were written. Of all but Visits only what Needs lists is looked at.
type Measured struct {
	Visits, Recordings, Estimates, Uncertainty, Reviews, Readings *schema.Frame
}

// Need is one table that Measured wants read: some of its columns and, where
// Keep is not nil, some of its rows.
type Need struct {
	Into  **schema.Frame
	Table schema.Table
	Keep  func(f *schema.Frame, row int) bool
}

// Needs lists what is to be read beside the table of visits.
func (m *Measured) Needs() []Need {
	keys := []string{"subject_id", "visit_id", "recording_id"}
	errors := uncertainVariables()
	return []Need{
		{Into: &m.Recordings, Table: only(schema.RecordingsTable(), slices.Concat(keys, []string{"status", "quality", "operator_id", "device_id", "recorded_at",
			"unit", "duration_s", "wave_minimum", "wave_amplitude", "brachial_sbp_mmhg", "brachial_dbp_mmhg", "beats_found", "beats_used"}, repeatedVariables())...)},
		{Into: &m.Estimates, Table: only(schema.EstimatesTable(), slices.Concat([]string{"recording_id", "method", "calibration", "primary"}, estimatedVariables())...)},
		{Into: &m.Uncertainty, Table: only(schema.UncertaintyTable(), "recording_id", "value", "se_beats"),
			Keep: func(f *schema.Frame, row int) bool { return slices.Contains(errors, f.TextAt(row, "value")) }},
		{Into: &m.Reviews, Table: only(schema.ReviewsTable(), "subject_id", "recording_id", "reader", "decision", "quality", "program_decision")},
		{Into: &m.Readings, Table: only(schema.ReadingsTable(), "subject_id", "visit_id", "reading", "sbp_mmhg", "dbp_mmhg")},
	}
}

// only is the table with the named columns.
func only(t schema.Table, names ...string) schema.Table {
	columns := make([]schema.Column, len(names))
	for i, name := range names {
		columns[i] = t.Columns[t.Index(name)]
	}
	t.Columns = columns
	return t
}

// examined is one used visit with its used recordings in the order of time.
type examined struct {
	row        int // of the table of visits
	recordings []int
}

// visitKey tells visits apart.
type visitKey struct{ subject, visit string }

func keyOf(f *schema.Frame, row int) visitKey {
	return visitKey{f.TextAt(row, "subject_id"), f.TextAt(row, "visit_id")}
}

// usedRecordings lists by visit the recordings that were used, by time and,
// where that does not tell, by name.
func (m Measured) usedRecordings() map[visitKey][]int {
	f := m.Recordings
	byVisit := map[visitKey][]int{}
	for row, status := range f.Texts("status") {
		if status == "used" {
			k := keyOf(f, row)
			byVisit[k] = append(byVisit[k], row)
		}
	}
	when, ids := f.Texts("recorded_at"), f.Texts("recording_id")
	for _, rows := range byVisit {
		slices.SortFunc(rows, func(a, b int) int { return cmp.Or(cmp.Compare(when[a], when[b]), cmp.Compare(ids[a], ids[b])) })
	}
	return byVisit
}

// examinedVisits returns the visits that the rule of the plan keeps, one of each
// person, and every used visit. Where the plan takes all visits, a person's
// first is the one.
func (m Measured) examinedVisits(plan schema.Analysis) (one, every []examined) {
	if plan.Visit == allVisits {
		plan.Visit = firstVisit
	}
	recordings := m.usedRecordings()
	for _, row := range newCohort(m.Visits, plan, newFlow(), &reporter{}).rows {
		one = append(one, examined{int(row), recordings[keyOf(m.Visits, int(row))]})
	}
	m.Visits.EachText("status", func(row int, status string) {
		if status == "used" {
			every = append(every, examined{row, recordings[keyOf(m.Visits, row)]})
		}
	})
	return one, every
}

// repeatedVariables are the columns of recordings whose repeatability is told.
func repeatedVariables() []string {
	return []string{"heart_rate_bpm", "central_sbp_mmhg", "central_dbp_mmhg", "central_map_mmhg", "central_pp_mmhg",
		"pp_amplification_ratio", "sbp_amplification_mmhg", "augmentation_pressure_mmhg", "augmentation_index_pct",
		"augmentation_index_hr75_pct", "ejection_duration_ms", "peripheral_form_factor"}
}

// estimatedVariables are the columns of estimates in which methods are compared.
func estimatedVariables() []string {
	return []string{"central_sbp_mmhg", "central_dbp_mmhg", "central_map_mmhg", "central_pp_mmhg", "augmentation_pressure_mmhg", "augmentation_index_pct"}
}

// uncertainVariables are the values whose standard error is held against what
// repeats show: those of the primary calibration.
func uncertainVariables() []string {
	return []string{"central_sbp_mmhg", "central_dbp_mmhg", "central_map_mmhg", "central_pp_mmhg",
		"augmentation_pressure_mmhg", "augmentation_index_pct", "pp_amplification_ratio", "sbp_amplification_mmhg"}
}
