package pipeline

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

func rerun(t *testing.T, results, studyDir string, o RerunOptions) *Rerun {
	t.Helper()
	r, err := RerunResults(context.Background(), results, studyDir, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func verdicts(r *Rerun) string {
	var list []string
	for _, s := range r.Stages {
		list = append(list, s.Name+" "+s.Verdict)
	}
	return strings.Join(list, ", ")
}

// resealed rewrites a manifest after edit and gives it a content digest that
// fits, as a forger would.
func resealed(t *testing.T, results string, edit func(*schema.Manifest)) {
	t.Helper()
	m, err := ReadManifest(results)
	if err != nil {
		t.Fatal(err)
	}
	edit(m)
	data, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	if m.Content, err = contentOf(data); err != nil {
		t.Fatal(err)
	}
	if data, err = json.Marshal(m); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(results, ManifestName), data, 0o644); err != nil {
		t.Fatal(err)
	}
}

// forged changes a table and lets the manifest promise what then stands there.
func forged(t *testing.T, results, path string, edit func(*schema.Frame)) {
	t.Helper()
	s, err := openSealed(results)
	if err != nil {
		t.Fatal(err)
	}
	defer s.close()
	f, err := readOwnTable(s.root, path)
	if err != nil {
		t.Fatal(err)
	}
	edit(f)
	fsys, err := openUnsynced(results)
	if err != nil {
		t.Fatal(err)
	}
	out, err := writeTable(store.NewFolder(fsys), path, f, map[string]string{"study": s.manifest.Study.ID, "caution": schema.Caution})
	if err != nil {
		t.Fatal(err)
	}
	resealed(t, results, func(m *schema.Manifest) {
		i := slices.IndexFunc(m.Outputs, func(o schema.Output) bool { return o.Path == path })
		m.Outputs[i] = out
	})
}

func TestRerun(t *testing.T) {
	t.Parallel()
	studyDir := smallStudy(t, 66)
	results := filepath.Join(t.TempDir(), "results")
	ranInto(t, studyDir, results, Options{})
	o := RerunOptions{From: FromStudy}
	if r := rerun(t, results, studyDir, o); !r.Reproduced() || verdicts(r) != "manifest same, inputs same, settings same, recordings same bytes, statistics same bytes, release same bytes" {
		t.Errorf("%s\n%+v", verdicts(r), r.Comparison)
	}
	if r := rerun(t, results, "", RerunOptions{From: FromTables}); !r.Reproduced() || verdicts(r) != "manifest same, tables read same, recordings not recomputed, statistics same bytes, release same bytes" ||
		!slices.Contains(r.NotDone, "tables/recordings.parquet") || !slices.Contains(r.NotDone, issuesPath) {
		t.Errorf("%s\n%+v", verdicts(r), r.NotDone)
	}
	o.Sample = 0.25
	sample := rerun(t, results, studyDir, o)
	if !sample.Reproduced() || verdicts(sample) != "manifest same, inputs same, settings same, recordings same values, statistics not recomputed, release not recomputed" {
		t.Errorf("%s\n%+v", verdicts(sample), sample.Comparison)
	}
	if n := sample.SampledOf; n[0] < 8 || n[0] > 28 || n[1] < 60 {
		t.Errorf("a quarter of the subjects: %v", n)
	}

	// A number that was changed by hand is found, whatever the manifest says.
	cheat := filepath.Join(t.TempDir(), "cheat")
	if err := os.CopyFS(cheat, os.DirFS(results)); err != nil {
		t.Fatal(err)
	}
	id := ""
	forged(t, cheat, tablePath("recordings"), func(f *schema.Frame) {
		for row := range f.N {
			if f.TextAt(row, "status") == statusUsed && inSample(f.TextAt(row, "subject_id"), o.Sample) {
				id = f.TextAt(row, "recording_id")
				f.SetNumber(row, "central_sbp_mmhg", f.Number(row, "central_sbp_mmhg")+1)
				return
			}
		}
	})
	if _, differences, err := Verify(context.Background(), cheat); err != nil || len(differences) > 0 {
		t.Fatal("the forgery fails by itself", differences, err)
	}
	for _, share := range []float64{0, o.Sample} {
		r := rerun(t, cheat, studyDir, RerunOptions{From: FromStudy, Sample: share})
		if r.Reproduced() || len(r.Comparison.Differences) != 1 {
			t.Fatalf("share %v: %s, %v", share, verdicts(r), r.Comparison.Differences)
		}
		d := r.Comparison.Differences[0]
		if d.Table != "recordings" || d.Column != "central_sbp_mmhg" || !slices.Contains(d.Key, KeyPart{"recording_id", id}) || *d.Difference > -0.99 || *d.Difference < -1.01 {
			t.Errorf("share %v: %s", share, d)
		}
	}
	forged(t, cheat, tablePath("summary"), func(f *schema.Frame) { f.SetNumber(2, "estimate", f.Number(2, "estimate")+1) })
	if r := rerun(t, cheat, "", RerunOptions{From: FromTables}); r.Reproduced() || len(r.Comparison.Differences) != 1 || r.Comparison.Differences[0].Table != "summary" {
		t.Errorf("%s: %v", verdicts(r), r.Comparison.Differences)
	}

	// Another file is named, and nothing is computed.
	files, err := filepath.Glob(filepath.Join(studyDir, "waves", "*"))
	if err != nil || len(files) == 0 {
		t.Fatal(err)
	}
	if err := os.WriteFile(files[0], []byte("pressure\n1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if r := rerun(t, results, studyDir, RerunOptions{From: FromStudy}); r.Reproduced() || len(r.Inputs) != 1 || r.Inputs[0].Path != "waves/"+filepath.Base(files[0]) || verdicts(r) != "manifest same, inputs differs" {
		t.Errorf("%s: %v", verdicts(r), r.Inputs)
	}
}

// Results that were made from other results say that these are to be given.
func TestRerunOfResultsFromResults(t *testing.T) {
	t.Parallel()
	studyDir, dir := smallStudy(t, 20), t.TempDir()
	ranInto(t, studyDir, filepath.Join(dir, "first"), Options{})
	if _, err := Tables(context.Background(), filepath.Join(dir, "first"), "", filepath.Join(dir, "second"), Options{}); err != nil {
		t.Fatal(err)
	}
	for _, o := range []RerunOptions{{From: FromStudy}, {From: FromTables}} {
		var usage *RerunUsageError
		if _, err := RerunResults(context.Background(), filepath.Join(dir, "second"), studyDir, o); !errors.As(err, &usage) {
			t.Errorf("from %s: %v", o.From, err)
		}
	}
	if r := rerun(t, filepath.Join(dir, "second"), "", RerunOptions{From: FromRelease}); !r.Reproduced() {
		t.Errorf("%v", r.Findings)
	}
}

// The settings of the manifest hold, not what this program makes of study.yaml.
func TestRerunUsesTheSettingsOfTheManifest(t *testing.T) {
	t.Parallel()
	studyDir := smallStudy(t, 30)
	results := filepath.Join(t.TempDir(), "results")
	name := filepath.Join(studyDir, "study.yaml")
	plain, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	// As if the default had been another one when the results were made.
	other := strings.Replace(string(plain), "drop_first_of_three", "all", 1)
	if err := os.WriteFile(name, []byte(other), 0o644); err != nil {
		t.Fatal(err)
	}
	ranInto(t, studyDir, results, Options{})
	if err := os.WriteFile(name, plain, 0o644); err != nil {
		t.Fatal(err)
	}
	digest := sha256.Sum256(plain)
	resealed(t, results, func(m *schema.Manifest) {
		for i := range m.Inputs {
			if m.Inputs[i].Path == "study.yaml" {
				m.Inputs[i] = schema.File{Path: "study.yaml", Bytes: int64(len(plain)), SHA256: hex.EncodeToString(digest[:])}
			}
		}
	})
	r := rerun(t, results, studyDir, RerunOptions{From: FromStudy})
	if len(r.Settings) != 1 || r.Settings[0] != (Change{"cuff.rule", "all", "drop_first_of_three"}) {
		t.Errorf("%+v", r.Settings)
	}
	for _, f := range r.Comparison.Files {
		if f.Verdict != SameBytes && f.Path != releaseFolder+provenanceName && f.Path != releaseFolder+reportName { // which have the digest of study.yaml
			t.Error(f)
		}
	}
	// Settings that no program would have accepted are refused, not carried out.
	resealed(t, results, func(m *schema.Manifest) { m.Settings.Cuff.Rule = "none such" })
	var structural *StructuralError
	if _, err := RerunResults(context.Background(), results, studyDir, RerunOptions{From: FromStudy}); !errors.As(err, &structural) {
		t.Error(err)
	}
}

// Keyed results are reproduced by who has the key, and by nobody else.
func TestRerunOfKeyedResults(t *testing.T) {
	t.Parallel()
	studyDir, dir := smallStudy(t, 30), t.TempDir()
	name := filepath.Join(studyDir, "study.yaml")
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, append(data, "privacy: {ids: keyed, date_shift: keyed}\n"...), 0o644); err != nil {
		t.Fatal(err)
	}
	keys := []string{filepath.Join(dir, "one"), filepath.Join(dir, "two")}
	for _, k := range keys {
		if err := os.WriteFile(k, []byte(strings.Repeat(filepath.Base(k), 20)), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	results := filepath.Join(dir, "results")
	ranInto(t, studyDir, results, Options{KeyFile: keys[0]})
	for _, share := range []float64{0, 0.5} {
		if r := rerun(t, results, studyDir, RerunOptions{From: FromStudy, Sample: share, Options: Options{KeyFile: keys[0]}}); !r.Reproduced() {
			t.Errorf("%s %v %v", verdicts(r), r.Inputs, r.Comparison.Files)
		}
	}
	var usage *RerunUsageError
	if _, err := RerunResults(context.Background(), results, studyDir, RerunOptions{From: FromStudy, Options: Options{KeyFile: keys[1]}}); !errors.As(err, &usage) {
		t.Error(err)
	}
}

// A sample is about as large as it was asked for, and always the same.
func TestSampleIsChosenByName(t *testing.T) {
	for _, share := range []float64{0.02, 0.5, 1} {
		n := 0
		for i := range 10_000 {
			if inSample("S"+string(rune('a'+i%26))+strings.Repeat("x", i/26), share) {
				n++
			}
		}
		if got := float64(n) / 10_000; got < 0.85*share || got > 1.15*share {
			t.Errorf("a share of %v for %v", got, share)
		}
	}
}
