package recording_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
)

// example is a good recording of one format, for the suite that every reader
// must pass.
type example struct {
	files   files
	request recording.Request
	samples []float64
	hz      float64
	unit    string
	text    bool // cut at the end of a line it is shorter, but whole
}

// examples lists one or more good recordings of every format.
func examples(t testing.TB) map[string]example {
	want := []float64{}
	var one, two strings.Builder
	one.WriteString("pressure\n")
	two.WriteString("time_s,pressure\n")
	raw := []int{}
	for i := range 300 {
		v := 7*i%1000 - 500
		raw = append(raw, v)
		want = append(want, float64(v)/8)
		fmt.Fprintf(&one, "%.3f\n", float64(v)/8)
		fmt.Fprintf(&two, "%.5f,%.3f\n", float64(i)/128, float64(v)/8)
	}
	tsv := strings.TrimPrefix(one.String(), "pressure\n")
	wfdb := func(format int) files {
		return files{"w.hea": fmt.Appendf(nil, "w 1 128 300\nw.dat %d 8(0)/mmHg 12 0 %d %d 0 ART\n", format, raw[0], sumOf(raw)), "w.dat": pack(format, raw)}
	}
	edf := plainEDF()
	edf.duration, edf.physical0, edf.physical1, edf.digital0, edf.digital1, edf.body = "0.78125", "-256", "256", "-2048", "2048", raw
	bdf := edf
	bdf.version, bdf.width = "\xffBIOSEMI", 3
	gap := edf
	gap.kind, gap.onsets = "EDF+D", []string{"+0", "+0.78125", "+2.34375"}
	withGap := append(append(append([]float64{}, want[:200]...), nans(100)...), want[200:]...)
	segments := wfdb(212)
	segments["w.hea"], segments["a.hea"] = []byte("w/2 1 128 310\na 300\n~ 10\n"), bytes.Replace(segments["w.hea"], []byte("w 1"), []byte("a 1"), 1)
	q := func(file, format string, hz float64) recording.Request {
		return recording.Request{File: file, Format: format, SamplingHz: hz}
	}
	return map[string]example{
		"csv":            {files{"w.csv": []byte(one.String())}, q("w.csv", "csv", 128), want, 128, "au", true},
		"csv with time":  {files{"w.csv": []byte(two.String())}, q("w.csv", "csv", 0), want, 128, "au", true},
		"csv, gzip":      {files{"w.csv.gz": zip(t, []byte(two.String()))}, q("w.csv.gz", "csv", 128), want, 128, "au", false},
		"wfdb 16":        {wfdb(16), q("w.hea", "wfdb", 0), want, 128, "mmHg", false},
		"wfdb 212":       {wfdb(212), q("w.hea", "wfdb", 128), want, 128, "mmHg", false},
		"wfdb 311":       {wfdb(310), q("w.hea", "wfdb", 128), want, 128, "mmHg", false},
		"wfdb, segments": {segments, q("w.hea", "wfdb", 128), append(append([]float64{}, want...), nans(10)...), 128, "mmHg", false},
		"edf":            {files{"w.edf": edf.bytes()}, q("w.edf", "edf", 128), want, 128, "mmHg", false},
		"bdf":            {files{"w.bdf": bdf.bytes()}, q("w.bdf", "edf", 0), want, 128, "mmHg", false},
		"edf with gap":   {files{"w.edf": gap.bytes()}, q("w.edf", "edf", 0), withGap, 128, "mmHg", false},
		"bids":           {files{"w_physio.tsv.gz": zip(t, []byte(tsv)), "w_physio.json": []byte(`{"SamplingFrequency": 128, "Columns": ["cardiac"], "cardiac": {"Units": "mmHg"}}`)}, q("w_physio.tsv.gz", "bids", 0), want, 128, "mmHg", false},
	}
}

func nans(n int) []float64 {
	return slices.Repeat([]float64{math.NaN()}, n)
}

// TestEveryReader is the suite that each format passes: the samples, the digest
// of the very bytes, the same again, a shortened file refused, damage without a
// panic and without harm to the next recording.
func TestEveryReader(t *testing.T) {
	for name, e := range examples(t) {
		t.Run(name, func(t *testing.T) {
			r := recording.NewReader(e.files, recording.Options{})
			whole := func() {
				t.Helper()
				rec, err := r.Read(e.request)
				if err != nil {
					t.Fatal(err)
				}
				same(t, name, rec.Samples, e.samples)
				if rec.SamplingHz != e.hz || rec.Unit != e.unit || len(rec.Notes) != 0 && name != "edf with gap" {
					t.Fatalf("%v Hz, %s, %v", rec.SamplingHz, rec.Unit, rec.Notes)
				}
				if len(rec.Inputs) != len(e.files) {
					t.Fatalf("%d inputs of %d files", len(rec.Inputs), len(e.files))
				}
				for _, in := range rec.Inputs {
					sum := sha256.Sum256(e.files[in.Path])
					if in.SHA256 != hex.EncodeToString(sum[:]) || in.Bytes != int64(len(e.files[in.Path])) {
						t.Fatalf("digest of %s", in.Path)
					}
				}
			}
			whole()
			whole()
			for file, data := range e.files {
				for cut := 0; cut < len(data); cut += 1 + cut/50 {
					e.files[file] = data[:cut]
					rec, err := r.Read(e.request)
					if issueCode(err) == recording.CodeReaderPanic {
						t.Fatalf("%s cut at %d: %v", file, cut, err)
					}
					if err == nil && !e.text && strings.Contains(file, "w.") && !strings.HasSuffix(file, ".hea") {
						t.Fatalf("%s cut at %d of %d: %d samples and no error", file, cut, len(data), len(rec.Samples))
					}
				}
				for flip := 0; flip < len(data); flip += 1 + flip/100 {
					e.files[file] = bytes.Clone(data)
					e.files[file][flip] ^= byte(1 << (flip % 8))
					if _, err := r.Read(e.request); issueCode(err) == recording.CodeReaderPanic {
						t.Fatalf("%s flipped at %d: %v", file, flip, err)
					}
				}
				delete(e.files, file)
				if code := issueCode(second(r.Read(e.request))); code != "file_missing" && code != "bids_sidecar" {
					t.Fatalf("without %s: %s", file, code)
				}
				e.files[file] = data
				whole()
			}
		})
	}
}

func second[A, B any](_ A, b B) B { return b }

// Every format that is supported has an example, so that none misses the suite.
func TestEveryFormatHasAnExample(t *testing.T) {
	covered := map[string]bool{}
	for _, e := range examples(t) {
		covered[e.request.Format] = true
	}
	for _, format := range recording.NewReader(files{}, recording.Options{}).Supported() {
		if !covered[format] {
			t.Errorf("no example of %s", format)
		}
	}
}
