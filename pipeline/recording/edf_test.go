package recording_test

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
	"tonocohort/testdata"
)

// edfFile describes a small file; its text fields are given as they stand.
type edfFile struct {
	version, headerBytes, kind, records, duration, signals string
	label, unit, physical0, physical1, digital0, digital1  string
	perRecord                                              string
	onsets                                                 []string // of an annotation signal; nil: none
	body                                                   []int    // samples of the first signal
	width                                                  int
}

// plainEDF is a good file: three records of one second with 100 samples.
func plainEDF() edfFile {
	f := edfFile{version: "0", records: "3", duration: "1", label: "ART radial", unit: "mmHg", physical0: "-100", physical1: "300",
		digital0: "-2048", digital1: "2047", perRecord: "100", width: 2}
	for i := range 300 {
		f.body = append(f.body, 7*i-1000)
	}
	return f
}

const canary = "Canary_Patient_1969"

// bytes writes the file after the published layout (edfplus.info/specs/edf.html);
// every free text field holds the canary.
func (f edfFile) bytes() []byte {
	count := 1
	if f.onsets != nil {
		count = 2
	}
	or := func(text, otherwise string) string {
		if text == "" {
			return otherwise
		}
		return text
	}
	var b bytes.Buffer
	pad := func(text string, n int) { b.WriteString((text + strings.Repeat(" ", n))[:n]) }
	each := func(n int, first, annotations string) {
		pad(first, n)
		if count == 2 {
			pad(annotations, n)
		}
	}
	pad(f.version, 8)
	pad(canary, 80)
	pad("Startdate 01-JAN-2026 "+canary, 80)
	pad("01.01.26", 8)
	pad("10.00.00", 8)
	pad(or(f.headerBytes, fmt.Sprint(256*(count+1))), 8)
	pad(f.kind, 44)
	pad(f.records, 8)
	pad(f.duration, 8)
	pad(or(f.signals, fmt.Sprint(count)), 4)
	name := "EDF Annotations"
	if f.width == 3 {
		name = "BDF Annotations"
	}
	each(16, f.label, name)
	each(80, canary, canary)
	each(8, f.unit, "")
	each(8, f.physical0, "-1")
	each(8, f.physical1, "1")
	each(8, f.digital0, "-32768")
	each(8, f.digital1, "32767")
	each(80, canary, canary)
	each(8, f.perRecord, "20")
	each(32, canary, "")
	for r := 0; r*100 < len(f.body); r++ {
		for _, v := range f.body[r*100 : min(len(f.body), (r+1)*100)] {
			for k := range f.width {
				b.WriteByte(byte(v >> (8 * k)))
			}
		}
		if f.onsets != nil {
			annotations := make([]byte, 20*f.width)
			copy(annotations, f.onsets[r]+"\x14\x14\x00"+f.onsets[r]+"\x14"+canary+"\x14\x00")
			b.Write(annotations)
		}
	}
	return b.Bytes()
}

func edfRequest() recording.Request {
	return recording.Request{File: "w.edf", Format: "edf", SamplingHz: 100, Unit: "mmHg"}
}

// physical is the scale of the format: linear through both pairs of extremes.
func physical(v int) float64 { return float64((float64(v)+2048)/4095*400) - 100 }

