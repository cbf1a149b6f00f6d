package recording_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"tonocohort/pipeline/recording"
)

// pack writes samples in a WFDB storage format, after the format's published
// description (physionet.org/physiotools/wag/signal-5.htm).
func pack(format int, samples []int) []byte {
	var b []byte
	le, be := binary.LittleEndian, binary.BigEndian
	for i := 0; i < len(samples); i++ {
		v := samples[i]
		next := func(k int) uint32 {
			if i+k < len(samples) {
				return uint32(samples[i+k])
			}
			return 0
		}
		switch format {
		case 8:
			b = append(b, byte(v))
		case 16:
			b = le.AppendUint16(b, uint16(v))
		case 24:
			b = append(b, byte(v), byte(v>>8), byte(v>>16))
		case 32:
			b = le.AppendUint32(b, uint32(v))
		case 61:
			b = be.AppendUint16(b, uint16(v))
		case 80:
			b = append(b, byte(v+128))
		case 160:
			b = le.AppendUint16(b, uint16(v+32768))
		case 212:
			b = append(b, byte(v), byte(v>>8&0xf)|byte(next(1)>>8&0xf)<<4)
			if i++; i < len(samples) {
				b = append(b, byte(samples[i]))
			}
		case 310:
			third := next(2) & 0x3ff
			b = le.AppendUint16(b, uint16(uint32(v)&0x3ff<<1|third&0x1f<<11))
			if i++; i < len(samples) {
				b = le.AppendUint16(b, uint16(next(0)&0x3ff<<1|third>>5<<11))
			}
			i++
		case 311:
			word := le.AppendUint32(nil, uint32(v)&0x3ff|next(1)&0x3ff<<10|next(2)&0x3ff<<20)
			b = append(b, word[:min(4, (10*min(3, len(samples)-i)+7)/8+min(3, len(samples)-i)/3)]...)
			i += 2
		}
	}
	return b
}

var packed = map[int]int{8: 7, 16: 16, 24: 24, 32: 32, 61: 16, 80: 8, 160: 16, 212: 12, 310: 10, 311: 10} // bits by format

// sumOf is the 16-bit check sum of a header.
func sumOf(samples []int) int16 {
	sum := 0
	for _, v := range samples {
		sum += v
	}
	return int16(sum)
}

// Four signals in one file, the second with two samples a frame, the third
// skewed by two frames: each must come back from every storage format.
func TestWFDBEveryStorageFormat(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for format, bits := range packed {
		for _, frames := range []int{1, 2, 3, 40, 101} {
			var all []int // as the file has them; format 8 holds differences
			signals := make([][]int, 4)
			put := func(k, v int) {
				signals[k] = append(signals[k], v)
				if n := len(signals[k]); format == 8 {
					v -= signals[k][max(0, n-2)]
				}
				all = append(all, v)
			}
			value := func() int { return r.IntN(1<<bits-2) - 1<<(bits-1) + 1 }
			if format == 8 { // differences of one byte
				value = func() int { return r.IntN(100) - 50 }
			}
			for range frames {
				put(0, value())
				put(1, value())
				put(1, value())
				put(2, value())
				put(3, value())
			}
			if bits > 8 {
				signals[0][0] = -1 << (bits - 1) // the smallest value: missing
				all[0] = signals[0][0]
			}
			data := pack(format, all)
			header := fmt.Sprintf("r 4 100 %d\nr.dat %d 10(5)/mmHg 12 0 %d %d 0 one\nr.dat %dx2 4/mV 12 3 %d %d 0 two too\nr.dat %d:2 2/kPa 12 0 %d %d 0 three\nr.dat %d 3(-7)/mmHg 12 0 %d %d 0 four\n",
				frames, format, signals[0][0], sumOf(signals[0]), format, signals[1][0], sumOf(signals[1]), format, signals[2][0], sumOf(signals[2]), format, signals[3][0], sumOf(signals[3]))
			source := files{"d/r.hea": []byte(header), "d/r.dat": data}
			for k, c := range []struct {
				name           string
				gain, baseline float64
				hz             float64
				skew           int
				unit           string
			}{{"one", 10, 5, 100, 0, "mmHg"}, {"two too", 4, 3, 200, 0, "au"}, {"three", 2, 0, 100, 2, "au"}, {"four", 3, -7, 100, 0, "mmHg"}} {
				want := []float64{}
				for _, v := range signals[k][min(c.skew, frames):] {
					want = append(want, (float64(v)-c.baseline)/c.gain)
				}
				if k == 0 && bits > 8 {
					want[0] = nan
				}
				rec, err := recording.NewReader(source, recording.Options{}).Read(recording.Request{File: "d/r.hea", Format: "wfdb", Channel: c.name})
				if allMissing(want) {
					if issueCode(err) != "no_samples" {
						t.Errorf("format %d, %d frames, %s: %v", format, frames, c.name, err)
					}
					continue
				}
				if err != nil {
					t.Fatalf("format %d, %d frames: %v", format, frames, err)
				}
				same(t, fmt.Sprintf("format %d, %d frames, %s", format, frames, c.name), rec.Samples, want)
				if rec.SamplingHz != c.hz || rec.Unit != c.unit || len(rec.Notes) != 0 {
					t.Errorf("format %d: %v Hz, %s, %v", format, rec.SamplingHz, rec.Unit, rec.Notes)
				}
			}
		}
	}
}

