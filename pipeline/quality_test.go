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
	status, reason := map[string]string{}, map[string]string{}
	for row := range recordings.N {
		id := recordings.TextAt(row, "recording_id")
		status[id], reason[id] = recordings.TextAt(row, "status"), recordings.TextAt(row, "reason")
	}
	vetoed := map[string]bool{} // one reject outweighs any accept
	for row := range f.N {
		if f.TextAt(row, "decision") == "reject" {
			vetoed[f.TextAt(row, "recording_id")] = true
		}
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
		case vetoed[id]:
			if status[id] == "excluded" && reason[id] != "rejected_by_reader" {
				t.Errorf("%s was rejected by another reader and is excluded for %s", id, reason[id])
			}
		case status[id] == "excluded" && reason[id] != "no_cuff_reading":
			t.Errorf("%s was accepted and is excluded for %s", id, reason[id])
		default:
			accepted++
		}
	}
	if accepted == 0 || rejected == 0 {
		t.Errorf("%d accepted, %d rejected: the test has seen too little", accepted, rejected)
	}
}

// Every comparison that the demonstration study allows has its rows, over one
// visit of each person but where it says otherwise.
func TestDemoAgreement(t *testing.T) {
	f := table(t, filepath.Join(demoDir(t), "results"), "agreement")
	rows := map[string]int{}
	for row := range f.N {
		rows[f.TextAt(row, "comparison")]++
		if estimate, low, high := f.Number(row, "estimate"), f.Number(row, "low"), f.Number(row, "high"); low > estimate || high < estimate {
			t.Errorf("%s %s %s: %v outside %v to %v", f.TextAt(row, "comparison"), f.TextAt(row, "variable"), f.TextAt(row, "statistic"), estimate, low, high)
		}
		if f.TextAt(row, "statistic") == "observed_over_reported" && f.TextAt(row, "variable") == "central_sbp_mmhg" {
			// Within a visit of this cohort nothing but the beats differs.
			if ratio := f.Number(row, "estimate"); ratio < 0.85 || ratio > 1.15 {
				t.Errorf("repeats of a visit spread by %.2f of what the beats foretell", ratio)
			}
		}
	}
	for _, comparison := range []string{"replicates", "replicates_all_visits", "cuff_readings", "operators_within", "operators_between",
		"methods", "calibrations", "readers", "reader_and_grade", "observed_and_reported"} {
		if rows[comparison] == 0 {
			t.Errorf("no row compares %s", comparison)
		}
	}
}
