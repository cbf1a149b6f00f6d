package tabulate

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"tonocohort/schema"
)

// measuredBy makes a second method of each recording: the first one's value plus
// an amount by recording.
func measuredBy(visits table) Measured {
	m := Measured{Visits: visits.Frame, Recordings: schema.NewFrame(schema.RecordingsTable(), 0), Estimates: schema.NewFrame(schema.EstimatesTable(), 0)}
	for row := range visits.N {
		visits.SetNumber(row, "recordings_used", 2)
		visits.SetNumber(row, "departure_count", float64(row%3))
		visits.SetText(row, "quality", []string{"usable", "doubtful"}[row%2])
		for k, extra := range []float64{1, 5} {
			id := fmt.Sprint(visits.TextAt(row, "subject_id"), k)
			r := m.Recordings.AddRow()
			e := m.Estimates.AddRow()
			for name, text := range map[string]string{"subject_id": visits.TextAt(row, "subject_id"), "visit_id": "v1", "recording_id": id} {
				m.Recordings.SetText(r, name, text)
				m.Estimates.SetText(e, name, text)
			}
			m.Recordings.SetText(r, "status", "used")
			m.Estimates.SetText(e, "method", "late_shoulder")
			m.Estimates.SetText(e, "calibration", "sbp_dbp")
			m.Estimates.SetNumber(e, "central_pp_mmhg", 2*visits.Number(row, "central_pp_mmhg")+extra)
		}
	}
	return m
}

func TestSensitivity(t *testing.T) {
	s := plan(func(a *schema.Analysis) {
		a.Models = []schema.Model{{Name: "other", Outcome: "height_cm", Terms: schema.PlainTerms("age_years")}, {Name: "m", Outcome: "central_pp_mmhg", Terms: schema.PlainTerms("age_years", "lead_ug_l")}}
		a.Sensitivity = schema.SensitivitySettings{Model: "m", Term: "age_years", Calibration: []string{"map_dbp"}, Estimator: []string{"late_shoulder", "tube_windkessel"},
			CuffRule: []string{"all"}, Quality: []string{"usable", "unusable"}, Departures: []string{"out", "in"}, Missing: []string{"chained_equations", "complete_case"}}
	})
	frame, seeds := Sensitivity(measuredBy(invented(200)), s, nil)
	at := func(choice, value string) int {
		return find(t, frame, "choice", choice, "value", value)
	}
	base := frame.Number(at("primary", ""), "estimate")
	agree(t, "twice the values, twice the slope", frame.Number(at("estimator", "late_shoulder"), "estimate"), 2*base)
	agree(t, "shift", frame.Number(at("estimator", "late_shoulder"), "shift"), base)
	agree(t, "shift in errors", frame.Number(at("estimator", "late_shoulder"), "shift_in_se"), base/frame.Number(at("primary", ""), "se"))
	n := func(choice, value string) float64 { return frame.Number(at(choice, value), "n") }
	if all := n("primary", ""); n("departures", "in") != all || !(n("departures", "out") < all) || !(n("quality", "usable") < all) || n("missing", "complete_case") != all || n("missing", "chained_equations") != 200 {
		t.Errorf("rows: %g, %g, %g, %g, %g", all, n("departures", "in"), n("departures", "out"), n("quality", "usable"), n("missing", "chained_equations"))
	}
	for choice, value := range map[string]string{"calibration": "map_dbp", "cuff_rule": "all", "quality": "unusable", "estimator": "tube_windkessel"} {
		row := at(choice, value)
		if !math.IsNaN(frame.Number(row, "estimate")) || !strings.Contains(frame.TextAt(row, "note"), "not fitted: ") {
			t.Errorf("%s: %g, note %q", choice, frame.Number(row, "estimate"), frame.TextAt(row, "note"))
		}
	}
	if len(seeds) != 1 {
		t.Errorf("seeds %v", seeds)
	}
	s.Analysis.Models = nil
	if frame, _ := Sensitivity(measuredBy(invented(20)), s, nil); frame.N != 0 {
		t.Errorf("%d rows without a model", frame.N)
	}
}

// A value that scales with the cuff lies as far between the cuff's pressures as
// before; a difference is their share.
func TestRescaled(t *testing.T) {
	for _, c := range []struct {
		name, calibration string
		v, want           float64
	}{
		{"brachial_sbp_mmhg", "sbp_dbp", 120, 140}, {"brachial_map_mmhg", "sbp_dbp", 96, 104}, {"central_pp_mmhg", "sbp_dbp", 30, 45},
		{"central_sbp_mmhg", "sbp_dbp", 110, 125}, {"central_sbp_mmhg", "as_recorded", 110, 110}, {"brachial_dbp_mmhg", "as_recorded", 80, 80},
		{"sbp_amplification_mmhg", "sbp_dbp", 10, 15}, {"sbp_amplification_mmhg", "as_recorded", 10, 30}, {"augmentation_pressure_mmhg", "map_dbp", 4, 6},
	} {
		agree(t, c.name+" "+c.calibration, rescaled(c.name, c.v, c.calibration, 120, 80, 140, 80), c.want)
	}
}

func TestSensitivitySettingsAreJudged(t *testing.T) {
	for path, change := range map[string]func(s *schema.SensitivitySettings){
		"sensitivity.model":          func(s *schema.SensitivitySettings) { s.Model = "adjustd" },
		"sensitivity.calibration[0]": func(s *schema.SensitivitySettings) { s.Calibration = []string{"sbp"} },
		"sensitivity.estimator[0]":   func(s *schema.SensitivitySettings) { s.Estimator = []string{"tube"} },
		"sensitivity.cuff_rule[1]":   func(s *schema.SensitivitySettings) { s.CuffRule = []string{"all", "all"} },
		"sensitivity.quality[0]":     func(s *schema.SensitivitySettings) { s.Quality = []string{"good"} },
		"sensitivity.departures[0]":  func(s *schema.SensitivitySettings) { s.Departures = []string{"flag"} },
		"sensitivity.missing[0]":     func(s *schema.SensitivitySettings) { s.Missing = []string{"mean"} },
	} {
		s := plan(func(a *schema.Analysis) { change(&a.Sensitivity) })
		found := false
		for _, i := range Check(s.Analysis, columns(), "study.yaml", "analysis") {
			found = found || i.Name == "analysis."+path && i.Size == schema.SizeStructural
		}
		if !found {
			t.Errorf("%s: no fault", path)
		}
	}
}
