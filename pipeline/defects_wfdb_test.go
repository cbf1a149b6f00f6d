package pipeline_test

import (
	"encoding/binary"
	"fmt"
	"strings"
	"testing"
)

// record is a header with one line for the plain wave in w.dat, at eight raw
// units for 1 mmHg.
func record(line, signal string) map[string]string {
	return map[string]string{"w.hea": line + "\n" + signal + "\n", "w.dat": raw16(edfSamples())}
}

func raw16(samples []int) string {
	var b []byte
	for _, v := range samples {
		b = binary.LittleEndian.AppendUint16(b, uint16(int16(v)))
	}
	return string(b)
}

func sum16(samples []int) int16 {
	sum := 0
	for _, v := range samples {
		sum += v
	}
	return int16(sum)
}

func raw212(samples []int) string {
	var b []byte
	for i := 0; i+1 < len(samples); i += 2 {
		v, w := samples[i], samples[i+1]
		b = append(b, byte(v), byte(v>>8&15)|byte(w>>8&15)<<4, byte(w))
	}
	return string(b)
}

const artLine = "w.dat 16 8(0)/mmHg 12 0"

func wfdbDefects() []defect {
	var all []defect
	add := func(name, reason, says, note string, files map[string]string) *defect {
		all = append(all, defect{name: name, files: files, file: "w.hea", reason: reason, says: says, note: note})
		return &all[len(all)-1]
	}
	one := func(name, reason, says, note, line, signal string) *defect {
		return add(name, reason, says, note, record(line, signal))
	}
	first, sum := edfSamples()[0], sum16(edfSamples())
	one("plain", "", "", "", "w 1 128 1280", fmt.Sprintf("%s %d %d 0 ART", artLine, first, sum))
	one("length 0", "", "", "", "w 1 128 0", artLine)
	one("length huge", "file_truncated", "", "", "w 1 128 8796093022207", artLine)
	one("length beyond numbers", "wfdb_header", "number of samples", "", "w 1 128 99999999999999999999", artLine)
	one("rate with a decimal comma", "wfdb_header", "decimal comma", "", "w 1 128,0 1280", artLine)
	one("rate 0", "wfdb_header", "sampling rate", "", "w 1 0 1280", artLine)
	one("rate by counter", "", "", "", "w 1 128/1000(5) 1280", artLine)
	one("dates of all kinds", "", "", "", "w 1 128 1280 25:61:99 99/99/1899", artLine)
	one("other name of the record", "", "", "", "other 1 128 1280", artLine)
	one("wrong check sum", "checksum_mismatch", "w.hea:2:", "", "w 1 128 1280", fmt.Sprintf("%s %d %d 0 ART", artLine, first, sum+1))
	one("wrong initial value, sum fits", "", "", "initial_value_mismatch", "w 1 128 1280", fmt.Sprintf("%s %d %d 0 ART", artLine, first+1, sum))
	one("wrong initial value", "initial_value_mismatch", "w.hea:2:", "", "w 1 128 1280", fmt.Sprintf("%s %d", artLine, first+1))
	one("gain 0", "", "", "uncalibrated", "w 1 128 1280", "w.dat 16 0(0)/mmHg 12 0").other = true
	one("gain left out", "", "", "uncalibrated", "w 1 128 1280", "w.dat 16").other = true
	one("gain infinite", "wfdb_gain", "inf", "", "w 1 128 1280", "w.dat 16 inf/mmHg 12 0")
	one("gain with a decimal comma", "wfdb_gain", "decimal comma", "", "w 1 128 1280", "w.dat 16 8,0(0)/mmHg 12 0")
	one("baseline not whole", "wfdb_gain", "baseline", "", "w 1 128 1280", "w.dat 16 8(0.5)/mmHg 12 0")
	one("unit with a blank", "wfdb_header", "mm_Hg", "", "w 1 128 1280", "w.dat 16 8(0)/mm Hg 12 0 0 0 0 ART")
	one("unit with an underscore", "", "", "", "w 1 128 1280", "w.dat 16 8(0)/mm_Hg 12 0").unit = "mmHg"
	one("kilopascals", "unit_mismatch", "kPa", "", "w 1 128 1280", "w.dat 16 60(0)/kPa 12 0").unit = "mmHg"
	one("storage unknown", "wfdb_storage_format", "508", "", "w 1 128 1280", "w.dat 17 8(0)/mmHg 12 0")
	one("storage 0", "wfdb_storage_format", "", "", "w 1 128 1280", "w.dat 0 8(0)/mmHg 12 0")
	one("FLAC in name", "flac_damaged", "w.hea:2:", "", "w 1 128 1280", "w.dat 516 8(0)/mmHg 12 0")
	one("no signal file", "file_missing", "none.dat", "", "w 1 128 1280", "none.dat 16 8(0)/mmHg 12 0")
	one("signal file elsewhere", "wfdb_signal_path", "bare name", "", "w 1 128 1280", "sub/w.dat 16 8(0)/mmHg 12 0")
	one("a line too many", "", "", "", "w 1 128 1280", artLine+"\n"+artLine)
	one("a line too few", "wfdb_header", "last signal", "", "w 2 128 1280", artLine).channel = "1"
	one("comments", "", "", "", "# one\n\n#two\nw 1 128 1280\n# three", artLine+"\n# four")
	one("CRLF", "", "", "", "w 1 128 1280\r", artLine+"\r")
	one("byte order mark", "", "", "", "\ufeffw 1 128 1280", artLine)
	add("lone CR", "", "", "lone_carriage_return", map[string]string{"w.hea": "w 1 128 1280\r" + artLine + "\r", "w.dat": raw16(edfSamples())})
	add("UTF-16", "wfdb_header", "UTF-8", "", map[string]string{"w.hea": asWide("w 1 128 1280\n"+artLine+"\n", binary.LittleEndian), "w.dat": raw16(edfSamples())})
	files := record("w 1 128 1280", "w.dat 16+512 8(0)/mmHg 12 0")
	files["w.dat"] = strings.Repeat("\xff", 512) + files["w.dat"]
	add("behind an offset", "", "", "", files)
	one("offset beyond the file", "file_truncated", "", "", "w 1 128 1280", "w.dat 16+99999 8(0)/mmHg 12 0")
	files = record("w 1 128 1280", "w.dat 16:5 8(0)/mmHg 12 0")
	files["w.dat"] = raw16(append(slicesRepeat(0, 5), edfSamples()[:1275]...))
	add("skewed", "", "", "", files).other = true
	files = record("w 1 128 1280", artLine)
	files["w.dat"] += "\x00"
	add("a byte too many", "", "", "", files)
	files = record("w 1 128 1280", artLine)
	files["w.dat"] = files["w.dat"][:2559]
	add("half a sample too few", "file_truncated", "1279", "", files)
	files = record("w 1 128 1280", "w.dat 16 -8(0)/mmHg 12 0")
	upside := edfSamples()
	for i := range upside {
		upside[i] = -upside[i]
	}
	files["w.dat"] = raw16(upside)
	add("negative gain", "", "", "", files)
	add("format 212", "", "", "", map[string]string{"w.hea": "w 1 128 1280\nw.dat 212 8(0)/mmHg\n", "w.dat": raw212(edfSamples())})
	add("format 61", "", "", "", map[string]string{"w.hea": "w 1 128 1280\nw.dat 61 8(0)/mmHg\n", "w.dat": swapped(raw16(edfSamples()))})
	add("samples per frame", "", "", "", map[string]string{"w.hea": "w 2 32 320\nw.dat 16x4 8(0)/mmHg 12 0 0 0 0 ART\nw.dat 16 8\n", "w.dat": frames(edfSamples(), 4)}).channel = "1"
	all[len(all)-1].files["w.hea"] = "w 2 32 320\nw.dat 16x4 8(0)/mmHg\nw.dat 16 8\n"
	return append(all, segmentDefects()...)
}