func allMissing(v []float64) bool {
	for _, x := range v {
		if !math.IsNaN(x) {
			return false
		}
	}
	return true
}

// ramp is a small record: one signal of format 16 with samples 0, 1, … 9.
func ramp(header string) files {
	samples := make([]int, 10)
	for i := range samples {
		samples[i] = i
	}
	return files{"r.hea": []byte(header), "r.dat": pack(16, samples)}
}

func TestWFDBHeaders(t *testing.T) {
	for name, c := range map[string]struct {
		header string
		hz     float64 // declared
		unit   string
		notes  []string
	}{
		"full":                 {"r 1 100 10 8:26:04 26/10/1994\nr.dat 16 2(1)/mmHg 16 0 0 45 0 ART\n", 100, "mmHg", nil},
		"comments, CRLF":       {"# a name\r\nr 1 100 10\r\n\r\n# more\r\nr.dat 16 2(1)/mmHg 16 0 0 45 0 ART\r\n# end", 100, "mmHg", nil},
		"counter frequency":    {"r 1 100/24000(5) 10\nr.dat 16 2(1)/mmHg 16 0 0 45\n", 0, "mmHg", nil},
		"unsigned sum":         {"r 1 100 10\nr.dat 16 2(1)/mmHg 16 0 0 65581\n", 0, "mmHg", nil},
		"no length":            {"r 1 100\nr.dat 16 2(1)/mmHg 16 0 0 45 0 ART\n", 0, "mmHg", nil},
		"length left out":      {"r 1 100 8:26:04 26/10/1994\nr.dat 16 2(1)/mmHg\n", 0, "mmHg", nil},
		"any date":             {"r 1 100 10 26-Oct-1994 08:26:04\nr.dat 16 2(1)/mmHg 16 0 0 45 0 ART\n", 0, "mmHg", nil},
		"rate declared":        {"r 1\nr.dat 16 2(1)/mmHg\n", 100, "mmHg", nil},
		"rate nearly":          {"r 1 100 10\nr.dat 16 2(1)/mmHg\n", 100.4, "mmHg", []string{"sampling_differs"}},
		"baseline from zero":   {"r 1 100 10\nr.dat 16 2/mmHg 16 1\n", 0, "mmHg", nil},
		"no unit":              {"r 1 100 10\nr.dat 16 2(1)\n", 0, "", nil},
		"longer than it says":  {"r 1 100 9\nr.dat 16 2(1)/mmHg 16 0 0 36\n", 0, "mmHg", []string{"trailing_bytes"}},
		"wrong first, sum fit": {"r 1 100 10\nr.dat 16 2(1)/mmHg 16 0 7 45\n", 0, "mmHg", []string{"initial_value_mismatch"}},
	} {
		rec := read(t, ramp(c.header), recording.Options{}, recording.Request{File: "r.hea", Format: "wfdb", SamplingHz: c.hz, Unit: c.unit})
		if rec.SamplingHz != 100 || rec.Samples[3] != 1 || !reflect.DeepEqual(noteCodes(rec), append([]string{}, c.notes...)) {
			t.Errorf("%s: %v Hz, %v, %v", name, rec.SamplingHz, rec.Samples, rec.Notes)
		}
	}
	rec := read(t, ramp("r 1 100 10\nr.dat 16\n"), recording.Options{}, recording.Request{File: "r.hea", Format: "wfdb"})
	if rec.Samples[9] != 9/200.0 || rec.Unit != "au" || !reflect.DeepEqual(noteCodes(rec), []string{"uncalibrated"}) {
		t.Errorf("without a gain: %+v", rec)
	}
	rec = read(t, ramp("r 1 100\nr.dat 16+4 2(1)/mmHg\n"), recording.Options{}, recording.Request{File: "r.hea", Format: "wfdb"})
	if rec.Samples[0] != 0.5 { // (2 - 1) / 2: the first two samples are skipped
		t.Errorf("with a byte offset: %v", rec.Samples)
	}
}

