package recording_test

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
)

// stamps writes a csv with times of so many decimals; skip leaves rows out.
func stamps(n int, hz float64, decimals int, skip func(int) bool) string {
	var b strings.Builder
	b.WriteString("time_s,pressure\n")
	for i := range n {
		if skip == nil || !skip(i) {
			fmt.Fprintf(&b, "%.*f,%d\n", decimals, 3+float64(i)/hz, i%100)
		}
	}
	return b.String()
}

func TestRateFromTimes(t *testing.T) {
	for _, c := range []struct {
		hz       float64
		decimals int
	}{{256, 5}, {256, 3}, {128, 3}, {1000, 3}, {100, 2}, {62.5, 6}, {999.56, 6}, {500, 4}, {333, 5}, {256, 12}} {
		text := stamps(10240, c.hz, c.decimals, nil)
		rec := read(t, files{"w.csv": []byte(text)}, recording.Options{}, csvRequest(0))
		if rec.SamplingHz != c.hz || len(rec.Samples) != 10240 {
			t.Errorf("%g Hz with %d decimals: %v Hz", c.hz, c.decimals, rec.SamplingHz)
		}
		rec = read(t, files{"w.csv": []byte(text)}, recording.Options{}, csvRequest(c.hz))
		if rec.SamplingHz != c.hz || len(rec.Notes) != 0 {
			t.Errorf("%g Hz declared: %v Hz, %v", c.hz, rec.SamplingHz, rec.Notes)
		}
	}
	rec := read(t, files{"w.csv": []byte(stamps(10240, 256, 5, nil))}, recording.Options{}, csvRequest(256.5))
	if rec.SamplingHz != 256 || !reflect.DeepEqual(noteCodes(rec), []string{"sampling_differs"}) {
		t.Errorf("declared 256.5: %v Hz, %v", rec.SamplingHz, rec.Notes)
	}
}

func TestJumpsOfTimeBecomeGaps(t *testing.T) {
	skip := func(i int) bool { return i == 100 || i >= 2000 && i < 2300 || i == 4000 }
	for _, declared := range []float64{0, 256} {
		for _, decimals := range []int{3, 5} {
			rec := read(t, files{"w.csv": []byte(stamps(5000, 256, decimals, skip))}, recording.Options{}, csvRequest(declared))
			if rec.SamplingHz != 256 || !reflect.DeepEqual(noteCodes(rec), []string{"time_gaps"}) {
				t.Fatalf("%v Hz, %v", rec.SamplingHz, rec.Notes)
			}
			want := make([]float64, 5000)
			for i := range want {
				want[i] = float64(i % 100)
				if skip(i) {
					want[i] = nan
				}
			}
			same(t, "gaps", rec.Samples, want)
		}
	}
}
