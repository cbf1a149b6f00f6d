package pipeline_test

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// below says which packages of the module a package may import. A package that
// is not listed may import none.
var below = map[string][]string{
	"cmd/tonocohort":     {"pipeline", "pipeline/simulate", "pipeline/objects", "schema", "schema/published"},
	"pipeline":           {"pipeline/*", "stats", "stats/*", "schema", "schema/published"},
	"pipeline/study":     {"schema"},
	"pipeline/recording": {"schema"},
	"pipeline/pulse":     {"stats", "schema"},
	"pipeline/central":   {"stats", "schema"},
	"pipeline/parquet":   {"schema"},
	"pipeline/store":     {"schema"},
	"pipeline/objects":   {"pipeline/store"},
	"pipeline/tabulate":  {"stats", "stats/*", "schema", "schema/published"},
	"pipeline/release":   {"stats", "stats/*", "schema", "schema/published"},
	"pipeline/report":    {"pipeline/report/*", "stats", "stats/*", "schema", "schema/published"},
	"pipeline/sheets":    {"schema"},
	"pipeline/simulate":  {"stats", "schema", "schema/published"},
	"pipeline/draft":     {"schema"},
	"stats":              {"stats/exact"},
	"stats/exact":        {},
	"stats/regress":      {"stats"},
	"stats/centile":      {"stats", "stats/regress"},
	"stats/impute":       {"stats", "stats/regress"},
	"stats/agree":        {"stats"},
	"stats/disclose":     {"stats"},
	"schema":             {},
	"schema/published":   {"schema"},
	"testdata":           {},

	"testdata/bench/growth":     {"pipeline", "pipeline/store", "stats"},
	"testdata/bench/statistics": {"pipeline/tabulate", "stats/*", "schema"},
}

// only says who alone may import an outside module, and why.
var only = []struct{ module, owner, why string }{
	{"github.com/apache/arrow", "pipeline/parquet", "the frozen Arrow module panics on foreign files: its guard must stand in one place"},
	{"go.yaml.in/yaml", "pipeline/study", "settings are decoded strictly in one place"},
	{"github.com/spf13/cobra", "cmd/tonocohort", "the pipeline must run without a command line"},
	{"gocloud.dev", "pipeline/objects", "only a build with the tag objectstore knows of clouds"},
	{"github.com/mewkiz/flac", "pipeline/recording", "samples are decoded behind the readers' guard and caps"},
	{"gonum.org/v1/plot", "pipeline/report", "figures are drawn in one place"},
}

func TestImportDirections(t *testing.T) {
	root := ".."
	err := filepath.WalkDir(root, func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() {
			base := entry.Name()
			if name != root && (strings.HasPrefix(base, ".") || base == "node_modules") {
				return fs.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, name)
		if err != nil {
			return err
		}
		owner := path.Dir(filepath.ToSlash(rel))
		for _, spec := range file.Imports {
			target, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			judgeImport(t, rel, owner, target)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func judgeImport(t *testing.T, file, owner, target string) {
	t.Helper()
	if inside, ok := strings.CutPrefix(target, "tonocohort/"); ok {
		for _, allowed := range below[owner] {
			if inside == allowed || strings.HasSuffix(allowed, "/*") && path.Dir(inside) == strings.TrimSuffix(allowed, "/*") {
				return
			}
		}
		t.Errorf("%s imports %s: imports go one way, cmd → pipeline → its parts → stats and schema, so that a part can be tested and replaced alone", file, target)
		return
	}
	for _, rule := range only {
		if strings.HasPrefix(target, rule.module) && owner != rule.owner && !strings.HasPrefix(owner, rule.owner+"/") {
			t.Errorf("%s imports %s, which only %s may: %s", file, target, rule.owner, rule.why)
		}
	}
	if owner == "schema" && strings.Contains(target, ".") {
		t.Errorf("%s imports %s: the contract rests on the standard library alone", file, target)
	}
}

// The top level is fixed, so that a reader finds the same rooms in every version.
func TestTopLevel(t *testing.T) {
	allowed := map[string]bool{"cmd": true, "pipeline": true, "stats": true, "schema": true, "testdata": true, "notebooks": true,
		"README.md": true, "DEVELOPERS.md": true, "go.mod": true, "go.sum": true, "LICENSE": true, "quay": true}
	names, err := filepath.Glob("../*")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if base := filepath.Base(name); !allowed[base] && !strings.HasPrefix(base, ".") && base != "tonocohort" {
			t.Errorf("%s stands at the top level, which is fixed", base)
		}
	}
}
