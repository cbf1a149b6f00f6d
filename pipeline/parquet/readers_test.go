package parquet

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"tonocohort/schema"
)

// readers returns the folder of the independent readers. They come from npm
// (`npm ci` in .ci/readers); without them the test is skipped.
func readers(t *testing.T) string {
	t.Helper()
	folder, err := filepath.Abs("../../.ci/readers")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(folder, "node_modules")); err != nil {
		t.Skip("the independent readers are not installed: npm ci in .ci/readers")
	}
	if _, err := exec.LookPath("node"); err != nil {
		t.Skip("node is not installed")
	}
	return folder
}

// resultsFolder writes tables and a program that exports them as CSV.
func resultsFolder(t *testing.T, frames ...*schema.Frame) (folder, program string) {
	t.Helper()
	folder = t.TempDir()
	for _, name := range []string{"tables", "csv"} {
		if err := os.Mkdir(filepath.Join(folder, name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for _, f := range frames {
		var text bytes.Buffer
		if err := WriteCSV(&text, f, CSVOptions{}); err != nil {
			t.Fatal(err)
		}
		put(t, filepath.Join(folder, "csv", f.Table.Name+".csv"), text.Bytes(), 0o644)
		put(t, filepath.Join(folder, "tables", f.Table.Name+".parquet"), write(t, f, f.N+1, 1000), 0o644)
	}
	program = filepath.Join(folder, "export.sh")
	put(t, program, []byte("#!/bin/sh\nexec cat \"$2/csv/$3.csv\"\n"), 0o755)
	return folder, program
}

func put(t *testing.T, path string, b []byte, mode os.FileMode) {
	t.Helper()
	if err := os.WriteFile(path, b, mode); err != nil {
		t.Fatal(err)
	}
}

func TestIndependentReadersAgree(t *testing.T) {
	scripts := readers(t)
	named := func(f *schema.Frame, name string) *schema.Frame {
		f.Table.Name = name
		return f
	}
	folder, program := resultsFolder(t,
		named(randomFrame(1, 2500, 0.2), "some_missing"),
		named(randomFrame(2, 40, 1), "all_missing"),
		named(randomFrame(3, 0, 0), "no_rows"),
		recordings(300))
	run := func() (string, error) {
		out, err := exec.Command("node", filepath.Join(scripts, "check.mjs"), folder, program).CombinedOutput()
		return string(out), err
	}
	out, err := run()
	if err != nil || !regexp.MustCompile(`(?m)^[1-9]\d{2,} passed, 0 failed\n\z`).MatchString(out) {
		t.Fatalf("%v\n%s", err, out)
	}

	t.Log(strings.TrimSpace(out))

	path := filepath.Join(folder, "csv", "recordings.csv")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	changed := strings.Replace(string(text), "failed", "feiled", 1)
	put(t, path, []byte(changed), 0o644)
	if out, err := run(); err == nil || !strings.HasSuffix(out, " 3 failed\n") {
		t.Errorf("three readers, one changed cell: %v\n%s", err, out)
	}
}

// recordings returns rows of the project's widest table.
func recordings(n int) *schema.Frame {
	f := schema.NewFrame(schema.RecordingsTable(), n)
	for i := range n {
		row := f.AddRow()
		for _, c := range f.Table.Columns {
			switch {
			case !c.Key && (i+len(c.Name))%5 == 0:
			case c.Kind == schema.Integer:
				f.SetNumber(row, c.Name, float64(i))
			case c.Kind == schema.Number:
				f.SetNumber(row, c.Name, float64(i)/7-20)
			case c.Kind == schema.Category:
				f.SetText(row, c.Name, c.Levels[i%len(c.Levels)])
			case c.Kind == schema.Text:
				f.SetText(row, c.Name, fmt.Sprintf("%s %d", c.Name, i))
			}
		}
	}
	return f
}
