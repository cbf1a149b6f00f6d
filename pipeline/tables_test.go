package pipeline_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/schema"
)

func write(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

// outputs are the digests of rows by path.
func outputs(m *schema.Manifest) map[string]string {
	digests := map[string]string{}
	for _, out := range m.Outputs {
		digests[out.Path] = out.RowDigest
	}
	return digests
}

// The plan of a run, carried out again on its tables, gives the same statistics
// to the last digit, names the run by its content, and verifies.
func TestTablesRepeatTheRun(t *testing.T) {
	results, again := filepath.Join(demoDir(t), "results"), filepath.Join(t.TempDir(), "again")
	outcome, err := pipeline.Tables(context.Background(), results, "", again, pipeline.Options{})
	if err != nil {
		t.Fatal(err)
	}
	first, err := pipeline.ReadManifest(results)
	if err != nil {
		t.Fatal(err)
	}
	if s := outcome.Manifest.Sources; len(s) != 1 || s[0].Content != first.Content {
		t.Errorf("sources %+v", s)
	}
	before, compared := outputs(first), 0
	for path, digest := range outputs(outcome.Manifest) {
		if !strings.HasSuffix(path, ".parquet") || path == "tables/issues.parquet" {
			continue // what was found wrong in the study its tables do not tell
		}
		compared++
		if before[path] != digest {
			t.Errorf("%s: other rows than in the run", path)
		}
	}
	if compared < 8 {
		t.Errorf("%d tables compared", compared)
	}
	if _, found, err := pipeline.Verify(context.Background(), again); err != nil || len(found) > 0 {
		t.Errorf("verify: %v %v", found, err)
	}
	_, err = pipeline.Tables(context.Background(), again, "", filepath.Join(t.TempDir(), "third"), pipeline.Options{})
	if err == nil || !strings.Contains(err.Error(), "statistics alone") {
		t.Errorf("tables of statistics alone: %v", err)
	}
	if _, err := pipeline.Tables(context.Background(), results, "", again, pipeline.Options{}); !errors.Is(err, pipeline.ErrSealed) {
		t.Errorf("sealed results were written over: %v", err)
	}
}

// Another plan, with another scheme of pressure classes and a published set of
// the study's own beside it; then the plan of what came out, from the copy that
// the results keep.
func TestTablesWithAnotherPlan(t *testing.T) {
	results, dir := filepath.Join(demoDir(t), "results"), t.TempDir()
	write(t, dir, "ours.csv", "# source: an earlier wave\n# reading: computed by the study\n# selection: any\n# ages: 18-90\nvariable,sex,age_band,n,mean,sd,status,note\ncentral_pp_mmhg,male,all,300,38,9,read,\n")
	plan := write(t, dir, "plan.yaml", `analysis:
  bp_scheme: ACC_AHA_2017
  sets: {all: [], raised: [{bp_class: [stage1, stage2]}]}
  variables: [central_pp_mmhg, bp_class]
  strata: [sex]
  standardise: {by: age_band}
  compare_with: [ours.csv, outcome_thresholds]
`)
	again := filepath.Join(dir, "again")
	if _, err := pipeline.Tables(context.Background(), results, plan, again, pipeline.Options{}); err != nil {
		t.Fatal(err)
	}
	summary := table(t, again, "summary")
	raised, classes := 0, map[string]bool{}
	for row := range summary.N {
		if summary.TextAt(row, "set") == "raised" && summary.TextAt(row, "statistic") == "n" {
			raised++
		}
		if class, ok := strings.CutPrefix(summary.TextAt(row, "statistic"), "proportion_"); ok {
			classes[class] = true
		}
	}
	if raised == 0 || len(classes) != 4 || !classes["elevated"] {
		t.Errorf("%d rows of the set, classes %v", raised, classes)
	}
	sets := map[string]bool{}
	for _, name := range table(t, again, "comparison").Texts("published") {
		sets[name] = true
	}
	if !sets["ours.csv"] || !sets["outcome_thresholds"] {
		t.Errorf("published sets %v", sets)
	}
	if f := table(t, again, "standardised"); f.N == 0 {
		t.Error("nothing was standardised")
	}
	m, err := pipeline.ReadManifest(again)
	if err != nil {
		t.Fatal(err)
	}
	inputs := map[string]bool{}
	for _, in := range m.Inputs {
		inputs[in.Path] = true
	}
	if !inputs["plan.yaml"] || !inputs["ours.csv"] || !inputs["tables/subject_visits.parquet"] {
		t.Errorf("inputs %v", inputs)
	}
}

// What is not as the manifest says is not summarised; a plan that cannot be
// carried out stops at its line.
func TestTablesRefuse(t *testing.T) {
	results, dir := filepath.Join(demoDir(t), "results"), t.TempDir()
	damaged := filepath.Join(dir, "damaged")
	if err := os.CopyFS(damaged, os.DirFS(results)); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(damaged, "tables", "subject_visits.parquet")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	data[len(data)/2] ^= 1
	write(t, filepath.Dir(path), filepath.Base(path), string(data))
	out := filepath.Join(dir, "out")
	_, err = pipeline.Tables(context.Background(), damaged, "", out, pipeline.Options{})
	var differs *pipeline.DifferenceError
	if !errors.As(err, &differs) || differs.Differences[0].Path != "tables/subject_visits.parquet" {
		t.Errorf("damaged table: %v", err)
	}
	plan := write(t, dir, "plan.yaml", "variables: [central_pp_mmhg]\nweights: {column: no_such_weight, kind: sampling}\n")
	_, err = pipeline.Tables(context.Background(), results, plan, out, pipeline.Options{})
	var structural *pipeline.StructuralError
	if !errors.As(err, &structural) {
		t.Fatalf("unknown column: %v", err)
	}
	found := false
	for _, i := range structural.Issues {
		found = found || i.Code == "unknown_column" && i.File == "plan.yaml" && i.Row == 2 && i.Name == "weights.column"
	}
	if !found {
		t.Errorf("issues %v", structural.Issues)
	}
	write(t, dir, "bad.csv", "mean,sd\n1,2\n")
	plan = write(t, dir, "plan.yaml", "compare_with: [bad.csv]\n")
	if _, err = pipeline.Tables(context.Background(), results, plan, out, pipeline.Options{}); !errors.As(err, &structural) || structural.Issues[0].Code != "published_set_unreadable" {
		t.Errorf("bad set: %v", err)
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("something was written")
	}
}
