package recording_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
)

func TestParquetThroughTheCallersFunction(t *testing.T) {
	source := files{"w.parquet": []byte("PAR1")}
	q := recording.Request{File: "w.parquet", Format: "parquet", Channel: "p", SamplingHz: 100, Unit: "mmHg"}
	if i := refuse(t, source, recording.Options{}, q); i.Code != "format_not_supported" || i.Value != "parquet" {
		t.Errorf("without a function: %v", i)
	}
	var times, values []float64
	var failure error
	o := recording.Options{Parquet: func(data []byte, channel string) ([]float64, []float64, error) {
		if string(data) != "PAR1" || channel != "p" {
			t.Errorf("got %q, %q", data, channel)
		}
		return times, values, failure
	}}
	values = []float64{1, nan, 3}
	rec := read(t, source, o, q)
	same(t, "values", rec.Samples, values)
	if rec.SamplingHz != 100 || rec.Unit != "mmHg" {
		t.Errorf("%+v", rec)
	}
	times = []float64{0, 0.01, 0.03}
	rec = read(t, source, o, q)
	same(t, "with times", rec.Samples, []float64{1, nan, nan, 3})
	times[2] = 0.005
	if i := refuse(t, source, o, q); i.Code != "time_backwards" || i.Row != 3 {
		t.Error(i)
	}
	times = times[:2]
	if i := refuse(t, source, o, q); i.Code != "row_ragged" {
		t.Error(i)
	}
	times, values = nil, []float64{1, math.Inf(1)}
	if i := refuse(t, source, o, q); i.Code != "not_a_number" || i.Row != 2 {
		t.Error(i)
	}
	failure = fmt.Errorf("no such column")
	if i := refuse(t, source, o, q); i.Code != "read_failed" {
		t.Error(i)
	}
}

// A panic in a reader costs one recording: the next one is read as ever.
func TestPanicBecomesAnIssue(t *testing.T) {
	o := recording.Options{Parquet: func([]byte, string) ([]float64, []float64, error) { panic("corrupt page") }}
	r := recording.NewReader(files{"w.parquet": nil, "w.csv": []byte("pressure\n1\n2\n")}, o)
	_, err := r.Read(recording.Request{File: "w.parquet", Format: "parquet", SamplingHz: 100})
	if err == nil || !strings.Contains(err.Error(), "corrupt page") {
		t.Fatal(err)
	}
	rec, err := r.Read(csvRequest(100))
	if err != nil || len(rec.Samples) != 2 {
		t.Fatal(err)
	}
}
