package recording_test

import (
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
)

// segments is a record of three segments, in a fixed or a variable layout.
func segments(master string) files {
	return files{
		"m.hea":  []byte(master),
		"l.hea":  []byte("l 2 100 0\n~ 0 1/mV 8 0 0 0 0 ECG\n~ 0 2/mmHg 8 0 0 0 0 ART\n"),
		"a.hea":  []byte("a 2 100 2\na.dat 80 1/mV 8 0 1 4 0 ECG\na.dat 80 2/mmHg 8 0 2 6 0 ART\n"),
		"a.dat":  pack(80, []int{1, 2, 3, 4}),
		"b.hea":  []byte("b 1 100 2\nb.dat 80 4/mmHg 8 0 8 20 0 ART\n"),
		"b.dat":  pack(80, []int{8, 12}),
		"c.hea":  []byte("c 1 100 1\nc.dat 80 1/mV 8 0 9 9 0 ECG\n"),
		"c.dat":  pack(80, []int{9}),
		"d.hea":  []byte("d 2 100 1\nd.dat 80 1/mV 8 0 5 5 0 ECG\nd.dat 80 2/mmHg 8 0 -128 -128 0 ART\n"),
		"d.dat":  pack(80, []int{5, -128}),
		"f.hea":  []byte("f 2 50 1\na.dat 80 1/mV 8 0 1 1 0 ECG\na.dat 80 2/mmHg 8 0 2 2 0 ART\n"),
		"u.hea":  []byte("u 2 100 1\na.dat 80 1/mV 8 0 1 1 0 ECG\na.dat 80 2/kPa 8 0 2 2 0 ART\n"),
		"m2.hea": []byte("m2/1 2 100 2\na 2\n"),
	}
}

func TestWFDBSegments(t *testing.T) {
	q := recording.Request{File: "m.hea", Format: "wfdb", Channel: "ART", Unit: "mmHg"}
	variable := read(t, segments("m/6 2 100 8\nl 0\n~ 2\na 2\nb 2\nc 1\nd 1\n"), recording.Options{}, q)
	same(t, "variable", variable.Samples, []float64{nan, nan, 1, 2, 2, 3, nan, nan})
	fixed := read(t, segments("m/3 2 100 4\na 2\n~ 1\nd 1\n"), recording.Options{}, q)
	same(t, "fixed", fixed.Samples, []float64{1, 2, nan, nan})
	if fixed.SamplingHz != 100 || fixed.Unit != "mmHg" {
		t.Errorf("%+v", fixed)
	}
	var read []string
	for _, in := range variable.Inputs {
		read = append(read, in.Path)
	}
	// The file of c, which has no ART, is not opened.
	if want := "m.hea l.hea a.hea a.dat b.hea b.dat c.hea d.hea d.dat"; strings.Join(read, " ") != want {
		t.Errorf("inputs %v", read)
	}
	for name, c := range map[string]struct{ master, code string }{
		"another length in all":     {"m/2 2 100 5\na 2\nd 1\n", "wfdb_segment"},
		"another length of one":     {"m/2 2 100 4\na 3\nd 1\n", "wfdb_segment"},
		"an empty segment":          {"m/2 2 100 2\na 2\nd 0\n", "wfdb_segment"},
		"another rate":              {"m/2 2 100 3\na 2\nf 1\n", "wfdb_segment"},
		"another unit":              {"m/2 2 100 3\na 2\nu 1\n", "wfdb_segment"},
		"other signals when fixed":  {"m/2 2 100 4\na 2\nb 2\n", "wfdb_segment"},
		"segments within a segment": {"m/2 2 100 4\na 2\nm2 2\n", "wfdb_segment"},
		"a segment missing":         {"m/2 2 100 4\na 2\nz 2\n", "file_missing"},
		"far too long":              {"m/2 2 100\na 2\n~ 8796093022207\n", "too_many_samples"},
	} {
		if i := refuse(t, segments(c.master), recording.Options{}, q); i.Code != c.code {
			t.Errorf("%s: %v, want %s", name, i, c.code)
		}
	}
	// A small header may not make the reader read a large file again and again.
	many := "m/1000 2 100\n" + strings.Repeat("a 2\n", 1000)
	if i := refuse(t, segments(many), recording.Options{FileBytes: 10_000}, q); i.Code != "read_failed" {
		t.Errorf("the limit holds for all files together: %v", i)
	}
}
