package pipeline_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
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

// Who has the release alone scores as the study does at the ages that are
// released, to a thousandth of a standard deviation; outside there is no score.
func TestScoreFromTheReleaseAlone(t *testing.T) {
	results := filepath.Join(demoDir(t), "results")
	file := filepath.Join(t.TempDir(), "new.csv")
	lines := "sex,age_years,central_pp_mmhg,calibration,central_method\n"
	for _, age := range []string{"20.5", "25.2", "31", "47.7", "66.4", "79.9"} {
		for _, pp := range []string{"24", "38", "61"} {
			lines += "female," + age + "," + pp + ",sbp_dbp,tube_constant\nmale," + age + "," + pp + ",sbp_dbp,tube_constant\n"
		}
	}
	if err := os.WriteFile(file, []byte(lines), 0o600); err != nil {
		t.Fatal(err)
	}
	scores := func(dir string) [][]string {
		var b bytes.Buffer
		if _, err := pipeline.Score(dir, file, "", &b); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		return rows
	}
	study, alone := scores(results), scores(filepath.Join(results, "release"))
	z, age := slices.Index(study[0], "z"), slices.Index(study[0], "age_years")
	if len(alone) != len(study) {
		t.Fatalf("%d rows from the release, %d from the study", len(alone), len(study))
	}
	for i := 1; i < len(study); i++ {
		a, err := strconv.ParseFloat(study[i][z], 64)
		b, failed := strconv.ParseFloat(alone[i][z], 64)
		if study[i][age] == "20.5" {
			if alone[i][z] != "" {
				t.Errorf("age %s: scored from the release, where fewer than ten are as young", study[i][age])
			}
			continue
		}
		if err != nil || failed != nil || math.Abs(a-b) > 1e-3 {
			t.Errorf("%v: z is %s from the study and %s from the release", study[i], study[i][z], alone[i][z])
		}
	}
}