func TestEDFForms(t *testing.T) {
	change := func(f func(*edfFile)) edfFile {
		e := plainEDF()
		f(&e)
		return e
	}
	onsets := func(kind string, at ...string) edfFile {
		return change(func(f *edfFile) { f.kind, f.onsets = kind, at })
	}
	for name, c := range map[string]struct {
		file  edfFile
		place []int // of each record, in samples
		notes []string
	}{
		"plain":            {plainEDF(), []int{0, 100, 200}, nil},
		"24 bits":          {change(func(f *edfFile) { f.version, f.width = "\xffBIOSEMI", 3 }), []int{0, 100, 200}, nil},
		"continuous":       {onsets("EDF+C", "+0", "+1", "+2"), []int{0, 100, 200}, nil},
		"discontinuous":    {onsets("EDF+D", "+0.5", "+2.5", "+3.5"), []int{0, 200, 300}, []string{"time_gaps"}},
		"no gap after all": {onsets("EDF+D", "-1", "+0", "+1"), []int{0, 100, 200}, nil},
		"to the nearest":   {onsets("EDF+D", "+0", "+1.004", "+2.508"), []int{0, 100, 251}, []string{"time_gaps", "time_rounded"}},
		"24 bits, gap": {change(func(f *edfFile) {
			f.version, f.width, f.kind, f.onsets = "\xffBIOSEMI", 3, "BDF+D", []string{"+0", "+1", "+9"}
		}), []int{0, 100, 900}, []string{"time_gaps"}},
		"not closed":      {change(func(f *edfFile) { f.records = "-1" }), []int{0, 100, 200}, []string{"records_counted"}},
		"not closed, cut": {change(func(f *edfFile) { f.records, f.body = "-1", f.body[:250] }), []int{0, 100}, []string{"records_counted", "trailing_bytes"}},
		"longer":          {change(func(f *edfFile) { f.records = "2" }), []int{0, 100}, []string{"trailing_bytes"}},
	} {
		rec := read(t, files{"w.edf": c.file.bytes()}, recording.Options{}, edfRequest())
		want := make([]float64, c.place[len(c.place)-1]+100)
		for i := range want {
			want[i] = nan
		}
		for r, at := range c.place {
			for i := range 100 {
				want[at+i] = physical(c.file.body[100*r+i])
			}
		}
		same(t, name, rec.Samples, want)
		if rec.SamplingHz != 100 || rec.Unit != "mmHg" || !reflect.DeepEqual(noteCodes(rec), append([]string{}, c.notes...)) {
			t.Errorf("%s: %v Hz, %s, %v", name, rec.SamplingHz, rec.Unit, rec.Notes)
		}
		if strings.Contains(fmt.Sprint(rec.Notes), canary) {
			t.Errorf("%s: a text of the header leaks: %v", name, rec.Notes)
		}
	}
}

