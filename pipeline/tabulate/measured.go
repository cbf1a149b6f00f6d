package tabulate

import (
	"fmt"
	"slices"

	"tonocohort/schema"
)

// Measured are the person-level tables that tell how good the measurements are,
// as they were written. Of all but Visits only what Needs lists is looked at.
type Measured struct {
	Visits, Recordings, Estimates, Uncertainty, Reviews, Readings *schema.Frame
}

// Err says what kept a table from being read, nil where nothing did: see
// schema.Frame.Err.
func (m Measured) Err() error {
	for _, f := range []*schema.Frame{m.Visits, m.Recordings, m.Estimates, m.Uncertainty, m.Reviews, m.Readings} {
		if f != nil && f.Err() != nil {
			return fmt.Errorf("%s: %w", f.Table.Name, f.Err())
		}
	}
	return nil
}

// Need is one table that Measured wants to have, with some of its columns.
type Need struct {
	Into  **schema.Frame
	Table schema.Table
}

// Needs lists what is to be read beside the table of visits.
func (m *Measured) Needs() []Need {
	keys := []string{"subject_id", "visit_id", "recording_id"}
	return []Need{
		{Into: &m.Recordings, Table: only(schema.RecordingsTable(), slices.Concat(keys, []string{"status", "reason", "quality", "operator_id", "device_id", "recorded_at",
			"unit", "duration_s", "wave_minimum", "wave_amplitude", "brachial_sbp_mmhg", "brachial_dbp_mmhg", "beats_found", "beats_used"}, repeatedVariables())...)},
		{Into: &m.Estimates, Table: only(schema.EstimatesTable(), slices.Concat([]string{"recording_id", "method", "calibration", "primary"}, estimatedVariables())...)},
		{Into: &m.Uncertainty, Table: only(schema.UncertaintyTable(), "recording_id", "value", "se_beats")},
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
	recordings []int32
}

// visitKey tells visits apart.
type visitKey struct{ subject, visit string }

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
