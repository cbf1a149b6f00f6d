package recording_test

import (
	"math"
	"slices"
	"testing"

	"tonocohort/pipeline/recording"
)

// small bounds what a fuzzed file may claim.
var small = recording.Options{FileBytes: 1 << 20, TextBytes: 1 << 20, HeaderSize: 1 << 16, Samples: 1 << 16, LowestHz: 1e-6, HighestHz: 1e9}

// promise checks what holds for any bytes: no panic, samples within the limit
// that are numbers or gaps, a rate and a unit, an Issue otherwise, and the same
// again on a Reader that has read other things.
func promise(t *testing.T, source files, q recording.Request) { promiseBy(t, small, source, q) }

// promiseBy is promise where the study declares how texts are written.
func promiseBy(t *testing.T, small recording.Options, source files, q recording.Request) {
	t.Helper()
	r := recording.NewReader(source, small)
	if _, err := r.Contents(q.File, q.Format); issueCode(err) == recording.CodeReaderPanic {
		t.Error(err)
	}
	rec, err := r.Read(q)
	if err != nil {
		if refuse(t, source, small, q).Code != issueCode(err) {
			t.Errorf("another Issue the second time: %v", err)
		}
		return
	}
	if len(rec.Samples) == 0 || len(rec.Samples) > small.Samples || !(rec.SamplingHz > 0) || rec.Unit == "" || len(rec.Inputs) == 0 {
		t.Fatalf("%d samples, %v Hz, %q, %d inputs", len(rec.Samples), rec.SamplingHz, rec.Unit, len(rec.Inputs))
	}
	for i, v := range rec.Samples {
		if math.IsInf(v, 0) {
			t.Fatalf("sample %d is %v", i, v)
		}
	}
	first := slices.Clone(rec.Samples)
	rec, err = r.Read(q)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "second read", rec.Samples, first)
}

// seeds gives the files of the examples of one format, by name.
func seeds(f *testing.F, format string, add func(e example)) {
	for _, e := range examples(f) {
		if e.request.Format == format {
			add(e)
		}
	}
}

func FuzzCSV(f *testing.F) {
	seeds(f, "csv", func(e example) { // short ones: the fuzzer takes long over long ones
		data := e.files[e.request.File]
		if gzip := len(e.request.File) > 5; !gzip {
			f.Add(data[:150], gzip, e.request.SamplingHz)
		}
	})
	f.Add(zip(f, []byte("time_s,pressure\n0.0,1\n0.01,2.5\n0.03,-3\n")), true, 0.0)
	f.Add([]byte("a;pressure\r\n\"1,5\";2\r\n;-3e2\r\n"), false, 100.0)
	f.Fuzz(func(t *testing.T, data []byte, gzip bool, hz float64) {
		name := "w.csv"
		if gzip {
			name = "w.csv.gz"
		}
		if !(hz > 0 && hz < 1e6) {
			hz = 0
		}
		promise(t, files{name: data}, recording.Request{File: name, Format: "csv", SamplingHz: hz})
	})
}

// waveformForms makes any bits a form of text that waveforms: can declare.
func waveformForms(signs, forms uint8, headerLine, firstLine int8) recording.Options {
	o, pick := small, func(list ...string) string { return list[int(signs>>4)%len(list)] }
	o.Delimiter, o.Decimal = ",;\t| :"[signs%6], "."[0]
	if signs>>3&1 == 1 && o.Delimiter != ',' {
		o.Decimal = ','
	}
	o.Text = recording.Text{UTF16: forms&1 > 0, LoneCR: forms&2 > 0, JoinLines: forms&4 > 0,
		Thousands: pick("", "space", "comma", "point", "apostrophe"), Time: pick("", "t", "1"), TimeUnit: []float64{0, 1e-3, 1e-6, 60}[forms>>3&3],
		HeaderLine: max(1, int(headerLine))}
	if firstLine > 0 {
		o.Text.FirstLine = o.Text.HeaderLine + int(firstLine)
	}
	return o
}

