package recording_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
)

// unhashed gives one study's files without hashing or copying them, so that a
// benchmark shows the readers alone.
type unhashed struct{ files }

func (u unhashed) ReadFile(name string, _ []byte, _ int64) ([]byte, string, error) {
	data, ok := u.files[name]
	if !ok {
		return nil, "", missing(name)
	}
	return data, "", nil
}

// BenchmarkRead reads 40 s at 256 Hz, a pulse wave with noise, by format.
func BenchmarkRead(b *testing.B) {
	var one, two strings.Builder
	one.WriteString("pressure\n")
	two.WriteString("time_s,pressure\n")
	raw := make([]int, 10240)
	for i := range raw {
		v := math.Round(1000*(80+45*math.Sin(float64(i)/40)+0.3*math.Sin(float64(i*i)))) / 1000
		raw[i] = int(math.Round(v * 16))
		fmt.Fprintf(&one, "%.3f\n", v)
		fmt.Fprintf(&two, "%.5f,%.3f\n", float64(i)/256, v)
	}
	wfdb := func(format int) files {
		return files{"w.hea": fmt.Appendf(nil, "w 1 256 10240\nw.dat %d 16(0)/mmHg 12 0 %d %d 0 ART\n", format, raw[0], sumOf(raw)), "w.dat": pack(format, raw)}
	}
	edf := plainEDF()
	edf.body, edf.records, edf.duration = raw[:10200], "102", "0.390625"
	for _, c := range []struct {
		name string
		f    files
		q    recording.Request
	}{
		{"csv/two columns", files{"w.csv": []byte(two.String())}, recording.Request{File: "w.csv", Format: "csv", SamplingHz: 256}},
		{"csv/two columns, rate not declared", files{"w.csv": []byte(two.String())}, recording.Request{File: "w.csv", Format: "csv"}},
		{"csv/one column", files{"w.csv": []byte(one.String())}, recording.Request{File: "w.csv", Format: "csv", SamplingHz: 256}},
		{"csv/gzip", files{"w.csv.gz": zip(b, []byte(two.String()))}, recording.Request{File: "w.csv.gz", Format: "csv", SamplingHz: 256}},
		{"wfdb/16", wfdb(16), recording.Request{File: "w.hea", Format: "wfdb"}},
		{"wfdb/212", wfdb(212), recording.Request{File: "w.hea", Format: "wfdb"}},
		{"edf", files{"w.edf": edf.bytes()}, recording.Request{File: "w.edf", Format: "edf"}},
	} {
		b.Run(c.name, func(b *testing.B) {
			r := recording.NewReader(unhashed{c.f}, recording.Options{})
			size := 0
			for _, data := range c.f {
				size += len(data)
			}
			b.SetBytes(int64(size))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := r.Read(c.q); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
