package recording_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
	"tonocohort/schema"
)

// sheet is a file of columns in memory: numbers, lists or texts by name.
type sheet struct {
	names   []string
	numbers map[string][]float64
	ends    map[string][]int
	texts   map[string][]string
	failure error
	reads   int
}

func (s *sheet) Columns([]byte) ([]schema.Column, error) {
	if s.failure != nil {
		return nil, s.failure
	}
	var columns []schema.Column
	for _, name := range s.names {
		kind := schema.Number
		switch {
		case s.texts[name] != nil:
			kind = schema.Text
		case s.ends[name] != nil:
			kind = schema.Wave
		case s.numbers[name] == nil:
			kind = ""
		}
		columns = append(columns, schema.Column{Name: name, Kind: kind})
	}
	return columns, nil
}

func (s *sheet) Series(_ []byte, column string, most int) ([]float64, []int, error) {
	s.reads++
	if len(s.numbers[column]) > most {
		return nil, nil, fmt.Errorf("more than %d", most)
	}
	return s.numbers[column], s.ends[column], nil
}

func (s *sheet) Texts(_ []byte, column string) ([]string, error) { return s.texts[column], nil }

func readSheet(t *testing.T, s *sheet, q recording.Request) recording.Recording {
	t.Helper()
	return read(t, files{"w.parquet": []byte("PAR1")}, recording.Options{Parquet: s}, q)
}

func refuseSheet(t *testing.T, s *sheet, q recording.Request) *schema.Issue {
	t.Helper()
	return refuse(t, files{"w.parquet": []byte("PAR1")}, recording.Options{Parquet: s}, q)
}

func sheetRequest(channel string, hz float64) recording.Request {
	return recording.Request{File: "w.parquet", Format: "parquet", Channel: channel, SamplingHz: hz, RecordingID: "R2"}
}

func TestParquetLong(t *testing.T) {
	if i := refuse(t, files{"w.parquet": nil}, recording.Options{}, sheetRequest("", 100)); i.Code != "format_not_supported" || i.Value != "parquet" {
		t.Errorf("without a reader of columns: %v", i)
	}
	s := &sheet{names: []string{"id", "time_s", "pressure", "odd"}, numbers: map[string][]float64{"pressure": {1, nan, 3}, "time_s": {0, 0.01, 0.03}},
		texts: map[string][]string{"id": {"a", "b", "c"}}}
	rec := readSheet(t, s, sheetRequest("", 100))
	same(t, "with times", rec.Samples, []float64{1, nan, nan, 3})
	if rec.SamplingHz != 100 || rec.Unit != "au" {
		t.Errorf("%+v", rec)
	}
	for channel, code := range map[string]string{"id": "channel_not_signal", "time_s": "channel_not_signal", "2": "channel_not_signal", "odd": "channel_not_signal", "presure": "channel_missing"} {
		if i := refuseSheet(t, s, sheetRequest(channel, 100)); i.Code != code {
			t.Errorf("channel %s: %v", channel, i)
		}
	}
	s.numbers["time_s"][2] = 0.005
	if i := refuseSheet(t, s, sheetRequest("3", 100)); i.Code != "time_backwards" || i.Row != 3 {
		t.Error(i)
	}
	s.names = []string{"pressure"}
	if rec = readSheet(t, s, sheetRequest("pressure", 250)); rec.SamplingHz != 250 {
		t.Errorf("declared rate: %+v", rec)
	}
	if i := refuseSheet(t, s, sheetRequest("", 0)); i.Code != "sampling_missing" {
		t.Error(i)
	}
	s.numbers["pressure"][1] = math.Inf(1)
	if i := refuseSheet(t, s, sheetRequest("", 100)); i.Code != "not_a_number" || i.Row != 2 {
		t.Error(i)
	}
	s.failure = fmt.Errorf("damaged footer")
	if i := refuseSheet(t, s, sheetRequest("", 100)); i.Code != "read_failed" {
		t.Error(i)
	}
}

func TestParquetLists(t *testing.T) {
	s := &sheet{names: []string{"pressure"}, numbers: map[string][]float64{"pressure": {1, 2, 3, 4, 5}}, ends: map[string][]int{"pressure": {5}}}
	same(t, "one list", readSheet(t, s, sheetRequest("", 50)).Samples, []float64{1, 2, 3, 4, 5})
	s.ends["pressure"] = []int{2, 5}
	if i := refuseSheet(t, s, sheetRequest("", 50)); i.Code != "several_recordings" || i.Name != "pressure" {
		t.Error(i)
	}
	s.names, s.texts = []string{"recording_id", "pressure", "sampling_hz"}, map[string][]string{"recording_id": {"R1", "R2"}}
	s.numbers["sampling_hz"] = []float64{200, 125}
	rec := readSheet(t, s, sheetRequest("", 0))
	same(t, "of R2", rec.Samples, []float64{3, 4, 5})
	if rec.SamplingHz != 125 {
		t.Errorf("rate beside the list: %v", rec.SamplingHz)
	}
	if i := refuseSheet(t, s, sheetRequest("", 200)); i.Code != "sampling_mismatch" {
		t.Error(i)
	}
	q := sheetRequest("", 0)
	q.RecordingID = "R3"
	if i := refuseSheet(t, s, q); i.Code != "recording_not_in_file" {
		t.Error(i)
	}
	s.names = append(s.names, "time_s")
	s.numbers["time_s"], s.ends["time_s"] = []float64{0, 1, 0, 0.02, 0.04}, []int{2, 5}
	if rec := readSheet(t, s, sheetRequest("", 0)); rec.SamplingHz != 50 {
		t.Errorf("rate of the times: %v", rec.SamplingHz)
	}
	s.ends["time_s"] = []int{3, 5}
	if i := refuseSheet(t, s, sheetRequest("", 0)); i.Code != "row_ragged" {
		t.Error(i)
	}
}

