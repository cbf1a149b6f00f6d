package pipeline_test

import (
	"path/filepath"
	"slices"
	"testing"
)

// In the simulated cohort the zero of one device creeps by 0.04 units a day, and
// one centre reads the cuff by ear in even numbers: these are flagged, and
// nothing else.
func TestDemoDriftAndDigits(t *testing.T) {
	f := table(t, filepath.Join(demoDir(t), "results"), "drift")
	var flagged []string
	for row := range f.N {
		name, variable := f.TextAt(row, "name"), f.TextAt(row, "variable")
		switch f.TextAt(row, "statistic") {
		case "drifts", "chi_square":
			if f.Number(row, "flagged") == 1 {
				flagged = append(flagged, name+" "+variable)
			}
		case "trend_per_year":
			if low, high := f.Number(row, "low"), f.Number(row, "high"); name == "QS-2" && variable == "wave_minimum" && (low > 0.04*365.25 || high < 0.04*365.25) {
				t.Errorf("the zero creeps by %.1f to %.1f units a year, in truth by %.1f", low, high, 0.04*365.25)
			}
		}
	}
	if want := []string{"QS-2 wave_minimum", "quayside cuff_sbp_last_digit", "quayside cuff_dbp_last_digit"}; !slices.Equal(flagged, want) {
		t.Errorf("flagged: %q, expected %q", flagged, want)
	}
}

// Both verdicts on every recording that was read by a person, and what became of
// it: the reader's decision stands.
func TestDemoReviews(t *testing.T) {
	results := filepath.Join(demoDir(t), "results")
	f, recordings := table(t, results, "reviews"), table(t, results, "recordings")
	status := map[string]string{}
	for row := range recordings.N {
		status[recordings.TextAt(row, "recording_id")] = recordings.TextAt(row, "status")
	}
	accepted, rejected := 0, 0
	for row := range f.N {
		id := f.TextAt(row, "recording_id")
		if f.TextAt(row, "status") != status[id] {
			t.Errorf("%s is %s here and %s in recordings", id, f.TextAt(row, "status"), status[id])
		}
		if f.TextAt(row, "quality") == "" || f.TextAt(row, "program_decision") == "" {
			t.Errorf("%s has no verdict of the program", id)
		}
		switch decision := f.TextAt(row, "decision"); {
		case decision == "reject":
			rejected++
			if status[id] == "used" {
				t.Errorf("%s was rejected and is used", id)
			}
		case status[id] == "excluded":
			t.Errorf("%s was accepted and is excluded", id)
		default:
			accepted++
		}
	}
	if accepted == 0 || rejected == 0 {
		t.Errorf("%d accepted, %d rejected: the test has seen too little", accepted, rejected)
	}
}
