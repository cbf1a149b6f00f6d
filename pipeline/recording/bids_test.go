package recording_test

import (
	"compress/gzip"
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
	"tonocohort/testdata"
)

const (
	bidsFolder = "sub-01/ses-1/func"
	bidsFile   = bidsFolder + "/sub-01_ses-1_task-rest_run-1_physio.tsv.gz"
)

// bidsStudy is a data set with one recording and the given side files.
func bidsStudy(t *testing.T, tsv string, sidecars map[string]string) files {
	t.Helper()
	f := files{bidsFile: zip(t, []byte(tsv))}
	for name, text := range sidecars {
		f[name] = []byte(text)
	}
	return f
}

func bidsRequest(channel string) recording.Request {
	return recording.Request{File: bidsFile, Format: "bids", Channel: channel}
}

func TestBIDSInheritance(t *testing.T) {
	tsv := "1\t0.5\n2\tn/a\n\t-3\n"
	source := bidsStudy(t, tsv, map[string]string{
		"task-rest_physio.json":                              `{"SamplingFrequency": 50, "Columns": ["a", "b"], "StartTime": -3}`,
		"task-other_physio.json":                             `{"SamplingFrequency": 7}`,
		"participants.json":                                  `{"SamplingFrequency": 7}`,
		"sub-01/sub-01_physio.json":                          `{"cardiac": {"Units": "mmHg"}, "Columns": ["respiratory", "cardiac"]}`,
		"sub-01/sub-02_physio.json":                          `{"SamplingFrequency": 7}`,
		bidsFolder + "/sub-01_ses-1_task-rest_physio.json":   `{"SamplingFrequency": 100}`,
		bidsFolder + "/sub-01_ses-1_task-rest_events.json":   `{"SamplingFrequency": 7}`,
		bidsFolder + "/sub-01_ses-1_run-2_physio.json":       `{"SamplingFrequency": 7}`,
		"sub-01/ses-1/ses-10_task-rest_physio.json":          `{"SamplingFrequency": 7}`,
		"sub-02/sub-02_task-rest_physio.json":                `{"SamplingFrequency": 7}`,
		bidsFolder + "/deeper/sub-01_task-rest_physio.json":  `{"SamplingFrequency": 7}`,
		bidsFolder + "/sub-01_ses-1_recording-x_physio.json": `{"SamplingFrequency": 7}`,
	})
	rec := read(t, source, recording.Options{}, bidsRequest("cardiac"))
	same(t, "cardiac", rec.Samples, []float64{0.5, nan, -3})
	if rec.SamplingHz != 100 || rec.Unit != "mmHg" || len(rec.Notes) != 0 {
		t.Errorf("%v Hz, %s, %v", rec.SamplingHz, rec.Unit, rec.Notes)
	}
	var inputs []string
	for _, in := range rec.Inputs {
		inputs = append(inputs, in.Path)
	}
	if want := "task-rest_physio.json sub-01/sub-01_physio.json " + bidsFolder + "/sub-01_ses-1_task-rest_physio.json " + bidsFile; strings.Join(inputs, " ") != want {
		t.Errorf("inputs %v", inputs)
	}
	rec = read(t, source, recording.Options{}, bidsRequest("1"))
	same(t, "respiratory", rec.Samples, []float64{1, 2, nan})
	if rec.Unit != "au" {
		t.Errorf("a column without unit: %s", rec.Unit)
	}
}

