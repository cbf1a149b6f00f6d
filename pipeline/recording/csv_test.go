package recording_test

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
)

var nan = math.NaN()

// zip packs as the standard library does, which is not the reader's unpacker.
func zip(t testing.TB, data []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	w.Write(data)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func csvRequest(hz float64) recording.Request {
	return recording.Request{File: "w.csv", Format: "csv", SamplingHz: hz}
}

func TestCSVForms(t *testing.T) {
	for name, c := range map[string]struct {
		text    string
		q       recording.Request
		o       recording.Options
		samples []float64
		hz      float64
		notes   []string
	}{
		"pressure alone": {"pressure\n1\n-2.5\n0.001\n", csvRequest(100), recording.Options{}, []float64{1, -2.5, 0.001}, 100, nil},
		"with time":      {"time_s,pressure\n0,1\n0.01,2\n0.02,3\n", csvRequest(0), recording.Options{}, []float64{1, 2, 3}, 100, nil},
		"time after":     {"pressure,time_s\n1,5.00\n2,5.01\n", csvRequest(100), recording.Options{}, []float64{1, 2}, 100, nil},
		"gaps":           {"pressure\n1\n\n3\n\"\"\n5\n\n\n", csvRequest(100), recording.Options{}, []float64{1, nan, 3, nan, 5}, 100, nil},
		"gap with time":  {"time_s,pressure\n0,1\n0.01,\n0.02,3\n", csvRequest(0), recording.Options{}, []float64{1, nan, 3}, 100, nil},
		"blanks, quotes": {"\"pressure\" \n 1\n\t2 \n\"3.5\"\n+4\n5.\n.5\n1e2\n-0\n", csvRequest(100), recording.Options{},
			[]float64{1, 2, 3.5, 4, 5, .5, 100, math.Copysign(0, -1)}, 100, nil},
		"other columns": {"a,pressure,b\nx,1,\"y, z\"\n,2,\nw,3,é\n", csvRequest(100), recording.Options{}, []float64{1, 2, 3}, 100, []string{"columns_ignored"}},
		"channel by name": {"time_s,left,right\n0,1,9\n0.01,2,8\n", recording.Request{File: "w.csv", Format: "csv", Channel: "right"}, recording.Options{},
			[]float64{9, 8}, 100, []string{"columns_ignored"}},
		"channel by position": {"time_s,left,right\n0,1,9\n0.01,2,8\n", recording.Request{File: "w.csv", Format: "csv", Channel: "2"}, recording.Options{},
			[]float64{1, 2}, 100, []string{"columns_ignored"}},
		"windows line ends": {"time_s,pressure\r\n0,1\r\n0.01,2\r\n", csvRequest(0), recording.Options{}, []float64{1, 2}, 100, []string{"windows_line_ends"}},
		"byte order mark":   {"\ufeffpressure\n1\n2\n", csvRequest(100), recording.Options{}, []float64{1, 2}, 100, []string{"byte_order_mark"}},
		"no final newline":  {"pressure\n1\n2", csvRequest(100), recording.Options{}, []float64{1, 2}, 100, []string{"no_final_newline"}},
		"declared form":     {"time_s;pressure\n0,00;1,5\n0,01;-2,25\n", csvRequest(0), recording.Options{Delimiter: ';', Decimal: ','}, []float64{1.5, -2.25}, 100, nil},
		"many digits":       {"pressure\n0.1234567890123456789\n12345678901234567890\n1.7976931348623157e308\n5e-324\n", csvRequest(100), recording.Options{}, []float64{0.1234567890123456789, 12345678901234567890, 1.7976931348623157e308, 5e-324}, 100, nil},
	} {
		rec := read(t, files{"w.csv": []byte(c.text)}, c.o, c.q)
		same(t, name, rec.Samples, c.samples)
		if rec.SamplingHz != c.hz || rec.Unit != "au" || !reflect.DeepEqual(noteCodes(rec), append([]string{}, c.notes...)) {
			t.Errorf("%s: %v Hz, %s, notes %v, want %v", name, rec.SamplingHz, rec.Unit, rec.Notes, c.notes)
		}
		q := c.q
		q.File = "w.csv.gz"
		packed := read(t, files{"w.csv.gz": zip(t, []byte(c.text))}, c.o, q)
		same(t, name+", gzip", packed.Samples, c.samples)
	}
}

// Each defect has its own code and is shown where an editor shows it.
func TestCSVDefects(t *testing.T) {
	long := strings.Repeat("1\n", 1000)
	for name, c := range map[string]struct {
		text  string
		q     recording.Request
		o     recording.Options
		code  string
		place string // row:column value
	}{
		"empty file":         {"", csvRequest(100), recording.Options{}, "no_samples", "0:0 "},
		"header alone":       {"pressure\n", csvRequest(100), recording.Options{}, "no_samples", "0:0 "},
		"gaps alone":         {"pressure,time_s\n,0\n,0.01\n", csvRequest(100), recording.Options{}, "no_samples", "0:0 "},
		"no rate":            {"pressure\n1\n", csvRequest(0), recording.Options{}, "sampling_missing", "0:0 "},
		"wrong rate":         {stamps(100, 100, 2, nil), csvRequest(128), recording.Options{}, "sampling_mismatch", "0:0 "},
		"milliseconds":       {"time_s,pressure\n0,1\n10,2\n20,3\n", csvRequest(0), recording.Options{}, "sampling_implausible", "0:0 "},
		"utf16 little":       {"\xff\xfep\x00r\x00", csvRequest(100), recording.Options{}, "utf16", "0:0 "},
		"utf16 big":          {"\xfe\xff\x00p", csvRequest(100), recording.Options{}, "utf16", "0:0 "},
		"utf16 without mark": {"p\x00r\x00e\x00", csvRequest(100), recording.Options{}, "utf16", "0:0 "},
		"binary":             {"PK\x03\x04\x00\n1\n", csvRequest(100), recording.Options{}, "not_text", "0:0 "},
		"no line at all":     {strings.Repeat("x", 70000), csvRequest(100), recording.Options{}, "not_text", "0:0 "},
		"lone CR":            {"pressure\r1\r2\r", csvRequest(100), recording.Options{}, "lone_carriage_return", "0:0 "},
		"lone CR in header":  {"time_s\r,pressure\n1,2\n", csvRequest(100), recording.Options{}, "lone_carriage_return", "0:0 "},
		"lone CR below":      {"pressure\n1\n2\r3\n", csvRequest(100), recording.Options{}, "lone_carriage_return", "3:1 "},
		"no header":          {"72.5\n73\n", csvRequest(100), recording.Options{}, "header_missing", "1:1 72.5"},
		"no pressure":        {"time_s,p_raw\n0,1\n", csvRequest(100), recording.Options{}, "column_missing", "1:0 "},
		"misspelt":           {"time_s,Presure\n0,1\n", csvRequest(100), recording.Options{}, "column_missing", "1:0 "},
		"no such channel":    {"a,b\n0,1\n", recording.Request{File: "w.csv", Format: "csv", Channel: "3", SamplingHz: 100}, recording.Options{}, "channel_missing", "0:0 3"},
		"time as channel":    {"time_s,b\n0,1\n", recording.Request{File: "w.csv", Format: "csv", Channel: "time_s"}, recording.Options{}, "channel_not_signal", "0:0 time_s"},
		"name twice":         {"pressure,x,pressure\n1,2,3\n", csvRequest(100), recording.Options{}, "column_duplicate", "1:3 pressure"},
		"semicolons":         {"time_s;pressure\n0;1\n", csvRequest(100), recording.Options{}, "delimiter", "1:1 time_s;pressure"},
		"tabs":               {"time_s\tpressure\n0\t1\n", csvRequest(100), recording.Options{}, "delimiter", "1:1 time_s\tpressure"},
		"bad settings":       {"pressure\n1\n", csvRequest(100), recording.Options{Decimal: ','}, "delimiter", "0:0 "},
		"decimal comma":      {"pressure\n1\n72,5\n", csvRequest(100), recording.Options{}, "decimal_comma", "3:0 72,5"},
		"decimal commas":     {"time_s,pressure\n0,00,72,5\n", csvRequest(100), recording.Options{}, "decimal_comma", "2:0 0,00,72,5"},
		"quoted comma":       {"pressure\n\"72,5\"\n", csvRequest(100), recording.Options{}, "decimal_comma", "2:1 72,5"},
		"hard space":         {"pressure\n1\u00a0072\n", csvRequest(100), recording.Options{}, "non_breaking_space", "2:1 1\u00a0072"},
		"quoted newline":     {"x,pressure\n\"a\nb\",2\n", csvRequest(100), recording.Options{}, "quoted_newline", "2:1 "},
		"NaN":                {"pressure\n" + long + "NaN\n", csvRequest(100), recording.Options{}, "nan_text", "1002:1 NaN"},
		"minus infinity":     {"time_s,pressure\n0,1\n0.01,-Inf\n", csvRequest(0), recording.Options{}, "nan_text", "3:2 -Inf"},
		"NA":                 {"pressure\nNA\n", csvRequest(100), recording.Options{}, "nan_text", "2:1 NA"},
		"word":               {"pressure\n1\nhigh\n", csvRequest(100), recording.Options{}, "not_a_number", "3:1 high"},
		"hexadecimal":        {"pressure\n0x1p3\n", csvRequest(100), recording.Options{}, "not_a_number", "2:1 0x1p3"},
		"two points":         {"pressure\n1.2.3\n", csvRequest(100), recording.Options{}, "not_a_number", "2:1 1.2.3"},
		"overflow":           {"pressure\n1e999\n", csvRequest(100), recording.Options{}, "not_a_number", "2:1 1e999"},
		"cell too few":       {"time_s,pressure\n0,1\n0.01\n0.02,3\n", csvRequest(0), recording.Options{}, "row_ragged", "3:0 0.01"},
		"cell too many":      {"time_s,pressure\n0,1\n0.01,2,3\n", csvRequest(0), recording.Options{}, "row_ragged", "3:0 0.01,2,3"},
		"blank line":         {"time_s,pressure\n0,1\n\n0.02,3\n", csvRequest(0), recording.Options{}, "row_ragged", "3:0 "},
		"no time":            {"time_s,pressure\n0,1\n,2\n0.02,3\n", csvRequest(0), recording.Options{}, "time_missing", "3:1 "},
		"time back":          {"time_s,pressure\n0,1\n0.01,2\n0.02,3\n0.01,4\n", csvRequest(0), recording.Options{}, "time_backwards", "5:1 "},
		"time twice":         {"time_s,pressure\n0,1\n0.01,2\n0.01,3\n", csvRequest(0), recording.Options{}, "time_backwards", "4:1 "},
		"half a step":        {"time_s,pressure\n0,1\n0.01,2\n0.02,3\n0.03,4\n0.065,5\n0.075,6\n", csvRequest(100), recording.Options{}, "time_uneven", "6:1 "},
		"uneven":             {"time_s,pressure\n0,1\n0.01,2\n0.02,3\n0.036,4\n0.046,5\n0.050,6\n0.06,7\n", csvRequest(100), recording.Options{}, "time_uneven", "5:1 "},
		"one sample":         {"time_s,pressure\n0,1\n", csvRequest(100), recording.Options{}, "no_samples", "0:0 "},
		"too many":           {"pressure\n" + long, csvRequest(100), recording.Options{Samples: 999}, "too_many_samples", "0:0 "},
		"gap too long":       {"time_s,pressure\n0,1\n0.01,2\n0.02,3\n99999,4\n", csvRequest(100), recording.Options{Samples: 100000}, "too_many_samples", "0:0 "},
		"file too large":     {"pressure\n" + long, csvRequest(100), recording.Options{FileBytes: 100}, "read_failed", "0:0 "},
	} {
		i := refuse(t, files{"w.csv": []byte(c.text)}, c.o, c.q)
		if place := fmt.Sprintf("%d:%d %s", i.Row, i.Column, i.Value); i.Code != c.code || place != c.place {
			t.Errorf("%s: %s at %s, want %s at %s (%v)", name, i.Code, place, c.code, c.place, i)
		}
	}
}

func TestGzipDefects(t *testing.T) {
	packed := zip(t, []byte("pressure\n"+strings.Repeat("72.125\n", 5000)))
	q := recording.Request{File: "w.csv.gz", Format: "csv", SamplingHz: 100}
	for _, cut := range []int{0, 1, 5, 17, len(packed) / 2, len(packed) - 9, len(packed) - 1} {
		if i := refuse(t, files{"w.csv.gz": packed[:cut]}, recording.Options{}, q); i.Code != "gzip_damaged" {
			t.Errorf("cut at %d: %v", cut, i)
		}
	}
	flipped := bytes.Clone(packed)
	flipped[len(flipped)-6] ^= 1 // in the check sum
	if i := refuse(t, files{"w.csv.gz": flipped}, recording.Options{}, q); i.Code != "gzip_damaged" {
		t.Errorf("wrong check sum: %v", i)
	}
	if i := refuse(t, files{"w.csv.gz": []byte("pressure\n1\n")}, recording.Options{}, q); i.Code != "gzip_damaged" {
		t.Errorf("not gzip: %v", i)
	}
	if i := refuse(t, files{"w.csv": packed}, recording.Options{}, csvRequest(100)); i.Code != "gzip_not_named" {
		t.Errorf("gzip without the ending: %v", i)
	}
	bomb := zip(t, bytes.Repeat([]byte("pressure\n"), 1<<20))
	if i := refuse(t, files{"w.csv.gz": bomb}, recording.Options{TextBytes: 1 << 20}, q); i.Code != "text_too_large" {
		t.Errorf("%d bytes that unpack to 9 MiB: %v", len(bomb), i)
	}
}

func TestUnits(t *testing.T) {
	source := files{"w.csv": []byte("pressure\n1\n2\n")}
	for declared, want := range map[string]string{"": "au", "au": "au", "mmHg": "mmHg"} {
		if rec := read(t, source, recording.Options{}, recording.Request{File: "w.csv", Format: "csv", SamplingHz: 100, Unit: declared}); rec.Unit != want {
			t.Errorf("declared %q: %s", declared, rec.Unit)
		}
	}
}

// What a study may declare of its csv waveforms gives the samples and places of
// the plain form.
func TestCSVText(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		o    recording.Text
	}{
		"UTF-16":                          {utf16Of("time_s,pressure\n0,1\n0.01,1234.5\n0.02,3\n"), recording.Text{UTF16: true}},
		"UTF-16 or not":                   {"time_s,pressure\n0,1\n0.01,1234.5\n0.02,3\n", recording.Text{UTF16: true}},
		"lone CR":                         {"time_s,pressure\r0,1\r0.01,1234.5\r0.02,3\r", recording.Text{LoneCR: true}},
		"line ends of all":                {"time_s,pressure\r\n0,1\r0.01,1234.5\n0.02,3", recording.Text{LoneCR: true}},
		"joined lines":                    {"time_s,\"pressure\",\"a\nb\"\n0,1,\n0.01,1234.5,\"x\r\ny\"\n0.02,3,\n", recording.Text{JoinLines: true}},
		"spaces":                          {"time_s,pressure\n0,1\n0.01,1\u00a0234.5\n0.02,3\n", recording.Text{Thousands: "space"}},
		"apostrophes":                     {"time_s,pressure\n0,1\n0.01,1'234.5\n0.02,3\n", recording.Text{Thousands: "apostrophe"}},
		"other time":                      {"t,pressure\n0,1\n0.01,1234.5\n0.02,3\n", recording.Text{Time: "t"}},
		"time by position":                {"time_s,pressure,time_s\n0,1,9\n0.01,1234.5,9\n0.02,3,9\n", recording.Text{Time: "1"}},
		"milliseconds":                    {"time_s,pressure\n0,1\n10,1234.5\n20,3\n", recording.Text{TimeUnit: 1e-3}},
		"preamble and units":              {"device,7\n\ntime_s,pressure\ns,mmHg\n0,1\n0.01,1234.5\n0.02,3\n", recording.Text{HeaderLine: 3, FirstLine: 5}},
		"first line as an editor counts":  {"time_s,pressure,\"a\nb\"\ns,mmHg,\n0,1,\n0.01,1234.5,\n0.02,3,\n", recording.Text{JoinLines: true, FirstLine: 4}},
		"a quotation mark above":          {"\"made by\ntime_s,pressure\n\"s,mmHg\n0,1\n0.01,1234.5\n0.02,3\n", recording.Text{JoinLines: true, HeaderLine: 2, FirstLine: 4}},
		"a quotation mark within a cell":  {"time_s,pressure,cuff\n0,1,5\"\n0.01,1234.5,6\"\n0.02,3,\n", recording.Text{JoinLines: true}},
		"quotation marks within a quoted": {"time_s,pressure,\"a \"\"b\"\", c\"\n0,1,\"x \"\"y\"\", z\"\n0.01,1234.5,\"\"\"\"\n0.02,3,\"\"\n", recording.Text{}},
		"CRLF made twice":                 {"time_s,pressure\r\r\n0,1\r\r\n0.01,1234.5\r\r\n0.02,3\r\r\n", recording.Text{LoneCR: true}},
		"header alone moved":              {"device,7\ntime_s,pressure\n0,1\n0.01,1234.5\n0.02,3\n", recording.Text{HeaderLine: 2}},
	} {
		rec := read(t, files{"w.csv": []byte(c.text)}, recording.Options{Text: c.o}, recording.Request{File: "w.csv", Format: "csv"})
		same(t, name, rec.Samples, []float64{1, 1234.5, 3})
		if rec.SamplingHz != 100 {
			t.Errorf("%s: %v Hz", name, rec.SamplingHz)
		}
	}
	for name, c := range map[string]struct {
		text string
		o    recording.Text
		row  int
	}{
		"joined lines":       {"time_s,pressure,\"a\nb\"\n0,1,\n0.01,2,\"x\r\ny\nz\"\n0.02,word,\n", recording.Text{JoinLines: true}, 7},
		"preamble and units": {"device,7\n\ntime_s,pressure\ns,mmHg\n0,1\n0.01,word\n0.02,3\n", recording.Text{HeaderLine: 3, FirstLine: 5}, 6},
		"time, joined":       {"time_s,pressure,\"a\nb\"\n0,1,\n0.01,2,\"x\ny\"\n0.005,2,\n0.02,3,\n", recording.Text{JoinLines: true}, 6},
		"no such line":       {"time_s,pressure\n0,1\n", recording.Text{HeaderLine: 9}, 9},
	} {
		if i := refuse(t, files{"w.csv": []byte(c.text)}, recording.Options{Text: c.o}, recording.Request{File: "w.csv", Format: "csv"}); i.Row != c.row {
			t.Errorf("%s: row %d, want %d: %v", name, i.Row, c.row, i)
		}
	}
}

func utf16Of(text string) string {
	b := []byte{0xfe, 0xff}
	for _, r := range text {
		b = append(b, byte(r>>8), byte(r))
	}
	return string(b)
}
