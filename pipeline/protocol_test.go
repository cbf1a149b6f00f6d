package pipeline_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/pipeline/simulate"
)

// A study that excludes departures analyses no visit with one, says so for each,
// and counts them by name as one that only flags them does.
func TestDeparturesExclude(t *testing.T) {
	dir := t.TempDir()
	folder := filepath.Join(dir, "study")
	if err := simulate.Write(folder, filepath.Join(dir, "truth.csv"), simulate.Options{Subjects: 20, Seed: "protocol"}); err != nil {
		t.Fatal(err)
	}
	results := map[string]string{}
	for _, what := range []string{"flag", "exclude"} {
		settings := filepath.Join(folder, "study.yaml")
		text, err := os.ReadFile(settings)
		if err != nil {
			t.Fatal(err)
		}
		old := []byte("on_departure: flag")
		if what == "exclude" && !bytes.Contains(text, old) {
			t.Fatal("the settings do not flag departures")
		}
		if err := os.WriteFile(settings, bytes.Replace(text, old, []byte("on_departure: "+what), 1), 0o644); err != nil {
			t.Fatal(err)
		}
		results[what] = filepath.Join(dir, what)
		if _, err := pipeline.Run(context.Background(), folder, results[what], pipeline.Options{}); err != nil {
			t.Fatal(err)
		}
	}
	flagged, visits := table(t, results["flag"], "subject_visits"), table(t, results["exclude"], "subject_visits")
	excluded := map[string]string{}
	left := table(t, results["exclude"], "exclusions")
	for row := range left.N {
		if left.TextAt(row, "level") == "visit" && left.TextAt(row, "reason") == "protocol_departure" {
			excluded[left.TextAt(row, "subject_id")+left.TextAt(row, "visit_id")] = left.TextAt(row, "reason")
		}
	}
	departed := 0
	for row := range visits.N {
		id := visits.TextAt(row, "subject_id") + visits.TextAt(row, "visit_id")
		status, reason := visits.TextAt(row, "status"), visits.TextAt(row, "reason")
		switch {
		case flagged.TextAt(row, "status") != "used":
			continue // left out for another reason in either run
		case visits.Number(row, "departure_count") == 0 && status != "used":
			t.Errorf("%s: %s for %s without a departure", id, status, reason)
		case visits.Number(row, "departure_count") > 0:
			departed++
			if status != "excluded" || reason != "protocol_departure" || excluded[id] != reason {
				t.Errorf("%s departs in %s and is %s, %q", id, visits.TextAt(row, "departures"), status, reason)
			}
		}
	}
	if departed == 0 {
		t.Error("no visit of this cohort departs: the test has seen nothing")
	}
	one, two := table(t, results["flag"], "departures"), table(t, results["exclude"], "departures")
	if one.N == 0 || one.N != two.N {
		t.Fatalf("%d and %d rows of departures", one.N, two.N)
	}
	for row := range one.N {
		if one.Number(row, "departed") != two.Number(row, "departed") {
			t.Errorf("%s of %s: %v and %v", one.TextAt(row, "variable"), one.TextAt(row, "centre"), one.Number(row, "departed"), two.Number(row, "departed"))
		}
	}
}
