package pipeline_test

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/pipeline/simulate"
	"tonocohort/schema"
	"tonocohort/testdata"
)

// A row of the grid is what the whole run gives with that setting: the cuff rule
// and the calibration are changed in the settings, and every wave goes through the
// doors again.
func TestSensitivityIsWhatTheRunWouldGive(t *testing.T) {
	dir := t.TempDir()
	study := filepath.Join(dir, "study")
	if err := simulate.Write(study, filepath.Join(dir, "truth.csv"), simulate.Options{Subjects: 60, Seed: "grid"}); err != nil {
		t.Fatal(err)
	}
	settings, err := os.ReadFile(filepath.Join(study, "study.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	// What is released is another matter, and costs most.
	settings = bytes.Replace(settings, []byte("on_violation: suppress"), []byte("on_violation: block"), 1)
	run := func(name, old, changed string) *schema.Frame {
		text := bytes.Replace(settings, []byte(old), []byte(changed), 1)
		if name != "as_it_is" && bytes.Equal(text, settings) {
			t.Fatalf("study.yaml has no %q", old)
		}
		if err := os.WriteFile(filepath.Join(study, "study.yaml"), text, 0o644); err != nil {
			t.Fatal(err)
		}
		out := filepath.Join(dir, name)
		if _, err := pipeline.Run(context.Background(), study, out, pipeline.Options{Jobs: 2}); err != nil {
			t.Fatal(err)
		}
		return table(t, out, "sensitivity")
	}
	at := func(f *schema.Frame, choice, value string) int {
		for row := range f.N {
			if f.TextAt(row, "choice") == choice && f.TextAt(row, "value") == value {
				return row
			}
		}
		t.Fatalf("no row %s %s", choice, value)
		return -1
	}
	grid := run("as_it_is", "", "")
	for _, c := range testdata.Few([]struct{ choice, value, old, changed string }{
		{"cuff_rule", "all", "rule: drop_first_of_three", "rule: all"},
		{"cuff_rule", "last_two", "rule: drop_first_of_three", "rule: last_two"},
		{"calibration", "map_dbp", "primary: sbp_dbp", "primary: map_dbp"},
	}) {
		other := run(c.value, c.old, c.changed)
		predicted, primary := at(grid, c.choice, c.value), at(other, "primary", "")
		if c.choice == "calibration" {
			// Everything else of the model is the same people and values.
			if a, b := grid.Number(predicted, "n"), other.Number(primary, "n"); a != b {
				t.Errorf("%s: n %g, run %g", c.value, a, b)
			}
		}
		got, want := grid.Number(predicted, "estimate"), other.Number(primary, "estimate")
		if math.IsNaN(got) || math.Abs(got-want) > 1e-9*math.Max(1, math.Abs(want)) {
			t.Errorf("%s %s: grid %.12g (n %g), run %.12g (n %g); %s", c.choice, c.value, got, grid.Number(predicted, "n"), want, other.Number(primary, "n"), grid.TextAt(predicted, "note"))
		}
		if shift := grid.Number(predicted, "shift"); math.Abs(shift-(got-grid.Number(at(grid, "primary", ""), "estimate"))) > 1e-12 {
			t.Errorf("shift %g", shift)
		}
	}
	if n, all := grid.Number(at(grid, "departures", "out"), "n"), grid.Number(at(grid, "primary", ""), "n"); !(n > 0 && n < all) {
		t.Errorf("%g of %g without departures", n, all)
	}
}