func TestBIDSDefects(t *testing.T) {
	const side = bidsFolder + "/sub-01_physio.json"
	good := `{"SamplingFrequency": 100, "Columns": ["cardiac", "trigger"]}`
	for name, c := range map[string]struct {
		tsv      string
		sidecars map[string]string
		q        recording.Request
		code     string
		row      int
	}{
		"no side file":    {"1\t0\n", nil, bidsRequest("cardiac"), "bids_sidecar", 0},
		"two of a folder": {"1\t0\n", map[string]string{side: good, bidsFolder + "/ses-1_physio.json": good}, bidsRequest("cardiac"), "bids_sidecar", 0},
		"no JSON":         {"1\t0\n", map[string]string{side: "{"}, bidsRequest("cardiac"), "bids_sidecar", 0},
		"a list":          {"1\t0\n", map[string]string{side: "[1]"}, bidsRequest("cardiac"), "bids_sidecar", 0},
		"rate a text":     {"1\t0\n", map[string]string{side: `{"SamplingFrequency": "100", "Columns": ["cardiac"]}`}, bidsRequest("cardiac"), "bids_sidecar", 0},
		"rate 0":          {"1\t0\n", map[string]string{side: `{"SamplingFrequency": 0, "Columns": ["cardiac"]}`}, bidsRequest("cardiac"), "bids_sidecar", 0},
		"no rate":         {"1\t0\n", map[string]string{side: `{"Columns": ["cardiac", "trigger"]}`}, bidsRequest("cardiac"), "sampling_missing", 0},
		"other rate":      {"1\t0\n", map[string]string{side: good}, recording.Request{File: bidsFile, Format: "bids", Channel: "cardiac", SamplingHz: 50}, "sampling_mismatch", 0},
		"no columns":      {"1\t0\n", map[string]string{side: `{"SamplingFrequency": 100}`}, bidsRequest("cardiac"), "bids_sidecar", 0},
		"columns a text":  {"1\t0\n", map[string]string{side: `{"SamplingFrequency": 100, "Columns": "cardiac"}`}, bidsRequest("cardiac"), "bids_sidecar", 0},
		"no such column":  {"1\t0\n", map[string]string{side: good}, bidsRequest("pressure"), "channel_missing", 0},
		"none named":      {"1\t0\n", map[string]string{side: good}, bidsRequest(""), "channel_required", 0},
		"header line":     {"cardiac\ttrigger\n1\t0\n", map[string]string{side: good}, bidsRequest("cardiac"), "bids_header_line", 0},
		"ragged":          {"1\t0\n2\n", map[string]string{side: good}, bidsRequest("cardiac"), "row_ragged", 2},
		"commas":          {"1,0\n", map[string]string{side: good}, bidsRequest("cardiac"), "row_ragged", 1},
		"a word":          {"1\t0\nhigh\t0\n", map[string]string{side: good}, bidsRequest("cardiac"), "not_a_number", 2},
		"NaN":             {"NaN\t0\n", map[string]string{side: good}, bidsRequest("cardiac"), "nan_text", 1},
		"empty":           {"", map[string]string{side: good}, bidsRequest("cardiac"), "no_samples", 0},
		"all missing":     {"n/a\t0\n", map[string]string{side: good}, bidsRequest("cardiac"), "no_samples", 0},
		"other unit":      {"1\n", map[string]string{side: `{"SamplingFrequency": 100, "Columns": ["cardiac"], "cardiac": {"Units": "mV"}}`}, recording.Request{File: bidsFile, Format: "bids", Unit: "mmHg"}, "unit_mismatch", 0},
	} {
		if i := refuse(t, bidsStudy(t, c.tsv, c.sidecars), recording.Options{}, c.q); i.Code != c.code || i.Row != c.row {
			t.Errorf("%s: %s at row %d, want %s at %d (%v)", name, i.Code, i.Row, c.code, c.row, i)
		}
	}
	if i := refuse(t, files{}, recording.Options{}, recording.Request{File: "a.tsv", Format: "bids"}); i.Code != "bids_name" {
		t.Error(i)
	}
}

// An open recording whose columns and rate stand in a side file above its own
// (bids-examples ds210), against the standard library's reading of the table.
func TestBIDSOpenRecording(t *testing.T) {
	dir := testdata.External(t, "data/bids_physio")
	const name = "sub-01_task-rest_run-01_physio.tsv.gz"
	f, err := os.Open(dir + "/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	unpacked, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	lines := csv.NewReader(unpacked)
	lines.Comma = '\t'
	rows, err := lines.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for column, channel := range []string{"cardiac", "respiratory"} {
		want := make([]float64, len(rows))
		for i := range rows {
			if want[i], err = strconv.ParseFloat(rows[i][column], 64); err != nil {
				t.Fatal(err)
			}
		}
		rec := read(t, folder(dir), recording.Options{}, recording.Request{File: name, Format: "bids", Channel: channel})
		same(t, channel, rec.Samples, want)
		if rec.SamplingHz != 50 || len(rec.Inputs) != 2 {
			t.Errorf("%v Hz, %v", rec.SamplingHz, rec.Inputs)
		}
	}
}