func TestWFDBDefects(t *testing.T) {
	good := "r.dat 16 2(1)/mmHg 16 0 0 45 0 ART\n"
	for name, c := range map[string]struct {
		header string
		q      recording.Request
		code   string
		row    int
	}{
		"empty":              {"", recording.Request{}, "wfdb_header", 0},
		"a web page":         {"<html>\n<body>", recording.Request{}, "wfdb_header", 1},
		"binary":             {"r 1 100 10\n\x00\x00", recording.Request{}, "wfdb_header", 1},
		"signals no number":  {"r one 100 10\n" + good, recording.Request{}, "wfdb_header", 1},
		"signals negative":   {"r -1 100 10\n" + good, recording.Request{}, "wfdb_header", 1},
		"signals too many":   {"r 99999999999 100 10\n" + good, recording.Request{}, "wfdb_header", 1},
		"rate zero":          {"r 1 0 10\n" + good, recording.Request{}, "wfdb_header", 1},
		"rate a word":        {"r 1 fast 10\n" + good, recording.Request{}, "wfdb_header", 1},
		"rate not a number":  {"r 1 nan 10\n" + good, recording.Request{}, "wfdb_header", 1},
		"length a word":      {"r 1 100 ten\n" + good, recording.Request{}, "wfdb_header", 1},
		"length huge":        {"r 1 100 9223372036854775807\n" + good, recording.Request{}, "wfdb_header", 1},
		"signal line absent": {"r 2 100 10\n" + good, recording.Request{}, "wfdb_header", 2},
		"format a word":      {"r 1 100 10\nr.dat wide 2(1)/mmHg\n", recording.Request{}, "wfdb_storage_format", 2},
		"format unknown":     {"r 1 100 10\nr.dat 17 2(1)/mmHg\n", recording.Request{}, "wfdb_storage_format", 2},
		"no FLAC":            {"r 1 100 10\nr.dat 516 2(1)/mmHg\n", recording.Request{}, "flac_damaged", 2},
		"no sample a frame":  {"r 1 100 10\nr.dat 16x0 2(1)/mmHg\n", recording.Request{}, "wfdb_storage_format", 2},
		"frames huge":        {"r 1 100 10\nr.dat 16x99999999999999 2(1)/mmHg\n", recording.Request{}, "wfdb_storage_format", 2},
		"gain and unit":      {"r 1 100 10\nr.dat 16 2(mmHg)/1\n", recording.Request{}, "wfdb_gain", 2},
		"gain a word":        {"r 1 100 10\nr.dat 16 mmHg\n", recording.Request{}, "wfdb_gain", 2},
		"gain not a number":  {"r 1 100 10\nr.dat 16 nan/mmHg\n", recording.Request{}, "wfdb_gain", 2},
		"baseline open":      {"r 1 100 10\nr.dat 16 2(1/mmHg\n", recording.Request{}, "wfdb_gain", 2},
		"unit a number":      {"r 1 100 10\nr.dat 16 2/200\n", recording.Request{}, "wfdb_gain", 2},
		"sum a word":         {"r 1 100 10\nr.dat 16 2(1)/mmHg 16 0 0 sum\n", recording.Request{}, "wfdb_header", 2},
		"wrong sum":          {"r 1 100 10\nr.dat 16 2(1)/mmHg 16 0 0 46\n", recording.Request{}, "checksum_mismatch", 2},
		"wrong first":        {"r 1 100 10\nr.dat 16 2(1)/mmHg 16 0 1\n", recording.Request{}, "initial_value_mismatch", 2},
		"too short":          {"r 1 100 11\n" + good, recording.Request{}, "file_truncated", 2},
		"offset beyond":      {"r 1 100 10\nr.dat 16+99 2(1)/mmHg\n", recording.Request{}, "file_truncated", 2},
		"skew beyond":        {"r 1 100 10\nr.dat 16:10 2(1)/mmHg\n", recording.Request{}, "no_samples", 0},
		"no file":            {"r 1 100 10\nx.dat 16 2(1)/mmHg\n", recording.Request{}, "file_missing", 0},
		"escape":             {"r 1 100 10\n../r.dat 16 2(1)/mmHg\n", recording.Request{}, "wfdb_signal_path", 2},
		"absolute":           {"r 1 100 10\n/etc/passwd 16 2(1)/mmHg\n", recording.Request{}, "wfdb_signal_path", 2},
		"standard input":     {"r 1 100 10\n- 16 2(1)/mmHg\n", recording.Request{}, "wfdb_signal_path", 2},
		"two formats":        {"r 2 100 5\nr.dat 16 2(1)/mmHg\nr.dat 212 2(1)/mmHg\n", recording.Request{Channel: "1"}, "wfdb_header", 3},
		"no signals":         {"r 0 100 10\n", recording.Request{}, "no_samples", 0},
		"channel needed":     {"r 2 100 5\nr.dat 16 2/mmHg 0 0 0 1 0 a\nr.dat 16 2/mmHg\n", recording.Request{}, "channel_required", 0},
		"channel twice":      {"r 2 100 5\nr.dat 16 2/mmHg 0 0 0 1 0 a\nr.dat 16 2/mmHg 0 0 0 1 0 a\n", recording.Request{Channel: "a"}, "channel_ambiguous", 0},
		"channel absent":     {"r 1 100 10\n" + good, recording.Request{Channel: "ABP"}, "channel_missing", 0},
		"channel beyond":     {"r 1 100 10\n" + good, recording.Request{Channel: "2"}, "channel_missing", 0},
		"other rate":         {"r 1 100 10\n" + good, recording.Request{SamplingHz: 128}, "sampling_mismatch", 0},
		"no rate":            {"r 1\n" + good, recording.Request{}, "sampling_missing", 0},
		"slow":               {"r 1 1 10\n" + good, recording.Request{}, "sampling_implausible", 0},
		"other unit":         {"r 1 100 10\nr.dat 16 2(1)/kPa\n", recording.Request{Unit: "mmHg"}, "unit_mismatch", 0},
		"no gain":            {"r 1 100 10\nr.dat 16\n", recording.Request{Unit: "mmHg"}, "unit_mismatch", 0},
		"segments none":      {"r/0 1 100 10\n", recording.Request{}, "wfdb_header", 1},
		"segments absent":    {"r/2 1 100 10\na 5\n", recording.Request{}, "wfdb_header", 2},
		"segment escape":     {"r/1 1 100 10\n../a 10\n", recording.Request{}, "wfdb_signal_path", 2},
		"segment of itself":  {"r/1 1 100 10\nr 10\n", recording.Request{}, "wfdb_segment", 2},
		"gaps alone":         {"r/1 1 100 10\n~ 10\n", recording.Request{}, "no_samples", 0},
	} {
		c.q.File, c.q.Format = "r.hea", "wfdb"
		if i := refuse(t, ramp(c.header), recording.Options{}, c.q); i.Code != c.code || i.Row != c.row {
			t.Errorf("%s: %s at row %d, want %s at %d (%v)", name, i.Code, i.Row, c.code, c.row, i)
		}
	}
	if i := refuse(t, ramp("r 1 100 10\n"+good), recording.Options{}, recording.Request{File: "r.dat", Format: "wfdb"}); i.Code != "wfdb_name" {
		t.Errorf("the signal file as file: %v", i)
	}
	if i := refuse(t, ramp("r 1 100 10\n"+good), recording.Options{Samples: 9}, recording.Request{File: "r.hea", Format: "wfdb"}); i.Code != "too_many_samples" {
		t.Errorf("above the limit: %v", i)
	}
}
