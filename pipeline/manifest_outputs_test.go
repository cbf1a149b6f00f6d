package pipeline

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// The outputs that a run takes away are those of a manifest that is read in full, and
// of none that is refused there.
func TestOutputsOfAManifest(t *testing.T) {
	format := fmt.Sprintf(`"format": %d`, schema.ManifestFormat)
	const (
		input  = `{"path": "waves/a.csv", "bytes": 3, "sha256": "ab"}`
		output = `{"path": "tables/beats.parquet", "bytes": 4, "sha256": "cd", "rows": 7, "restricted": true}`
	)
	refused := 0
	for _, text := range []string{
		"{" + format + `, "inputs": [` + strings.Repeat(input+",", 5000) + input + `], "outputs": [` + output + `]}`,
		`{"outputs": [` + output + "," + output + `], "inputs": [], "study": {"id": "x"}, ` + format + "}",
		"{" + format + `, "inputs": null, "outputs": [` + output + `]}` + "\n",
		"{" + format + "}",
		`{"format": 99, "outputs": [` + output + "]}",
		"{" + format + `, "inputs": [{"path": "a", "size": 3}], "outputs": [` + output + "]}",
		"{" + format + `, "inputs": {"path": "a"}, "outputs": [` + output + "]}",
		"{" + format + `, "outputs": [{"name": "tables/beats.parquet"}]}`,
		"{" + format + `, "later": 1, "outputs": [` + output + "]}",
		"{" + format + `, "inputs": [` + input + `], "outputs": [` + output,
		"{" + format + `, "inputs": [` + input + " " + input + `], "outputs": [` + output + "]}",
		"[]", "null", "", "{",
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, ManifestName), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		root, err := store.OpenRoot(dir)
		if err != nil {
			t.Fatal(err)
		}
		defer root.Close()
		whole, unread := readManifest(root)
		got, err := readOutputs(root)
		switch {
		case (err == nil) != (unread == nil):
			t.Errorf("%.80s: %v, read in full %v", text, err, unread)
		case err != nil:
			refused++
		case !reflect.DeepEqual(got, whole.Outputs):
			t.Errorf("%.80s: %v, read in full %v", text, got, whole.Outputs)
		}
	}
	if refused != 11 {
		t.Errorf("%d refused", refused)
	}
}
