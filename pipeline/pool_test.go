package pipeline_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/pipeline/simulate"
	"tonocohort/schema"
)

// smallStudy simulates and runs a study under an id of its own. change edits its
// study.yaml.
func smallStudy(t *testing.T, id, seed string, change func(yaml string) string) string {
	t.Helper()
	dir := t.TempDir()
	if err := simulate.Write(filepath.Join(dir, "study"), filepath.Join(dir, "truth.csv"), simulate.Options{Subjects: 30, Seed: seed}); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "study", "study.yaml")
	yaml, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	before, after, _ := strings.Cut(string(yaml), "id: ")
	_, after, _ = strings.Cut(after, ",")
	text := before + "id: " + id + "," + after
	if change != nil {
		text = change(text)
	}
	write(t, filepath.Dir(path), "study.yaml", text)
	results := filepath.Join(dir, "results")
	if _, err := pipeline.Run(context.Background(), filepath.Join(dir, "study"), results, pipeline.Options{}); err != nil {
		t.Fatal(err)
	}
	return results
}

// Two studies in one set of tables: ids kept apart, the study a stratum, counts
// and flow those of both. The same people under two study ids are found again.
func TestPool(t *testing.T) {
	a, b := smallStudy(t, "north-bay", "one", nil), smallStudy(t, "south-bay", "one", nil)
	out := filepath.Join(t.TempDir(), "pooled")
	outcome, err := pipeline.Pool(context.Background(), []string{b, a}, out, pipeline.PoolOptions{})
	if err != nil {
		t.Fatal(err)
	}
	visits := table(t, out, "subject_visits")
	perStudy := map[string]int{}
	for row, id := range visits.Texts("subject_id") {
		study := visits.TextAt(row, "study")
		if !strings.HasPrefix(id, study+"/") {
			t.Fatalf("id %s of study %s", id, study)
		}
		perStudy[study]++
	}
	if len(perStudy) != 2 || perStudy["north-bay"] != perStudy["south-bay"] {
		t.Errorf("rows by study: %v", perStudy)
	}
	m := outcome.Manifest
	first, err := pipeline.ReadManifest(a)
	if err != nil {
		t.Fatal(err)
	}
	if m.Counts.Subjects.Found != 2*first.Counts.Subjects.Found || len(m.Sources) != 2 || m.Sources[0].Content != first.Content {
		t.Errorf("counts %+v, sources %+v", m.Counts.Subjects, m.Sources)
	}
	summary := table(t, out, "summary")
	strata := map[string]bool{}
	for _, s := range summary.Texts("study") {
		strata[s] = true
	}
	if !strata["north-bay"] || !strata["south-bay"] || !strata["all"] {
		t.Errorf("strata %v", strata)
	}
	same := table(t, out, "likely_same")
	used := map[string]bool{}
	for row, status := range visits.Texts("status") {
		if status == "used" && visits.Number(row, "height_cm") > 0 && visits.Number(row, "age_years") > 0 && visits.TextAt(row, "sex") != "unknown" && visits.TextAt(row, "sex") != "" {
			used[visits.TextAt(row, "subject_id")] = true
		}
	}
	pairs := 0
	for row := range same.N {
		x, y := same.TextAt(row, "subject_a"), same.TextAt(row, "subject_b")
		if strings.TrimPrefix(x, "north-bay") == strings.TrimPrefix(y, "south-bay") {
			pairs++
			if d := same.Number(row, "wave_difference"); d != 0 {
				t.Errorf("%s and %s are one file and differ by %g", x, y, d)
			}
		}
	}
	if 2*pairs != len(used) || pairs == 0 {
		t.Errorf("%d pairs found among %d people in two studies", pairs, len(used))
	}
	if _, found, err := pipeline.Verify(context.Background(), out); err != nil || len(found) > 0 {
		t.Errorf("verify: %v %v", found, err)
	}
	again := filepath.Join(t.TempDir(), "again")
	repeated, err := pipeline.Tables(context.Background(), out, "", again, pipeline.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if x, y := outputs(m)["tables/summary.parquet"], outputs(repeated.Manifest)["tables/summary.parquet"]; x != y {
		t.Error("the pooled statistics cannot be repeated")
	}
}

// Studies of another calibration are not pooled, unless they are allowed to
// differ; then it is said. Two studies of one name never are.
func TestPoolOfDifferentStudies(t *testing.T) {
	a := smallStudy(t, "north-bay", "one", nil)
	b := smallStudy(t, "south-bay", "two", func(yaml string) string {
		return strings.Replace(yaml, "primary: sbp_dbp", "primary: map_dbp", 1)
	})
	out := filepath.Join(t.TempDir(), "pooled")
	_, err := pipeline.Pool(context.Background(), []string{a, b}, out, pipeline.PoolOptions{})
	var structural *pipeline.StructuralError
	if !errors.As(err, &structural) || !hasCode(structural.Issues, "pooled_settings_differ", schema.SizeStructural) {
		t.Fatalf("%v", err)
	}
	outcome, err := pipeline.Pool(context.Background(), []string{a, b}, out, pipeline.PoolOptions{AllowDifferent: true})
	if err != nil {
		t.Fatal(err)
	}
	if !hasCode(outcome.Issues, "pooled_settings_differ", schema.SizeNote) {
		t.Errorf("issues %v", outcome.Issues)
	}
	if _, err = pipeline.Pool(context.Background(), []string{a, a}, filepath.Join(t.TempDir(), "twice"), pipeline.PoolOptions{}); !errors.As(err, &structural) || !hasCode(structural.Issues, "pooled_study_twice", schema.SizeStructural) {
		t.Errorf("one study twice: %v", err)
	}
}

func hasCode(issues []schema.Issue, code string, size schema.Size) bool {
	for _, i := range issues {
		if i.Code == code && i.Size == size {
			return true
		}
	}
	return false
}
