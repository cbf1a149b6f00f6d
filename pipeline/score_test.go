package pipeline_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"tonocohort/pipeline"
)

// A new person whose value is a centile of the table of centiles gets that
// centile back: the written parameters are the whole reference.
func TestScoreReadsTheWrittenReference(t *testing.T) {
	results := filepath.Join(demoDir(t), "results")
	var table bytes.Buffer
	if err := pipeline.Export(results, "centiles", &table, pipeline.ExportOptions{}); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&table).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	persons := [][]string{{"sex", "age_years", "central_pp_mmhg", "calibration", "central_method"}}
	var want []float64
	for _, row := range rows[1:] {
		percent := map[string]float64{"p3": 3, "p50": 50, "p97": 97}[row[at["statistic"]]]
		if percent == 0 || row[at["variable"]] != "central_pp_mmhg" {
			continue
		}
		persons = append(persons, []string{row[at["sex"]], row[at["evaluated_at_years"]], row[at["estimate"]], "sbp_dbp", "tube_constant"})
		want = append(want, percent)
	}
	if len(want) < 100 {
		t.Fatalf("%d centiles: the cohort is too small for centiles", len(want))
	}
	file := filepath.Join(t.TempDir(), "new.csv")
	out, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := csv.NewWriter(out).WriteAll(persons); err != nil {
		t.Fatal(err)
	}
	out.Close()
	var scores bytes.Buffer
	scored, err := pipeline.Score(results, file, "", &scores)
	if err != nil || scored.Scores != len(want) {
		t.Fatalf("%+v, %v", scored, err)
	}
	lines, err := csv.NewReader(&scores).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, line := range lines[1:] {
		got, err := strconv.ParseFloat(line[7], 64)
		if err != nil || math.Abs(got-want[i]) > 1e-7 {
			t.Errorf("%v: centile %s, want %g", persons[i+1], line[7], want[i])
		}
	}
}
