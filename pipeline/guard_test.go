package pipeline

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
	"tonocohort/pipeline/simulate"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// A reader that panics costs its recording: it fails with its reason, and the
// recordings before and after it have the values that they have without it.
func TestPanicCostsOneRecording(t *testing.T) {
	dir := t.TempDir()
	samples, _ := simulate.Recording("guard", 20, 128)
	var b strings.Builder
	b.WriteString("pressure\n")
	for _, v := range samples {
		fmt.Fprintf(&b, "%.4f\n", v)
	}
	if err := os.WriteFile(filepath.Join(dir, "w.csv"), []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	files, err := store.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer files.Close()
	settings := schema.DefaultSettings()
	methods, err := newEstimators(settings.Central, nil)
	if err != nil {
		t.Fatal(err)
	}
	person := &study.Subject{ID: "S1", Sex: "female", Visits: []study.Visit{{ID: "v1", Cuff: []study.Reading{{Number: 1, SBP: 128, DBP: 78}}}}}
	for _, id := range []string{"R1", "R2", "R3"} {
		person.Visits[0].Recordings = append(person.Visits[0].Recordings, study.Recording{ID: id, GivenID: id, File: "w.csv", Setup: &study.Setup{Format: "csv", SamplingHz: 128, Artery: "radial"}})
	}
	w := newWorker(settings, files, methods, &disguise{settings: settings.Privacy})
	whole := w.subject(person)
	read := w.read
	w.read = func(q recording.Request) (recording.Recording, error) {
		if q.RecordingID == "R2" {
			panic("Anna Canary, born 1969")
		}
		return read(q)
	}
	got := w.subject(person).visits[0]
	r := got.recordings[1]
	if r.status != statusFailed || r.reason != "computing_failed" || len(r.issues) != 1 || r.issues[0].RecordingID != "R2" || strings.Contains(r.detail+r.issues[0].String(), "Anna") {
		t.Errorf("%s %s: %s", r.status, r.reason, r.detail)
	}
	if brachial := r.values[columnAt("brachial_sbp_mmhg")]; brachial != 128 {
		t.Errorf("the cuff pressure of the lost recording is %v", brachial)
	}
	for _, k := range []int{0, 2} {
		a, b := got.recordings[k], whole.visits[0].recordings[k]
		if sbp := a.values[columnAt("central_sbp_mmhg")]; a.status != statusUsed || sbp != b.values[columnAt("central_sbp_mmhg")] {
			t.Errorf("its neighbour %s: %s, %v", a.row.ID, a.status, sbp)
		}
	}
	if got.status != statusUsed || len(got.used) != 2 {
		t.Errorf("the visit: %s of %d", got.status, len(got.used))
	}
	w.read = func(recording.Request) (recording.Recording, error) { return recording.Recording{Samples: nil}, nil }
	w.analyser = nil // a fault of our own: the runtime says what it is
	if r := w.subject(person).visits[0].recordings[0]; r.status != statusFailed || !strings.Contains(r.detail, "nil pointer") {
		t.Errorf("%s: %s", r.status, r.detail)
	}
}
