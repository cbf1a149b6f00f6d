package pipeline

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

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