func TestEDFDefects(t *testing.T) {
	with := func(f func(*edfFile)) []byte {
		e := plainEDF()
		f(&e)
		return e.bytes()
	}
	onsets := func(at ...string) []byte {
		return with(func(f *edfFile) { f.kind, f.onsets = "EDF+D", at })
	}
	good := plainEDF().bytes()
	for name, c := range map[string]struct {
		data []byte
		q    recording.Request
		code string
	}{
		"empty":                  {nil, recording.Request{}, "no_samples"},
		"web page":               {[]byte("<!DOCTYPE html><html></html>"), recording.Request{}, "edf_version"},
		"version":                {with(func(f *edfFile) { f.version = "1" }), recording.Request{}, "edf_version"},
		"cut in fixed header":    {good[:255], recording.Request{}, "file_truncated"},
		"cut in signal header":   {good[:511], recording.Request{}, "file_truncated"},
		"cut in last record":     {good[:len(good)-1], recording.Request{}, "file_truncated"},
		"signals a word":         {with(func(f *edfFile) { f.signals = "one" }), recording.Request{}, "edf_header"},
		"signals none":           {with(func(f *edfFile) { f.signals = "0" }), recording.Request{}, "edf_header"},
		"signals negative":       {with(func(f *edfFile) { f.signals = "-1" }), recording.Request{}, "edf_header"},
		"signals too many":       {with(func(f *edfFile) { f.signals, f.headerBytes = "4000", "1024256" }), recording.Request{}, "file_truncated"},
		"header bytes":           {with(func(f *edfFile) { f.headerBytes = "768" }), recording.Request{}, "edf_header"},
		"records a word":         {with(func(f *edfFile) { f.records = canary[:8] }), recording.Request{}, "edf_header"},
		"records below -1":       {with(func(f *edfFile) { f.records = "-2" }), recording.Request{}, "edf_header"},
		"records none":           {with(func(f *edfFile) { f.records = "0" }), recording.Request{}, "no_samples"},
		"records far too many":   {with(func(f *edfFile) { f.records = "99999999" }), recording.Request{}, "file_truncated"},
		"duration a word":        {with(func(f *edfFile) { f.duration = "nan" }), recording.Request{}, "edf_header"},
		"duration negative":      {with(func(f *edfFile) { f.duration = "-1" }), recording.Request{}, "edf_header"},
		"duration 0":             {with(func(f *edfFile) { f.duration = "0" }), recording.Request{}, "edf_header"},
		"duration tiny":          {with(func(f *edfFile) { f.duration = "1e-300" }), recording.Request{}, "sampling_mismatch"},
		"samples a word":         {with(func(f *edfFile) { f.perRecord = "many" }), recording.Request{}, "edf_header"},
		"samples huge":           {with(func(f *edfFile) { f.perRecord = "99999999" }), recording.Request{}, "edf_header"},
		"samples none":           {with(func(f *edfFile) { f.perRecord = "0" }), recording.Request{}, "no_samples"},
		"samples none of two":    {with(func(f *edfFile) { f.perRecord, f.onsets = "0", []string{"+0", "+1", "+2"} }), recording.Request{}, "no_samples"},
		"physical equal":         {with(func(f *edfFile) { f.physical1 = "-100" }), recording.Request{}, "edf_scale"},
		"physical a word":        {with(func(f *edfFile) { f.physical1 = "high" }), recording.Request{}, "edf_scale"},
		"digital equal":          {with(func(f *edfFile) { f.digital1 = "-2048" }), recording.Request{}, "edf_scale"},
		"digital turned round":   {with(func(f *edfFile) { f.digital1 = "-3000" }), recording.Request{}, "edf_scale"},
		"times missing":          {with(func(f *edfFile) { f.kind = "EDF+D" }), recording.Request{}, "edf_times"},
		"time no number":         {onsets("+0", "soon", "+2"), recording.Request{}, "edf_times"},
		"time without sign":      {onsets("0", "1", "2"), recording.Request{}, "edf_times"},
		"time back":              {onsets("+0", "+2", "+1"), recording.Request{}, "time_backwards"},
		"records overlap":        {onsets("+0", "+0.98", "+2"), recording.Request{}, "time_backwards"},
		"gap of years":           {onsets("+0", "+1", "+9999999999"), recording.Request{}, "too_many_samples"},
		"gap beyond measure":     {onsets("+0", "+1", "+1e300"), recording.Request{}, "too_many_samples"},
		"annotations as channel": {onsets("+0", "+1", "+2"), recording.Request{Channel: "EDF Annotations"}, "channel_not_signal"},
		"no such label":          {good, recording.Request{Channel: "ABP"}, "channel_missing"},
		"other rate":             {good, recording.Request{SamplingHz: 250}, "sampling_mismatch"},
		"other unit":             {with(func(f *edfFile) { f.unit = "kPa" }), recording.Request{}, "unit_mismatch"},
		"unit hides a name":      {with(func(f *edfFile) { f.unit = canary[:8] }), recording.Request{}, "unit_mismatch"},
	} {
		q := edfRequest()
		if c.q.Channel != "" {
			q.Channel = c.q.Channel
		}
		if c.q.SamplingHz != 0 {
			q.SamplingHz = c.q.SamplingHz
		}
		i := refuse(t, files{"w.edf": c.data}, recording.Options{}, q)
		if i.Code != c.code {
			t.Errorf("%s: %v (%s), want %s", name, i, i.Code, c.code)
		}
		if strings.Contains(fmt.Sprintf("%+v", i), canary[:8]) {
			t.Errorf("%s: a text of the header leaks: %v", name, i)
		}
	}
	i := refuse(t, files{"w.edf": good}, recording.Options{}, recording.Request{File: "w.edf", Format: "edf", Channel: "ART Radial"})
	if !strings.Contains(i.Hint, "ART radial") {
		t.Errorf("a near label is offered: %v", i)
	}
}

func TestEDFGolden(t *testing.T) {
	g := golden(t)
	source := folder(filepath.Dir(testdata.Path(t, "golden/in/record.edf")))
	rec := read(t, source, recording.Options{}, recording.Request{File: "record.edf", Format: "edf", SamplingHz: 256})
	if len(rec.Samples) != g.EDF.N || rec.SamplingHz != 256 || rec.Unit != "au" || len(rec.Notes) != 0 {
		t.Fatalf("%d samples, %v Hz, %s, %v", len(rec.Samples), rec.SamplingHz, rec.Unit, rec.Notes)
	}
	same(t, "first 20", rec.Samples[:20], g.EDF.Physical)
	text := read(t, source, recording.Options{}, recording.Request{File: "record.csv", Format: "csv", Channel: "p_raw", SamplingHz: 256})
	for k, v := range text.Samples {
		if !(math.Abs(rec.Samples[k]-v) <= 1000.0/65535+1e-9) { // half a step of the file's scale
			t.Fatalf("sample %d: %v, csv %v", k, rec.Samples[k], v)
		}
	}
}