// Whatever a study declares of the text of its waveforms, the promise holds. And
// what is read as it stands is read to the same samples where more is accepted:
// a setting that lets one file in must not change its neighbours.
func FuzzWaveformForms(f *testing.F) {
	f.Add([]byte("t;pressure\r0;\"1 000,5\"\r1;2\r"), uint8(1|8|16), uint8(2|8), int8(0), int8(0), 100.0)
	f.Add([]byte("made by hand\nt\tp\ns\tmmHg\n0\t\"1\n\"\n5\t2\n"), uint8(2), uint8(4|8), int8(2), int8(2), 0.0)
	f.Add([]byte("\xff\xfep\x00r\x00e\x00s\x00s\x00u\x00r\x00e\x00\n\x001\x00\n\x00"), uint8(0), uint8(1), int8(0), int8(0), 100.0)
	f.Add([]byte("pressure|note\n1'000|5\" cuff\n2'000|6\" cuff\n"), uint8(3|4<<4), uint8(4), int8(0), int8(0), 50.0)
	f.Fuzz(func(t *testing.T, data []byte, signs, forms uint8, headerLine, firstLine int8, hz float64) {
		if !(hz > 0 && hz < 1e6) {
			hz = 0
		}
		q := recording.Request{File: "w.csv", Format: "csv", SamplingHz: hz}
		o := waveformForms(signs, forms, headerLine, firstLine)
		promiseBy(t, o, files{"w.csv": data}, q)
		narrow := o
		narrow.Text.UTF16, narrow.Text.LoneCR, narrow.Text.JoinLines, narrow.Text.Thousands = false, false, false, ""
		before, err := recording.NewReader(files{"w.csv": data}, narrow).Read(q)
		if err != nil {
			return
		}
		after, err := recording.NewReader(files{"w.csv": data}, o).Read(q)
		if err != nil {
			t.Fatalf("%+v is read, %+v is not: %v", narrow.Text, o.Text, err)
		}
		same(t, "with more accepted", after.Samples, before.Samples)
		if after.SamplingHz != before.SamplingHz {
			t.Errorf("%v Hz, before %v", after.SamplingHz, before.SamplingHz)
		}
	})
}

func FuzzWFDB(f *testing.F) {
	seeds(f, "wfdb", func(e example) { f.Add(e.files["w.hea"], e.files["a.hea"], e.files["w.dat"], "") })
	s := segments("m/6 2 100 8\nl 0\n~ 2\na 2\nw 2\nc 1\nd 1\n")
	f.Add(s["m.hea"], s["a.hea"], s["a.dat"], "ART")
	f.Fuzz(func(t *testing.T, header, segment, data []byte, channel string) {
		source := segments("")
		source["w.hea"], source["a.hea"], source["w.dat"], source["a.dat"] = header, segment, data, data
		promise(t, source, recording.Request{File: "w.hea", Format: "wfdb", Channel: channel})
	})
}

func FuzzEDF(f *testing.F) {
	seeds(f, "edf", func(e example) { f.Add(e.files[e.request.File], "") })
	f.Fuzz(func(t *testing.T, data []byte, channel string) {
		promise(t, files{"w.edf": data}, recording.Request{File: "w.edf", Format: "edf", Channel: channel})
	})
}

func FuzzBIDS(f *testing.F) {
	f.Add([]byte("1\t0.5\n2\tn/a\n\t-3\n"), []byte(`{"SamplingFrequency": 50, "Columns": ["a", "b"], "b": {"Units": "mmHg"}}`), "b")
	f.Fuzz(func(t *testing.T, tsv, side []byte, channel string) {
		source := files{"s_physio.tsv.gz": zip(t, tsv), "s_physio.json": side}
		promise(t, source, recording.Request{File: "s_physio.tsv.gz", Format: "bids", Channel: channel})
	})
}

func FuzzFLAC(f *testing.F) {
	for name, header := range map[string]string{
		"three.d8": "r 3 100\nr.dat 508 2\nr.dat 508 2\nr.dat 508 2\n", "stereo.d16": "r 2 100 700\nr.dat 516 2\nr.dat 516 2\n",
		"noise.d16": "r 1 100\nr.dat 516x2 2\n", "smooth.d24": "r 1 100 600\nr.dat 524:1 2\n",
	} {
		f.Add([]byte(header), flacRecord(f, name, "")["r.dat"], "1")
	}
	f.Fuzz(func(t *testing.T, header, data []byte, channel string) {
		promise(t, files{"r.hea": header, "r.dat": data}, recording.Request{File: "r.hea", Format: "wfdb", Channel: channel})
	})
}
