package pipeline

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"tonocohort/schema"
)

// A manifest that an earlier version wrote, without settings that came later,
// still verifies, and those settings have their defaults.
func TestEarlierManifestStaysReadable(t *testing.T) {
	dir := sealedWith(t, "x", beatsOf([]string{"S1"}, nil))
	path := filepath.Join(dir, ManifestName)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(data, &m); err != nil {
		t.Fatal(err)
	}
	settings := m["settings"].(map[string]any)
	delete(settings, "uncertainty")
	delete(settings["analysis"].(map[string]any), "quantile_type")
	settings["analysis"].(map[string]any)["threshold"] = map[string]any{"central_sbp_mmhg": 130}
	plain, _ := json.Marshal(m)
	if m["content"], err = contentOf(plain); err != nil {
		t.Fatal(err)
	}
	earlier, _ := json.MarshalIndent(m, "", "\t")
	if err := os.WriteFile(path, earlier, 0o644); err != nil {
		t.Fatal(err)
	}
	read, differences, err := Verify(context.Background(), dir)
	if err != nil || len(differences) > 0 {
		t.Fatal(differences, err)
	}
	want := schema.DefaultSettings()
	want.Analysis.Threshold = map[string]float64{"central_sbp_mmhg": 130}
	if read.Settings.Uncertainty != want.Uncertainty || read.Settings.Analysis.QuantileType != want.Analysis.QuantileType ||
		!reflect.DeepEqual(read.Settings.Analysis.Threshold, want.Analysis.Threshold) {
		t.Errorf("%+v", read.Settings)
	}
	changed := strings.Replace(string(earlier), `"subject_visits"`, `"subject_visit"`, 1)
	changed = strings.Replace(changed, `130`, `131`, 1)
	if err := os.WriteFile(path, []byte(changed), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, differences, err := Verify(context.Background(), dir); err == nil && len(differences) == 0 {
		t.Error("a changed setting must show")
	}
}

func manifestValidator(t testing.TB) *jsonschema.Schema {
	t.Helper()
	document, err := jsonschema.UnmarshalJSON(strings.NewReader(schema.ManifestSchema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("manifest.json", document); err != nil {
		t.Fatal(err)
	}
	compiled, err := c.Compile("manifest.json")
	if err != nil {
		t.Fatal(err)
	}
	return compiled
}

// Every kind of manifest fulfils the published JSON Schema (draft 2020-12), and
// what is not one does not.
func TestManifestFulfilsItsSchema(t *testing.T) {
	valid := manifestValidator(t)
	read := func(results string) map[string]any {
		data, err := os.ReadFile(filepath.Join(results, ManifestName))
		if err != nil {
			t.Fatal(err)
		}
		m, err := jsonschema.UnmarshalJSON(strings.NewReader(string(data)))
		if err != nil {
			t.Fatal(err)
		}
		return m.(map[string]any)
	}
	studyDir, dir := smallStudy(t, 30), t.TempDir()
	ranInto(t, studyDir, filepath.Join(dir, "run"), Options{})
	if _, err := Tables(context.Background(), filepath.Join(dir, "run"), "", filepath.Join(dir, "tables"), Options{}); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(studyDir, "study.yaml")
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, append(data, "privacy: {ids: keyed}\n"...), 0o644); err != nil {
		t.Fatal(err)
	}
	key := filepath.Join(dir, "key")
	if err := os.WriteFile(key, []byte(strings.Repeat("k", 40)), 0o600); err != nil {
		t.Fatal(err)
	}
	ranInto(t, studyDir, filepath.Join(dir, "keyed"), Options{KeyFile: key})
	for _, results := range []string{"run", "tables", "keyed"} {
		if err := valid.Validate(read(filepath.Join(dir, results))); err != nil {
			t.Errorf("%s: %v", results, err)
		}
	}
	for what, spoil := range map[string]func(m map[string]any){
		"another format":    func(m map[string]any) { m["format"] = json.Number("2") },
		"no content":        func(m map[string]any) { delete(m, "content") },
		"a member too many": func(m map[string]any) { m["host"] = "here" },
		"an absolute path":  func(m map[string]any) { m["outputs"].([]any)[0].(map[string]any)["path"] = "/etc/passwd" },
		"a path that leaves": func(m map[string]any) {
			m["outputs"].([]any)[0].(map[string]any)["path"] = "tables/../../x"
		},
		"a short digest":   func(m map[string]any) { m["inputs"].([]any)[0].(map[string]any)["sha256"] = "abc" },
		"a negative count": func(m map[string]any) { m["counts"].(map[string]any)["withdrawn_subjects"] = json.Number("-1") },
		"no date":          func(m map[string]any) { m["run"].(map[string]any)["ended"] = "yesterday" },
		"unknown setting":  func(m map[string]any) { m["settings"].(map[string]any)["cufff"] = map[string]any{} },
	} {
		m := read(filepath.Join(dir, "run"))
		spoil(m)
		if valid.Validate(m) == nil {
			t.Errorf("%s passes", what)
		}
	}
}

// The published schema and the manifest have the same members.
func TestSchemaOfTheManifestIsComplete(t *testing.T) {
	var document map[string]any
	if err := json.Unmarshal([]byte(schema.ManifestSchema()), &document); err != nil {
		t.Fatal(err)
	}
	defs := document["$defs"].(map[string]any)
	for _, pair := range []struct {
		described any
		declared  reflect.Type
	}{
		{document, reflect.TypeOf(schema.Manifest{})},
		{defs["settings"], reflect.TypeOf(schema.Settings{})},
		{defs["build"], reflect.TypeOf(schema.Build{})},
		{defs["counts"], reflect.TypeOf(schema.Counts{})},
		{defs["tally"], reflect.TypeOf(schema.Tally{})},
		{defs["study"], reflect.TypeOf(schema.StudyIdentity{})},
		{defs["file"], reflect.TypeOf(schema.File{})},
	} {
		properties := pair.described.(map[string]any)["properties"].(map[string]any)
		declared := map[string]bool{}
		for i := range pair.declared.NumField() {
			name, _, _ := strings.Cut(pair.declared.Field(i).Tag.Get("json"), ",")
			declared[name] = true
			if properties[name] == nil {
				t.Errorf("schema/manifest.schema.json does not describe %s.%s", pair.declared.Name(), name)
			}
		}
		for name := range properties {
			if !declared[name] {
				t.Errorf("schema/manifest.schema.json describes %s of %s, and there is no such member", name, pair.declared.Name())
			}
		}
	}
}