// A long file of many recordings is decoded once by a reader.
func TestParquetOfManyRecordings(t *testing.T) {
	s := &sheet{names: []string{"recording_id", "pressure"}, numbers: map[string][]float64{}, texts: map[string][]string{}}
	for row := range 300 {
		s.numbers["pressure"] = append(s.numbers["pressure"], float64(row))
		s.texts["recording_id"] = append(s.texts["recording_id"], fmt.Sprint("R", row%3))
	}
	r := recording.NewReader(files{"w.parquet": []byte("PAR1")}, recording.Options{Parquet: s})
	for k := range 3 {
		q := sheetRequest("", 100)
		q.RecordingID = fmt.Sprint("R", k)
		rec, err := r.Read(q)
		if err != nil || len(rec.Samples) != 100 || rec.Samples[7] != float64(21+k) {
			t.Fatalf("%s: %d samples, %v", q.RecordingID, len(rec.Samples), err)
		}
	}
	if s.reads != 1 {
		t.Errorf("decoded %d times", s.reads)
	}
}

// corrupt stands for a library that panics: with an index out of range, or with
// words of the file.
type corrupt struct {
	sheet
	words string
}

func (c *corrupt) Columns([]byte) ([]schema.Column, error) {
	if c.words != "" {
		panic(c.words)
	}
	return make([]schema.Column, len(c.names))[:len(c.names)+1], nil
}

// A panic in a reader costs one recording: the next one is read as ever. Words
// that the panic may have from the file are not passed on.
func TestPanicBecomesAnIssue(t *testing.T) {
	for words, shown := range map[string]string{"": "slice bounds out of range", "Anna Canary": "the reader failed"} {
		r := recording.NewReader(files{"w.parquet": nil, "w.csv": []byte("pressure\n1\n2\n")}, recording.Options{Parquet: &corrupt{words: words}})
		_, err := r.Read(sheetRequest("", 100))
		if issueCode(err) != recording.CodeReaderPanic || !strings.Contains(err.Error(), shown) || strings.Contains(err.Error(), "Anna") {
			t.Error(err)
		}
		if _, err := r.Contents("w.parquet", "parquet"); issueCode(err) != recording.CodeReaderPanic {
			t.Error(err)
		}
		rec, err := r.Read(csvRequest(100))
		if err != nil || len(rec.Samples) != 2 {
			t.Error(err)
		}
	}
}

func TestContents(t *testing.T) {
	s := &sheet{names: []string{"recording_id", "time_s", "pressure", "ecg"}, numbers: map[string][]float64{"pressure": {1}, "ecg": {1}, "time_s": {0}},
		texts: map[string][]string{"recording_id": {"R1"}}}
	all := examples(t)
	for name, want := range map[string]string{
		"csv":            "[{pressure 1 0 au}] false [w.csv]",
		"csv with time":  "[{pressure 2 0 au}] true [w.csv]",
		"wfdb 16":        "[{ART 1 128 mmHg}] false [w.hea w.dat]",
		"wfdb, segments": "[{ART 1 128 mmHg}] false [w.hea a.hea w.dat]",
		"edf":            "[{ART radial 1 128 mmHg}] false [w.edf]",
		"bids":           "[{cardiac 1 128 mmHg}] false [w_physio.tsv.gz w_physio.json]",
		"parquet":        "[{pressure 3 0 au} {ecg 4 0 au}] true [w.parquet]",
	} {
		e, ok := all[name]
		if !ok {
			e = example{files: files{"w.parquet": nil}, request: sheetRequest("", 0)}
		}
		c, err := recording.NewReader(e.files, recording.Options{Parquet: s}).Contents(e.request.File, e.request.Format)
		if got := fmt.Sprint(c.Channels, " ", c.Timed, " ", c.Files); err != nil || got != want {
			t.Errorf("%s: %s, want %s (%v)", name, got, want, err)
		}
	}
	r := recording.NewReader(files{"w.edf": []byte("<html>")}, recording.Options{})
	if _, err := r.Contents("w.edf", "edf"); issueCode(err) != "edf_version" {
		t.Errorf("a page saved as EDF: %v", err)
	}
}
