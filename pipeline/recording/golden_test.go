package recording_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"tonocohort/pipeline/recording"
	"tonocohort/testdata"
)

// Files written byte by byte, read back by mne 1.3.0 and biosig 2.5.0
// (testdata/golden/p04_edf.py; the numbers are its own, checked by both).
type goldenBinary struct {
	EDF struct {
		Physical []float64 `json:"physical_first20"`
		N        int       `json:"n"`
	} `json:"edf"`
	WFDB struct {
		Physical []float64 `json:"physical_first20"`
	} `json:"wfdb16"`
}

func golden(t *testing.T) (g goldenBinary) {
	t.Helper()
	text, err := os.ReadFile(testdata.Path(t, "golden/out/p04_edf.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &g); err != nil {
		t.Fatal(err)
	}
	return g
}

func TestWFDBGolden(t *testing.T) {
	g := golden(t)
	source := folder(filepath.Dir(testdata.Path(t, "golden/in/record.hea")))
	rec := read(t, source, recording.Options{}, recording.Request{File: "record.hea", Format: "wfdb", SamplingHz: 256, Unit: "mmHg"})
	if len(rec.Samples) != g.EDF.N || rec.SamplingHz != 256 || rec.Unit != "mmHg" {
		t.Fatalf("%d samples, %v Hz, %s", len(rec.Samples), rec.SamplingHz, rec.Unit)
	}
	same(t, "first 20", rec.Samples[:20], g.WFDB.Physical)
	// The file holds the csv recording rounded to 1/32.
	text := read(t, source, recording.Options{}, recording.Request{File: "record.csv", Format: "csv", Channel: "p_raw", SamplingHz: 256})
	for k, v := range text.Samples {
		if !(math.Abs(rec.Samples[k]-v) <= 1.0/64) {
			t.Fatalf("sample %d: %v, csv %v", k, rec.Samples[k], v)
		}
	}
}

// External: edits of an open record, each a defect that users reported; what is
// sensible stands in their MANIFEST.tsv.
func TestWFDBDefectsThatUsersReported(t *testing.T) {
	dir := testdata.External(t, "data/malformed_from_issues")
	r := recording.NewReader(folder(dir), recording.Options{})
	for file, want := range map[string]string{
		"wfdb_date_hyphen.hea":        "", // the date is never looked at
		"wfdb_year_only_date.hea":     "",
		"wfdb_nsamples_missing.hea":   "", // length from the file
		"wfdb_swapped_gain_units.hea": "wfdb_gain",
		"wfdb_bad_checksum.hea":       "checksum_mismatch",
		"wfdb_missing_dat.hea":        "file_missing",
		"wfdb_dat_path_escape.hea":    "wfdb_signal_path",
		"wfdb_short_dat.hea":          "file_truncated",
	} {
		rec, err := r.Read(recording.Request{File: file, Format: "wfdb", Channel: "ABP", SamplingHz: 125, Unit: "mmHg"})
		if code := issueCode(err); code != want {
			t.Errorf("%s: %v, want %q", file, err, want)
		}
		if err == nil && len(rec.Samples) != 1000 {
			t.Errorf("%s: %d samples", file, len(rec.Samples))
		}
	}
}
