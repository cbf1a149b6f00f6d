package pipeline_test

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/simulate"
	"tonocohort/schema"
)

// gridWave is a simulated wave of which every format can hold each sample
// exactly: whole eighths between -256 and 256.
func gridWave(seed string, seconds int) []float64 {
	samples, _ := simulate.Recording(seed, float64(seconds), 128)
	low, high := samples[0], samples[0]
	for _, v := range samples {
		low, high = min(low, v), max(high, v)
	}
	for i, v := range samples {
		samples[i] = math.Round(((v-low)/(high-low)*160+20)*8) / 8
	}
	return samples[:len(samples)/128*128]
}

func csvText(samples []float64, timed bool, delimiter, point string) string {
	var b strings.Builder
	b.WriteString(map[bool]string{true: "time_s" + delimiter + "pressure\n", false: "pressure\n"}[timed])
	for i, v := range samples {
		if timed {
			b.WriteString(strings.ReplaceAll(fmt.Sprintf("%.7f", float64(i)/128), ".", point) + delimiter)
		}
		b.WriteString(strings.ReplaceAll(fmt.Sprintf("%.3f", v), ".", point) + "\n")
	}
	return b.String()
}

func zipped(t testing.TB, text string) string {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := w.Write([]byte(text)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// edfText writes EDF (edfplus.info/specs/edf.html) or BDF with records of one
// second; words stand in every field of free text.
func edfText(samples []float64, bdf bool, words string) string {
	var b bytes.Buffer
	pad := func(text string, n int) { b.WriteString((text + strings.Repeat(" ", n))[:n]) }
	version, width := "0", 2
	if bdf {
		version, width = "\xffBIOSEMI", 3
	}
	pad(version, 8)
	pad("X F 01-JAN-1969 "+words, 80)
	pad("Startdate 02-FEB-2019 "+words, 80)
	pad("02.02.19", 8)
	pad("10.11.12", 8)
	pad("512", 8)
	pad(words, 44)
	pad(fmt.Sprint(len(samples)/128), 8)
	pad("1", 8)
	pad("1", 4)
	pad("ART", 16)
	pad(words, 80)
	pad("mmHg", 8)
	pad("-256", 8)
	pad("256", 8)
	pad("-2048", 8)
	pad("2048", 8)
	pad(words, 80)
	pad("128", 8)
	pad(words, 32)
	for _, v := range samples {
		for k := range width {
			b.WriteByte(byte(int(v*8) >> (8 * k)))
		}
	}
	return b.String()
}

// wfdbText writes a header of name and its signal file in format 16.
func wfdbText(samples []float64, name, words string) (header, data string) {
	var b []byte
	sum := uint16(0)
	for _, v := range samples {
		b = binary.LittleEndian.AppendUint16(b, uint16(int16(v*8)))
		sum += uint16(int16(v * 8))
	}
	header = fmt.Sprintf("%s 1 128 %d 10:11:12 02/02/2019\n%s.dat 16 8(0)/mmHg 12 0 %d %d 0 ART\n# %s\n", name, len(samples), name, int(samples[0]*8), int16(sum), words)
	return header, string(b)
}

// parquetText writes a table of the given columns: numbers, or texts.
func parquetText(t testing.TB, columns []schema.Column, cells ...any) string {
	t.Helper()
	var b bytes.Buffer
	f := schema.NewFrame(schema.Table{Name: "w", Columns: columns}, 0)
	for i, c := range cells {
		switch c := c.(type) {
		case []float64:
			f.Cols[i].Num, f.N = c, len(c)
		case []string:
			f.Cols[i].Text, f.N = c, len(c)
		case [][]float32:
			f.Cols[i].Wave, f.N = c, len(c)
		}
	}
	w := parquet.NewWriter(&b, f.Table, nil)
	if err := w.Append(f); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func single(samples []float64) []float32 {
	out := make([]float32, len(samples))
	for i, v := range samples {
		out[i] = float32(v)
	}
	return out
}

// One wave in every format, through the whole pipeline: the same values to the
// last digit.
func TestOneWaveInEveryFormat(t *testing.T) {
	samples := gridWave("format", 20)
	f := newForeign(t, "")
	add := func(id, file, format, channel, hz string) {
		f.person(id, "female", "50", "128", "78")
		f.recording(id, file, format, channel, hz, "", "radial")
	}
	files := map[string]string{
		"w.csv": csvText(samples, false, ",", "."), "time.csv": csvText(samples, true, ",", "."),
		"w.csv.gz": zipped(t, csvText(samples, true, ",", ".")),
		"w.edf":    edfText(samples, false, "x"), "w.bdf": edfText(samples, true, "x"),
		"bids/sub-1/sub-1_physio.tsv.gz": zipped(t, strings.TrimPrefix(csvText(samples, false, "", "."), "pressure\n")),
		"bids/task-rest_physio.json":     `{"SamplingFrequency": 1}`,
		"bids/physio.json":               `{"SamplingFrequency": 128, "Columns": ["artery"], "artery": {"Units": "mmHg"}}`,
	}
	files["w.hea"], files["w.dat"] = wfdbText(samples, "w", "x")
	number := schema.Column{Name: "pressure", Kind: schema.Number}
	times := make([]float64, len(samples))
	for i := range times {
		times[i] = float64(i) / 128
	}
	files["long.parquet"] = parquetText(t, []schema.Column{{Name: "time_s", Kind: schema.Number}, number}, times, samples)
	files["list.parquet"] = parquetText(t, []schema.Column{{Name: "wave", Kind: schema.Wave}}, [][]float32{single(samples)})
	ids := make([]string, len(samples), 2*len(samples))
	for i := range ids {
		ids[i] = "other"
		ids = append(ids, "R-P-all")
	}
	files["all.parquet"] = parquetText(t, []schema.Column{{Name: "recording_id", Kind: schema.Text}, number}, ids, append(make([]float64, len(samples)), samples...))
	for name, text := range files {
		f.write(name, text)
	}
	add("P-csv", "w.csv", "csv", "", "128")
	add("P-time", "time.csv", "csv", "pressure", "")
	add("P-gz", "w.csv.gz", "csv", "2", "")
	add("P-edf", "w.edf", "edf", "ART", "128")
	add("P-bdf", "w.bdf", "edf", "", "")
	add("P-wfdb", "w.hea", "wfdb", "ART", "")
	add("P-bids", "bids/sub-1/sub-1_physio.tsv.gz", "bids", "artery", "")
	add("P-long", "long.parquet", "parquet", "", "")
	add("P-list", "list.parquet", "parquet", "wave", "128")
	add("P-all", "all.parquet", "parquet", "", "128")
	recordings, outcome := f.run()
	for row := range recordings.N {
		id := recordings.TextAt(row, "recording_id")
		if recordings.TextAt(row, "status") != "used" {
			t.Errorf("%s: %s %s", id, recordings.TextAt(row, "status"), recordings.TextAt(row, "reason"))
		}
		for _, c := range schema.ValueColumns() {
			if a, b := recordings.Number(row, c.Name), recordings.Number(0, c.Name); a != b && !(math.IsNaN(a) && math.IsNaN(b)) {
				t.Errorf("%s: %s is %v, elsewhere %v", id, c.Name, a, b)
			}
		}
	}
	if recordings.N != 10 {
		t.Errorf("%d recordings: %v", recordings.N, outcome.Issues)
	}
}

// What the study declares of its csv waveforms holds for all of them.
func TestDeclaredDelimiterAndDecimalSign(t *testing.T) {
	samples := gridWave("format", 20)
	for settings, text := range map[string]string{
		"waveforms: {delimiter: semicolon, decimal: comma}": csvText(samples, true, ";", ","),
		"waveforms: {delimiter: tab}":                       csvText(samples, true, "\t", "."),
		"waveforms: {delimiter: \"|\", decimal: comma}":     csvText(samples, true, "|", ","),
		"waveforms: {delimiter: space}":                     csvText(samples, true, " ", "."),
	} {
		for declared, status := range map[string]string{settings + "\n": "used", "": "failed"} {
			f := newForeign(t, declared)
			f.write("w.csv", text)
			f.person("A", "female", "50", "128", "78")
			f.recording("A", "w.csv", "csv", "", "", "", "radial")
			recordings, outcome := f.run()
			if got := recordings.TextAt(0, "status"); got != status {
				t.Errorf("%s: %s, %v", declared, got, outcome.Issues)
			}
		}
	}
}

// A rate or a unit of the table that the file does not bear out leaves the
// recording out, and its neighbours stay.
func TestRateAndUnitMustAgree(t *testing.T) {
	samples := gridWave("format", 20)
	f := newForeign(t, "")
	f.write("w.edf", edfText(samples, false, "x"))
	f.write("w.csv", csvText(samples, true, ",", "."))
	kPa := strings.Replace(edfText(samples, false, "x"), "mmHg    ", "kPa     ", 1)
	f.write("kpa.edf", kPa)
	for id, row := range map[string][]string{
		"A": {"w.edf", "edf", "128", "mmHg", ""}, "B": {"w.edf", "edf", "256", "", "sampling_mismatch"}, "C": {"w.csv", "csv", "100", "", "sampling_mismatch"},
		"D": {"kpa.edf", "edf", "", "mmHg", "unit_mismatch"}, "E": {"kpa.edf", "edf", "", "au", ""},
	} {
		f.person(id, "female", "50", "128", "78")
		f.recording(id, row[0], row[1], "", row[2], row[3], "radial")
	}
	recordings, _ := f.run()
	want := map[string]string{"R-A": "", "R-B": "sampling_mismatch", "R-C": "sampling_mismatch", "R-D": "unit_mismatch", "R-E": ""}
	for row := range recordings.N {
		if id := recordings.TextAt(row, "recording_id"); recordings.TextAt(row, "reason") != want[id] {
			t.Errorf("%s: %s", id, recordings.TextAt(row, "reason"))
		}
	}
}
