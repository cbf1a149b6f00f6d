package pipeline

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// unhidden finds a row of the flow in which nothing is hidden; the stage is the
// given one of those of its unit.
func unhidden(f *schema.Frame, stage int) int {
	seen := map[string]int{}
	for row := range f.N {
		if row == 0 || f.Number(row, "order") != f.Number(row-1, "order") {
			if !f.Missing(row, "in") && !f.Missing(row, "out") && !f.Missing(row, "n") {
				seen[f.TextAt(row, "unit")]++
			} else {
				seen[f.TextAt(row, "unit")] = 0
			}
			if seen[f.TextAt(row, "unit")] == stage {
				return row
			}
		}
	}
	panic("every stage hides something")
}

// A release is held to its digests, and its numbers to each other.
func TestReleaseAlone(t *testing.T) {
	t.Parallel()
	studyDir := smallStudy(t, 300)
	results := filepath.Join(t.TempDir(), "results")
	ranInto(t, studyDir, results, Options{})
	for _, dir := range []string{results, filepath.Join(results, "release")} {
		r := rerun(t, dir, "", RerunOptions{From: FromRelease})
		if !r.Reproduced() || len(r.Findings) > 0 {
			t.Fatalf("%s: %v", verdicts(r), r.Findings)
		}
	}
	if r := rerun(t, filepath.Join(results, "release"), "", RerunOptions{From: FromRelease}); len(r.Stages) != 4 {
		t.Error(verdicts(r))
	}
	at := func(f *schema.Frame, statistic string) int {
		return slices.Index(f.Texts("statistic"), statistic)
	}
	for _, k := range testdata.Few([]struct {
		table, rule string
		edit        func(*schema.Frame)
	}{
		{"summary", "interval_holds_estimate", func(f *schema.Frame) { row := at(f, "mean"); f.SetNumber(row, "estimate", f.Number(row, "high")+9) }},
		{"summary", "interval", func(f *schema.Frame) { row := at(f, "mean"); f.SetNumber(row, "low", f.Number(row, "high")+9) }},
		{"summary", "percentiles_ascend", func(f *schema.Frame) { row := at(f, "p75"); f.SetNumber(row, "estimate", 1) }},
		{"summary", "count_beside_estimate", func(f *schema.Frame) { row := at(f, "n"); f.SetNumber(row, "estimate", 40) }},
		{"summary", "margin", func(f *schema.Frame) {
			for row := range f.N {
				if f.TextAt(row, "statistic") == "n" && f.TextAt(row, "sex") == "female" {
					f.SetNumber(row, "estimate", f.Number(row, "estimate")+100)
				}
			}
		}},
		{"summary", "margin", func(f *schema.Frame) { row := at(f, "n"); f.SetNumber(row, "estimate", f.Number(row, "estimate")+100) }},
		{"summary", "share", func(f *schema.Frame) {
			row := slices.IndexFunc(f.Texts("statistic"), isShare)
			f.SetNumber(row, "estimate", 1.2)
			f.SetNumber(row, "high", 1.3)
		}},
		{"summary", "count", func(f *schema.Frame) { f.SetNumber(at(f, "mean"), "n_missing", -1) }},
		{"summary", "level", func(f *schema.Frame) { f.SetNumber(at(f, "mean"), "level", 95) }},
		{"flow", "flow_adds_up", func(f *schema.Frame) { row := unhidden(f, 1); f.SetNumber(row, "n", f.Number(row, "n")+1) }},
		{"flow", "flow_goes_on", func(f *schema.Frame) {
			row := unhidden(f, 2)
			for at := range f.N {
				if f.Number(at, "order") == f.Number(row, "order") {
					f.SetNumber(at, "in", f.Number(at, "in")+5)
					f.SetNumber(at, "out", f.Number(at, "out")+5)
				}
			}
		}},
	}) {
		cheat := filepath.Join(t.TempDir(), "release")
		if err := os.CopyFS(cheat, os.DirFS(results)); err != nil {
			t.Fatal(err)
		}
		forged(t, cheat, releaseFolder+k.table+".parquet", k.edit)
		r := rerun(t, cheat, "", RerunOptions{From: FromRelease})
		found := func(rule string) bool {
			return slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Rule == rule && f.File == k.table+".parquet" })
		}
		if r.Reproduced() || !found(k.rule) || !found("digest") || !found("twin") {
			t.Errorf("%s in %s: %v", k.rule, k.table, r.Findings)
		}
	}
	if err := os.WriteFile(filepath.Join(results, "release", "more.csv"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(results, "release", "flow.md")); err != nil {
		t.Fatal(err)
	}
	r := rerun(t, results, "", RerunOptions{From: FromRelease})
	if len(r.Findings) != 2 || r.Findings[0].File != "flow.md" || r.Findings[1].File != "more.csv" {
		t.Errorf("%v", r.Findings)
	}
}

// Each file of a release is listed in its provenance, so that none goes unheld.
func TestProvenanceListsEveryReleasedFile(t *testing.T) {
	studyDir, results := smallStudy(t, 30), filepath.Join(t.TempDir(), "results")
	m := ranInto(t, studyDir, results, Options{}).Manifest
	data, err := os.ReadFile(filepath.Join(results, releaseFolder, provenanceName))
	if err != nil {
		t.Fatal(err)
	}
	var p provenance
	if err := json.Unmarshal(data, &p); err != nil {
		t.Fatal(err)
	}
	listed := map[string]string{}
	for _, f := range p.Files {
		listed[releaseFolder+f.Path] = f.SHA256
	}
	for _, out := range m.Outputs {
		if strings.HasPrefix(out.Path, releaseFolder) && out.Path != releaseFolder+provenanceName && listed[out.Path] != out.SHA256 {
			t.Errorf("%s is not listed", out.Path)
		}
	}
}
