package pipeline

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/report"
	"tonocohort/pipeline/simulate"
	"tonocohort/schema"
)

// Whoever has the tables of a release and the plan draws its figures and writes
// its report, byte for byte: no coordinate and no word in them comes from
// anything that disclosure control has not seen.
func TestFiguresAndReportComeFromReleasedTables(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "study")
	if err := simulate.Write(dir, filepath.Join(t.TempDir(), "truth.csv"), simulate.Options{Subjects: 150, Seed: "redraw"}); err != nil {
		t.Fatal(err)
	}
	results := filepath.Join(t.TempDir(), "results")
	ranInto(t, dir, results, Options{})
	read := func(name string, v any) {
		data, err := os.ReadFile(filepath.Join(results, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(data, v); err != nil {
			t.Fatal(err)
		}
	}
	var m schema.Manifest
	read("manifest.json", &m)
	var p provenance
	read(releaseFolder+provenanceName, &p)
	s := report.Source{Settings: m.Settings, Build: p.Build, Inputs: p.Tables, Again: "tonocohort rerun RESULTS --study STUDY"}
	hidden := 0
	for _, file := range p.Files {
		if !strings.HasPrefix(file.Path, "figures/") && file.Path != reportName {
			s.Files = append(s.Files, file)
		}
		if filepath.Ext(file.Path) != ".parquet" {
			continue
		}
		data, err := os.ReadFile(filepath.Join(results, releaseFolder, file.Path))
		if err != nil {
			t.Fatal(err)
		}
		f, err := parquet.ReadAny(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			t.Fatal(err)
		}
		if f.Has(schema.Suppressed) {
			hidden += len(slices.DeleteFunc(slices.Clone(f.Texts(schema.Suppressed)), func(h string) bool { return h == "" }))
		}
		s.Frames = append(s.Frames, f)
	}
	same := func(name string, write func(w *bytes.Buffer) error) {
		var again bytes.Buffer
		if err := write(&again); err != nil {
			t.Fatal(err)
		}
		released, err := os.ReadFile(filepath.Join(results, releaseFolder, name))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(again.Bytes(), released) {
			t.Errorf("%s is not what the released tables give", name)
		}
	}
	figures := report.Figures(s)
	for _, d := range figures {
		same("figures/"+d.Name+".svg", func(w *bytes.Buffer) error { return d.File().WriteSVG(w) })
	}
	released, err := filepath.Glob(filepath.Join(results, releaseFolder, "figures", "*.svg"))
	if err != nil || len(released) != len(figures) || len(figures) < 8 {
		t.Errorf("%d figures are released, %d drawn again (%v)", len(released), len(figures), err)
	}
	same(reportName, func(w *bytes.Buffer) error { return report.WriteReport(w, s, report.Tables(s), report.Figures(s)) })
	same("methods.md", func(w *bytes.Buffer) error { return report.WriteMethods(w, s) })
	for _, table := range report.Tables(s) {
		same(table.Name+".html", func(w *bytes.Buffer) error { return table.WriteHTML(w) })
	}
	if hidden < 500 {
		t.Errorf("only %d rows hide something: the test has lost its object", hidden)
	}
}
