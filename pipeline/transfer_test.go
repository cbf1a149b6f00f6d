package pipeline_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"tonocohort/pipeline"
	"tonocohort/schema"
	"tonocohort/testdata"
)

// A file that was changed by hand is not what was derived.
func TestTransferFileIsHeldToItsDigest(t *testing.T) {
	dir := t.TempDir()
	if err := testdata.WritePairs(dir, 6, publishedArm()); err != nil {
		t.Fatal(err)
	}
	fitted(t, dir, filepath.Join(dir, "own.json"), pipeline.FitOptions{})
	data, err := os.ReadFile(filepath.Join(dir, "own.json"))
	if err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(map[string]any){
		"as it is":    func(map[string]any) {},
		"a number":    func(m map[string]any) { m["table"].([]any)[3].(map[string]any)["modulus"] = 0.5 },
		"the artery":  func(m map[string]any) { m["artery"] = "brachial" },
		"the kind":    func(m map[string]any) { m["kind"] = "something" },
		"the format":  func(m map[string]any) { m["format"] = 2 },
		"a new field": func(m map[string]any) { m["more"] = 1 },
	} {
		var m map[string]any
		if err := json.Unmarshal(data, &m); err != nil {
			t.Fatal(err)
		}
		change(m)
		changed, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		f := newForeign(t, "central: {method: transfer_table, transfer_file: own.json}\n")
		f.write("own.json", string(changed))
		f.person("A", "female", "40", "120", "80")
		issues := f.check()
		refused := slices.ContainsFunc(issues, func(i schema.Issue) bool {
			return i.Code == "bad_transfer" && i.Size == schema.SizeStructural && i.Row > 0
		})
		if refused == (name == "as it is") {
			t.Errorf("%s changed: %v", name, issues)
		}
	}
}