func swapped(text string) string {
	b := []byte(text)
	for i := 0; i+1 < len(b); i += 2 {
		b[i], b[i+1] = b[i+1], b[i]
	}
	return string(b)
}

// frames puts one sample of another signal behind each so many.
func frames(samples []int, each int) string {
	var b strings.Builder
	for i := 0; i < len(samples); i += each {
		b.WriteString(raw16(samples[i:i+each]) + raw16([]int{i}))
	}
	return b.String()
}

func segmentDefects() []defect {
	var all []defect
	parts := func(master string) map[string]string {
		s := edfSamples()
		return map[string]string{"w.hea": master, "a.hea": "a 1 128 640\na.dat 16 8(0)/mmHg 12 0 " + fmt.Sprintf("%d %d 0 ART\n", s[0], sum16(s[:640])), "a.dat": raw16(s[:640]),
			"b.hea": "b 1 128 640\nb.dat 16 8(0)/mmHg 12 0 " + fmt.Sprintf("%d %d 0 ART\n", s[640], sum16(s[640:])), "b.dat": raw16(s[640:]),
			"l.hea": "l 2 128 0\n~ 0 8(0)/mmHg 12 0 0 0 0 ART\n~ 0 200(0)/mV 12 0 0 0 0 II\n", "w_layout.hea": ""}
	}
	add := func(name, reason, says, note, master string, change ...string) *defect {
		files := parts(master)
		for i := 0; i < len(change); i += 2 {
			files[change[i]] = change[i+1]
		}
		all = append(all, defect{name: name, files: files, file: "w.hea", reason: reason, says: says, note: note, channel: "ART"})
		return &all[len(all)-1]
	}
	add("two segments", "", "", "", "w/2 1 128 1280\na 640\nb 640\n")
	add("a null segment between", "", "", "", "w/3 1 128 1536\na 640\n~ 256\nb 640\n").other = true
	add("null segments around", "", "", "", "w/4 1 128 1536\n~ 128\na 640\nb 640\n~ 128\n").other = true
	add("null segments alone", "no_samples", "", "", "w/1 1 128 1280\n~ 1280\n")
	add("layout", "", "", "", "w/3 2 128 1280\nl 0\na 640\nb 640\n")
	add("layout, channel of no segment", "no_samples", "", "", "w/3 2 128 1280\nl 0\na 640\nb 640\n").channel = "II"
	add("lengths do not add up", "wfdb_segment", "1281", "", "w/2 1 128 1281\na 640\nb 640\n")
	add("length of a segment differs", "wfdb_segment", "w.hea:3:", "", "w/2 1 128 1279\na 640\nb 639\n")
	add("rate of a segment differs", "wfdb_segment", "w.hea:3:", "", "w/2 1 128 1280\na 640\nb 640\n", "b.hea", "b 1 256 640\nb.dat 16 8(0)/mmHg 12 0 0 0 0 ART\n")
	add("unit of a segment differs", "wfdb_segment", "b.hea:2:", "", "w/2 1 128 1280\na 640\nb 640\n", "b.hea", "b 1 128 640\nb.dat 16 8(0)/kPa 12 0 0 0 0 ART\n")
	add("a segment of segments", "wfdb_segment", "", "", "w/2 1 128 1280\na 640\nc 640\n", "c.hea", "c/1 1 128 640\nb 640\n")
	add("a segment of itself", "wfdb_segment", "", "", "w/1 1 128 1280\nw 1280\n")
	add("a segment is missing", "file_missing", "x.hea", "", "w/2 1 128 1280\na 640\nx 640\n")
	add("more segments than said", "", "", "", "w/2 1 128 1280\na 640\nb 640\nb 640\n")
	add("fewer segments than said", "wfdb_header", "last segment", "", "w/3 1 128 1280\na 640\nb 640\n")
	add("a million segments", "wfdb_header", "last segment", "", "w/1000000 1 128 1280\na 640\n")
	return all
}

// wfdbNames are files that are no header.
func wfdbNames() []defect {
	files := record("w 1 128 1280", artLine)
	files["w.atr"], files["w.HEA"] = "\x00\x00", files["w.hea"]
	return []defect{
		{name: "the signal file", files: files, file: "w.dat", reason: "wfdb_name", says: ".hea"},
		{name: "the annotations", files: files, file: "w.atr", reason: "wfdb_name", says: ".hea"},
	}
}

func TestWFDBDefects(t *testing.T) { judgeDefects(t, "", append(wfdbDefects(), wfdbNames()...)) }
