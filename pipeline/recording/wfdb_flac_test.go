package recording_test

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
	"tonocohort/testdata"
)

// The files of testdata/flac were written by flac, the reference encoder, with
// make.py there; the formulas of their signals are repeated here.
const flacSamples = 700

func flacTriangle(k int) int { return max(k%200-100, 100-k%200)*8 - 400 }

// flacRecord gives a record of one of the files with one line of the header for
// each signal; "%d" stands for the line's check sum.
func flacRecord(t testing.TB, file string, length string, lines ...string) files {
	t.Helper()
	data, err := os.ReadFile(testdata.Path(t, "flac/"+file))
	if err != nil {
		t.Fatal(err)
	}
	return files{"r.hea": []byte(fmt.Sprintf("r %d 100 %s\n%s\n", len(lines), length, strings.Join(lines, "\n"))), "r.dat": data}
}

func TestFLACEqualsItsFormulas(t *testing.T) {
	floor8 := func(v int) int { return v >> 3 }
	for _, c := range []struct {
		file    string
		format  int
		signals []func(k int) int
	}{
		{"three.d8", 508, []func(k int) int{func(k int) int { return floor8(flacTriangle(k)) }, func(int) int { return 5 }, func(k int) int { return k*k*31%251 - 125 }}},
		{"stereo.d16", 516, []func(k int) int{flacTriangle, func(k int) int { return flacTriangle(k) + 3*(k%7) }}},
		{"noise.d16", 516, []func(k int) int{func(k int) int { return (k*k*7919+3*k)%4001 - 2000 }}},
		{"smooth.d24", 524, []func(k int) int{func(k int) int { return flacTriangle(k) * 5000 }}},
	} {
		lines := make([]string, len(c.signals))
		want := make([][]float64, len(c.signals))
		for i, signal := range c.signals {
			raw := make([]int, flacSamples)
			for k := range raw {
				raw[k] = signal(k)
				want[i] = append(want[i], float64(raw[k])/2)
			}
			lines[i] = fmt.Sprintf("r.dat %d 2(0)/mmHg 16 0 %d %d 0 s%d", c.format, raw[0], sumOf(raw), i)
		}
		for _, length := range []string{"700", "0", ""} { // 0 and none: the stream knows
			source := flacRecord(t, c.file, length, lines...)
			for i := range c.signals {
				rec := read(t, source, recording.Options{}, recording.Request{File: "r.hea", Format: "wfdb", Channel: fmt.Sprint("s", i)})
				same(t, fmt.Sprint(c.file, " ", length, i), rec.Samples, want[i])
				if rec.SamplingHz != 100 || len(rec.Notes) > 0 {
					t.Errorf("%s: %v Hz, %v", c.file, rec.SamplingHz, rec.Notes)
				}
			}
		}
	}
	// The first part of a stream, two samples a frame, the second frame on.
	rec := read(t, flacRecord(t, "smooth.d24", "300", "r.dat 524x2:1 5000(0)/mmHg"), recording.Options{}, recording.Request{File: "r.hea", Format: "wfdb"})
	if len(rec.Samples) != 598 || rec.SamplingHz != 200 || rec.Samples[0] != float64(flacTriangle(2)) || !slices.Equal(noteCodes(rec), []string{"trailing_bytes"}) {
		t.Errorf("%d samples, %v Hz, from %v, %v", len(rec.Samples), rec.SamplingHz, rec.Samples[0], noteCodes(rec))
	}
}

// FLAC guards every block by a check sum: a byte that changed is found, or it
// stands where the samples do not depend on it.
func TestFLACDamageIsFound(t *testing.T) {
	line := "r.dat 516 2(0)/mmHg 16 0 400"
	source := flacRecord(t, "stereo.d16", "700", line, line)
	q := recording.Request{File: "r.hea", Format: "wfdb", Channel: "2"}
	want := slices.Clone(read(t, source, recording.Options{}, q).Samples)
	data, found := source["r.dat"], 0
	r := recording.NewReader(source, recording.Options{})
	for at := range data {
		data[at] ^= 0x10
		rec, err := r.Read(q)
		switch code := issueCode(err); {
		case err == nil && !slices.Equal(rec.Samples, want):
			t.Errorf("byte %d: other samples", at)
		case err != nil && !slices.Contains([]string{"flac_damaged", "wfdb_header", "file_truncated"}, code):
			t.Errorf("byte %d: %v", at, err)
		case err != nil:
			found++
		}
		data[at] ^= 0x10
	}
	if found < len(data)/2 {
		t.Errorf("%d of %d found", found, len(data))
	}
	for size := range len(data) {
		source["r.dat"] = data[:size]
		if _, err := r.Read(q); issueCode(err) != "flac_damaged" && issueCode(err) != "file_truncated" {
			t.Fatalf("cut to %d: %v", size, err)
		}
	}
}

func TestFLACDefects(t *testing.T) {
	one := "r.dat 516 2(0)/mmHg"
	for name, c := range map[string]struct {
		length string
		lines  []string
		limit  int
		code   string
		row    int
	}{
		"fewer signals than channels": {"700", []string{one}, 0, "wfdb_header", 2},
		"other bits":                  {"700", []string{"r.dat 524 2/mmHg", "r.dat 524 2/mmHg"}, 0, "wfdb_header", 2},
		"other samples in a frame":    {"700", []string{one, "r.dat 516x2 2/mmHg"}, 0, "wfdb_header", 3},
		"longer than the stream":      {"701", []string{one, one}, 0, "file_truncated", 2},
		"beyond the limit":            {"700", []string{one, one}, 699, "too_many_samples", 0},
		"beyond it, length unknown":   {"0", []string{one, one}, 699, "too_many_samples", 0},
		"claims without end":          {"8000000000000", []string{one, one}, 0, "too_many_samples", 0},
		"an offset into the stream":   {"700", []string{"r.dat 516+9 2/mmHg", "r.dat 516+9 2/mmHg"}, 0, "flac_damaged", 2},
	} {
		i := refuse(t, flacRecord(t, "stereo.d16", c.length, c.lines...), recording.Options{Samples: c.limit}, recording.Request{File: "r.hea", Format: "wfdb", Channel: "1"})
		if i.Code != c.code || i.Row != c.row {
			t.Errorf("%s: %v", name, i)
		}
	}
	// The stream claims 2^36-1 samples and does not say where it ends.
	source := flacRecord(t, "stereo.d16", "", one, one)
	copy(source["r.dat"][8+13:], "\xff\xff\xff\xff\xff")
	if i := refuse(t, source, recording.Options{}, recording.Request{File: "r.hea", Format: "wfdb", Channel: "1"}); i.Code != "wfdb_header" && i.Code != "too_many_samples" {
		t.Errorf("%v", i)
	}
	// A stream of unknown length ends where the file does.
	source = flacRecord(t, "stereo.d16", "", one, one)
	copy(source["r.dat"][8+14:], "\x00\x00\x00\x00")
	if rec := read(t, source, recording.Options{}, recording.Request{File: "r.hea", Format: "wfdb", Channel: "1"}); len(rec.Samples) != flacSamples {
		t.Errorf("%d samples", len(rec.Samples))
	}
}
