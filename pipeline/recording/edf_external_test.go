package recording_test

import (
	"bufio"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
	"tonocohort/testdata"
)

func readEDF(t *testing.T, dir, file, channel string) recording.Recording {
	t.Helper()
	return read(t, folder(testdata.External(t, dir)), anyRate, recording.Request{File: file, Format: "edf", Channel: channel})
}

// dataText reads a table of expected values: time, then the signals.
func dataText(t *testing.T, name string) [][]float64 {
	t.Helper()
	f, err := os.Open(testdata.External(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var rows [][]float64
	s := bufio.NewScanner(f)
	for s.Scan(); s.Scan(); {
		var row []float64
		for _, cell := range strings.Split(strings.TrimSpace(s.Text()), ",") {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	return rows
}

// Expected values in six decimals: inst/extdata of the R package edfReader.
func TestEDFEqualsTheExpectedText(t *testing.T) {
	for file, text := range map[string]string{"edfPlusC.edf": "edfPlusC_data.txt", "bdfPlusC.bdf": "bdfPlusC_data.txt"} {
		rows := dataText(t, "data/edfreader_cran/"+text)
		for signal := 1; signal <= 11; signal++ {
			rec := readEDF(t, "data/edfreader_cran", file, strconv.Itoa(signal))
			if rec.SamplingHz != 200 || len(rec.Samples) != 4000 || len(rec.Notes) != 0 {
				t.Fatalf("%s, signal %d: %v Hz, %d samples, %v", file, signal, rec.SamplingHz, len(rec.Samples), rec.Notes)
			}
			for k := range rows {
				if !(math.Abs(rec.Samples[k]-rows[k][signal]) <= 0.51e-6) {
					t.Fatalf("%s, signal %d, sample %d: %v, want %v", file, signal, k, rec.Samples[k], rows[k][signal])
				}
			}
		}
		if len(rows) != 4000 {
			t.Errorf("%d rows", len(rows))
		}
	}
}

// edfPlusD.edf holds the data records of edfPlusC.edf that begin at these
// seconds; all else is a gap.
func TestEDFGapsStandWhereTheFileSays(t *testing.T) {
	onsets := []int{0, 2, 4, 5, 6, 7, 8, 9, 12, 15, 19}
	for signal := 1; signal <= 11; signal++ {
		whole := readEDF(t, "data/edfreader_cran", "edfPlusC.edf", strconv.Itoa(signal))
		want := make([]float64, 4000)
		for i := range want {
			want[i] = nan
		}
		for _, second := range onsets {
			copy(want[200*second:200*second+200], whole.Samples[200*second:])
		}
		same(t, "signal "+strconv.Itoa(signal), readEDF(t, "data/edfreader_cran", "edfPlusD.edf", strconv.Itoa(signal)).Samples, want)
	}
}

// Facts from EXPECTED.md of the two collections, as their makers' own checks
// state them.
func TestEDFFactsOfTheMakers(t *testing.T) {
	for _, c := range []struct {
		file, channel string
		hz            float64
		samples       int
	}{
		{"edf_bdf_pyedflib/test_generator.edf", "squarewave", 200, 120000},
		{"edf_bdf_pyedflib/test_generator.edf", "sine 50 Hz", 200, 120000},
		{"edf_bdf_pyedflib/test_generator.bdf", "1", 1000, 30000},
		{"edf_bdf_pyedflib/test_generator.bdf", "2", 800, 24000},
		{"edf_bdf_pyedflib/test_generator.bdf", "5", 999, 29970},
		{"edf_bdf_pyedflib/test_generator_datarec_generator_0_5.bdf", "1", 2000, 60000},
		{"edf_bdf_pyedflib/test_generator_datarec_generator_0_5.bdf", "5", 1998, 59940},
		{"edf_bdf_pyedflib/test_generator_datarec_generator_2.bdf", "1", 500, 15000},
		{"edf_jl/test.edf", "1", 0, 0},
		{"edf_jl/test_uneven_samp.edf", "1", 100, 11000},
		{"edf_jl/test_uneven_samp.edf", "2", 12.8, 1408},
	} {
		rec := readEDF(t, "data/"+filepath.Dir(c.file), filepath.Base(c.file), c.channel)
		if c.hz != 0 && (rec.SamplingHz != c.hz || len(rec.Samples) != c.samples) {
			t.Errorf("%s, %s: %v Hz, %d samples", c.file, c.channel, rec.SamplingHz, len(rec.Samples))
		}
	}
	// One recording in both formats: 400000 uV over 24 bits in one, some 244 uV
	// over 16 bits in the other, so they differ by less than a step of the first.
	for signal := 1; signal <= 7; signal++ {
		fine := readEDF(t, "data/edf_jl", "bdf_test.bdf", strconv.Itoa(signal))
		coarse := readEDF(t, "data/edf_jl", "bdf_test.edf", strconv.Itoa(signal))
		for k, v := range fine.Samples {
			if !(math.Abs(v-coarse.Samples[k]) <= 400000.0/(1<<24)) {
				t.Fatalf("signal %d, sample %d: %v in 24 bits, %v in 16", signal, k, v, coarse.Samples[k])
			}
		}
	}
}

// Edits of an open recording, each a defect that users reported; what is
// sensible stands in their MANIFEST.tsv.
func TestEDFDefectsThatUsersReported(t *testing.T) {
	r := recording.NewReader(folder(testdata.External(t, "data/malformed_from_issues")), anyRate)
	for file, want := range map[string]string{
		"edf_ok_20_records.edf":         "",
		"edf_physmax_eq_physmin.edf":    "edf_scale",
		"edf_startdate_colon.edf":       "", // date and time are never looked at
		"edf_starttime_colon.edf":       "",
		"edf_date_impossible.edf":       "",
		"edf_nrecords_minus1.edf":       "records_counted",
		"edf_nrecords_too_large.edf":    "file_truncated",
		"edf_truncated_last_record.edf": "file_truncated",
		"edf_trailing_bytes.edf":        "trailing_bytes",
		"edf_non_ascii_version.edf":     "edf_version",
		"edf_nsamp_zero.edf":            "edf_header",
		"edf_header_bytes_wrong.edf":    "edf_header",
		"edf_ns_text.edf":               "edf_header",
		"edf_duration_zero.edf":         "edf_header",
		"edf_html_error_page.edf":       "edf_version",
		"edf_empty.edf":                 "no_samples",
		"edf_255_bytes.edf":             "file_truncated",
	} {
		rec, err := r.Read(recording.Request{File: file, Format: "edf"})
		got := issueCode(err)
		if err == nil && len(rec.Notes) > 0 {
			got = strings.Join(noteCodes(rec), " ")
		}
		if got != want {
			t.Errorf("%s: %v, %v, want %q", file, err, rec.Notes, want)
		}
	}
}

// A second reader (Debian python3-mne), where TONOCOHORT_OTHER_READERS asks for
// it: every signal must have the same samples.
func TestEDFEqualsAnotherReader(t *testing.T) {
	if os.Getenv("TONOCOHORT_OTHER_READERS") == "" {
		t.Skip("TONOCOHORT_OTHER_READERS is not set: python3-mne takes seconds to start")
	}
	script := `
import sys, mne
mne.set_log_level("ERROR")
for path in sys.argv[1:]:
    raw = (mne.io.read_raw_bdf if path.endswith("bdf") else mne.io.read_raw_edf)(path, preload=True)
    for name, row in zip(raw.ch_names, raw.get_data()):
        print(path, name, len(row), repr(float(row[:1000].sum())), repr(float(abs(row).max())), sep="\t")
`
	args := []string{"-c", script}
	for _, file := range []string{"edfreader_cran/edfPlusC.edf", "edfreader_cran/bdfPlusC.bdf", "edf_bdf_pyedflib/test_generator.edf", "edf_jl/bdf_test.bdf"} {
		args = append(args, testdata.External(t, "data/"+file))
	}
	out, err := exec.Command("/usr/bin/python3", args...).Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	for _, line := range lines {
		cells := strings.Split(line, "\t")
		rec := read(t, folder(filepath.Dir(cells[0])), anyRate, recording.Request{File: filepath.Base(cells[0]), Format: "edf", Channel: cells[1]})
		sum, most := 0.0, 0.0
		for k, v := range rec.Samples {
			if k < 1000 {
				sum += v
			}
			most = max(most, math.Abs(v))
		}
		otherSum, _ := strconv.ParseFloat(cells[3], 64)
		otherMost, _ := strconv.ParseFloat(cells[4], 64)
		// The other reader turns microvolts into volts.
		if cells[2] != strconv.Itoa(len(rec.Samples)) || math.Abs(sum-1e6*otherSum) > 1e-6*most || math.Abs(most-1e6*otherMost) > 1e-9*most {
			t.Errorf("%s: %d samples, sum %v, most %v", line, len(rec.Samples), sum, most)
		}
	}
	if len(lines) < 35 {
		t.Errorf("only %d signals", len(lines))
	}
}
