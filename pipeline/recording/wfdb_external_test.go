package recording_test

import (
	"bufio"
	"compress/gzip"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
	"tonocohort/testdata"
)

const wfdbSamples = "data/wfdb_python_samples"

// target reads the text that the WFDB C library printed for a record: one row a
// line, "-" for a missing value.
func target(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(testdata.External(t, wfdbSamples+"/target-output/"+name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var r io.Reader = f
	if strings.HasSuffix(name, ".gz") {
		if r, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	var rows [][]string
	for s := bufio.NewScanner(r); s.Scan(); {
		rows = append(rows, strings.Fields(s.Text()))
	}
	return rows
}

// adc is how a signal of a record is scaled, as its header says.
type adc struct {
	gain, baseline float64
	missing        string // what the library prints for a missing raw value
}

// Source of every expectation: target-output of MIT-LCP/wfdb-python, the text
// that rdsamp of the original C library printed (options in EXPECTED.md). Raw
// values are compared through (raw - baseline) / gain, bit by bit; physical ones
// in the eight decimals that it printed.
func TestWFDBEqualsTheCLibrary(t *testing.T) {
	mv := func(gain float64) adc { return adc{gain: gain} }
	for _, c := range []struct {
		target, record string
		from           int   // first row
		channels       []int // of the columns, from 1
		raw            []adc // scale by column; nil: physical values
	}{
		{"record-1a", "test01_00s", 0, []int{1, 2, 3, 4}, []adc{mv(100), mv(100), mv(100), mv(100)}},
		{"record-1b", "a103l", 12500, []int{3, 1}, nil},
		{"record-1c", "a103l", 20000, []int{1, 2}, []adc{mv(7247), mv(10520)}},
		{"record-1d", "3000003_0003", 125, []int{2}, nil},
		{"record-1f.gz", "binformats", 0, []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, []adc{mv(200), mv(200), mv(200), mv(200), mv(200), mv(200), mv(200), mv(200), mv(200), mv(200)}},
		{"record-flac.gz", "flacformats", 0, []int{1, 2, 3}, []adc{mv(200), mv(200), mv(200)}},
		{"record-2b", "100", 1, []int{2}, []adc{{gain: 200, baseline: 1024}}},
		{"record-2b", "100-no-len", 1, []int{2}, []adc{{gain: 200, baseline: 1024}}},
		{"record-2c", "100_3chan", 0, []int{1, 2, 3}, nil},
		{"record-2d", "310derive", 2, []int{1, 2}, []adc{mv(200), mv(200)}},
		{"record-2e", "311derive", 1, []int{1}, nil},
		{"record-4b", "03700181", 0, []int{2, 3}, []adc{{gain: 12.84, baseline: -1605}, mv(2000)}},
		{"record-4c", "03700181", 1000, []int{3}, nil},
	} {
		t.Run(c.target+" "+c.record, func(t *testing.T) {
			rows := target(t, c.target)
			column := len(rows[0]) - len(c.channels) // 4b, 4c begin with an averaged signal
			if c.target == "record-4b" || c.target == "record-4c" {
				column = 1
			}
			for i, channel := range c.channels {
				samples := readWFDB(t, wfdbSamples+"/sample-data", c.record, channel).Samples[c.from:]
				if len(samples) < len(rows) {
					t.Fatalf("channel %d: %d samples, want %d", channel, len(samples), len(rows))
				}
				for k := range rows {
					word := rows[k][column+i]
					if c.raw == nil {
						comparePhysical(t, k, samples[k], word)
					} else {
						compareRaw(t, k, samples[k], word, c.raw[i])
					}
				}
			}
		})
	}
}

func readWFDB(t *testing.T, dir, record string, channel int) recording.Recording {
	t.Helper()
	return read(t, folder(testdata.External(t, dir)), anyRate,
		recording.Request{File: record + ".hea", Format: "wfdb", Channel: strconv.Itoa(channel)})
}

func comparePhysical(t *testing.T, k int, got float64, word string) {
	t.Helper()
	if word == "-" && math.IsNaN(got) || fmt.Sprintf("%.8f", got) == word || word == "0.00000000" && got == 0 {
		return
	}
	t.Fatalf("row %d: %.8f, want %s", k, got, word)
}

func compareRaw(t *testing.T, k int, got float64, word string, a adc) {
	t.Helper()
	if word == a.missing && math.IsNaN(got) {
		return
	}
	raw, err := strconv.ParseFloat(word, 64)
	if err != nil || got != (raw-a.baseline)/a.gain {
		t.Fatalf("row %d: %v, want raw %s", k, got, word)
	}
}

// Signals that are skewed or have several samples in a frame. In record-4a the
// library printed the mean of a frame, in 4d every sample of the fastest signal.
func TestWFDBSkewAndFrames(t *testing.T) {
	rows := target(t, "record-4d")
	for channel := 1; channel <= 3; channel++ {
		rec := readWFDB(t, wfdbSamples+"/sample-data", "test01_00s_skewframe", channel)
		hz, each := 500.0, 2
		if channel == 2 {
			hz, each = 1000, 1
		}
		if rec.SamplingHz != hz {
			t.Errorf("channel %d: %v Hz", channel, rec.SamplingHz)
		}
		for k := range rows {
			comparePhysical(t, k, rec.Samples[k/each], rows[k][channel-1])
		}
	}
	rows = target(t, "record-4a")
	skewed := readWFDB(t, wfdbSamples+"/sample-data", "test01_00s_skewframe", 1)
	if len(skewed.Samples) != len(rows) {
		t.Fatalf("%d samples, want %d", len(skewed.Samples), len(rows))
	}
	for k := range rows {
		compareRaw(t, k, skewed.Samples[k], rows[k][0], adc{gain: 100})
	}
}

// The ABP channel of 03700181 was decoded once more by other means.
func TestWFDBPressureEqualsItsCopy(t *testing.T) {
	rec := read(t, folder(testdata.External(t, wfdbSamples+"/sample-data")), recording.Options{},
		recording.Request{File: "03700181.hea", Format: "wfdb", Channel: "ABP", SamplingHz: 125, Unit: "mmHg"})
	if rec.Unit != "mmHg" || rec.SamplingHz != 125 || len(rec.Inputs) != 2 {
		t.Fatalf("%s, %v Hz, %d inputs", rec.Unit, rec.SamplingHz, len(rec.Inputs))
	}
	text := read(t, folder(testdata.External(t, wfdbSamples)), recording.Options{},
		recording.Request{File: "03700181_abp_125hz.csv", Format: "csv", Channel: "abp_mmHg", SamplingHz: 125})
	for k, v := range text.Samples {
		if !(math.Abs(rec.Samples[k]-v) <= 0.005) {
			t.Fatalf("sample %d: %v, want %v", k, rec.Samples[k], v)
		}
	}
	if len(text.Samples) != 75000 || len(rec.Samples) != 75000 {
		t.Fatalf("%d samples in the copy", len(text.Samples))
	}
}

// Every plain record whose signal file is here must be read, so that its check
// sum and initial value fit.
func TestWFDBCheckSumsFit(t *testing.T) {
	dir := testdata.External(t, wfdbSamples+"/sample-data")
	headers, err := filepath.Glob(filepath.Join(dir, "*.hea"))
	if err != nil {
		t.Fatal(err)
	}
	readable := 0
	for _, h := range headers {
		r := recording.NewReader(folder(dir), anyRate)
		for channel := 1; channel <= 16; channel++ {
			_, err := r.Read(recording.Request{File: filepath.Base(h), Format: "wfdb", Channel: strconv.Itoa(channel)})
			switch code := issueCode(err); code {
			case "":
				readable++
			case "channel_missing", "file_missing": // its file is absent
			default:
				t.Errorf("%s, channel %d: %v", filepath.Base(h), channel, err)
			}
		}
	}
	if readable < 40 {
		t.Errorf("only %d signals were readable", readable)
	}
}

// Records of several segments. Some segment files of the variable records are
// not in the sample, so those are read through a master header written here
// that leaves out what is absent.
func TestWFDBSegmentsEqualTheCLibrary(t *testing.T) {
	dir := wfdbSamples + "/sample-data/multi-segment"
	rows := target(t, "record-multi-fixed-d.gz")
	for column, channel := range []int{4, 3, 2} { // printed as -s 3 2 1, counted from 0
		rec := readWFDB(t, dir+"/041s", "041s", channel)
		each := 4 * len(rec.Samples) / len(rows)
		scale := []adc{{gain: 20, baseline: -1600, missing: "-2048"}, {gain: 2000, missing: "-2048"}, {gain: 2000, missing: "-2048"}}[column]
		for k := range rows {
			compareRaw(t, k, rec.Samples[k*each/4], rows[k][column], scale)
		}
	}
	source := overlay{folder(testdata.External(t, dir+"/s00001")), files{"m.hea": []byte("m/6 4 125\n3975656_layout 0\n3975656_0012 4425\n3975656_0013 18075\n3975656_0014 7500\n3975656_0015 37500\n3975656_0016 22500\n")}}
	rows = target(t, "record-multi-variable-a") // samples 14428365 on: the first of segment 0012
	for column := range 4 {
		rec, err := recording.NewReader(source, anyRate).Read(recording.Request{File: "m.hea", Format: "wfdb", Channel: strconv.Itoa(column + 1)})
		if column == 2 { // MCL1 is in none of these segments
			if issueCode(err) != "no_samples" {
				t.Errorf("MCL1: %v", err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		for k := range rows {
			comparePhysical(t, k, rec.Samples[k], rows[k][column])
		}
	}
	source = overlay{folder(testdata.External(t, dir+"/p000878")), files{"m.hea": []byte("m/4 4 125 7500\n3269321_layout 0\n~ 3750\n3269321_0001 2000\n3269321_0002 1750\n")}}
	rows = target(t, "record-multi-variable-d") // samples 3550 to 7500, raw
	for column, scale := range []adc{{gain: 255, baseline: -128, missing: "-128"}, {gain: 127, baseline: -64, missing: "-128"}} {
		rec := read(t, source, anyRate, recording.Request{File: "m.hea", Format: "wfdb", Channel: strconv.Itoa(column + 1)})
		for k := range rows {
			compareRaw(t, k, rec.Samples[3550+k], rows[k][column], scale)
		}
	}
}

// overlay is a folder with some files of our own in front.
type overlay struct {
	below folder
	files
}

func (o overlay) ReadFile(name string, buf []byte, limit int64) ([]byte, string, error) {
	if _, own := o.files[name]; own {
		return o.files.ReadFile(name, buf, limit)
	}
	return o.below.ReadFile(name, buf, limit)
}

func (o overlay) Names(dir string) ([]string, error) { return o.below.Names(dir) }
