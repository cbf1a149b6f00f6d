package pipeline_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"tonocohort/pipeline"
	"tonocohort/schema"
)

// timed is the plain wave with times, in the given form.
func timed(delimiter, point string) string { return csvText(plainWave(), true, delimiter, point) }

// swap replaces in a text, all or the first.
func swap(text, from, to string, times int) string { return strings.Replace(text, from, to, times) }

func csvDefects(t testing.TB) []defect {
	var all []defect
	add := func(name, reason, says, note, text string) *defect {
		all = append(all, defect{name: name, files: map[string]string{"w.csv": text}, file: "w.csv", reason: reason, says: says, note: note})
		return &all[len(all)-1]
	}
	packed := func(name, reason, says, text string) {
		all = append(all, defect{name: name, files: map[string]string{"w.csv.gz": text}, file: "w.csv.gz", reason: reason, says: says})
	}
	plain := timed(",", ".")
	add("byte order mark", "", "", "byte_order_mark", "\ufeff"+plain)
	add("CRLF", "", "", "windows_line_ends", swap(plain, "\n", "\r\n", -1))
	add("CRLF in part", "", "", "", swap(plain, "5.000\n", "5.000\r\n", -1))
	add("UTF-16, low byte first", "utf16", "waveforms: {encoding: utf-16}", "", asWide(plain, binary.LittleEndian))
	add("UTF-16, high byte first", "utf16", "waveforms: {encoding: utf-16}", "", asWide(plain, binary.BigEndian))
	add("UTF-16 without its mark", "utf16", "UTF-8", "", asWide(plain, binary.LittleEndian)[2:])
	add("lone CR", "lone_carriage_return", "waveforms: {line_ends: any}", "", swap(plain, "\n", "\r", -1))
	add("lone CR in part", "lone_carriage_return", "w.csv:4:", "", "time_s,pressure\n0,1\n0.01,2\n0.02,3\r0.03,4\n")
	add("lone CR behind the header", "lone_carriage_return", "line_ends", "", swap(plain, "\n", "\r", 1))
	add("non-breaking space around", "", "", "non_breaking_space", swap(plain, ",2", ",\u00a02", 5))
	add("non-breaking space within", "non_breaking_space", "waveforms: {thousands: space}", "", "time_s,pressure\n0,1\u00a0234.5\n")
	add("narrow space within", "non_breaking_space", "waveforms: {thousands: space}", "", "time_s,pressure\n0,1\u202f234.5\n")
	add("non-breaking space in the header", "column_missing", "pressure", "", swap(plain, "pressure", "pressure\u00a0", 1))
	add("apostrophe within", "thousands_separator", "waveforms: {thousands: apostrophe}", "", "time_s,pressure\n0,1'234.5\n")
	add("quoted", "", "", "", swap(swap(plain, "time_s,pressure", `"time_s","pressure"`, 1), "0.0078125,", `"0.0078125",`, 1))
	add("quoted break in the header", "quoted_newline", "waveforms: {line_breaks: blank}", "", swap(plain, "pressure", "\"pressure\n(mmHg)\"", 1))
	add("quoted break in a cell", "quoted_newline", "w.csv:2:", "", "time_s,pressure,remark\n0,1,\"a\nb\"\n")
	add("quote without end", "quoted_newline", "w.csv:2:2", "", "time_s,pressure\n0,\"1\n0.01,2\n")
	add("row too short", "row_ragged", "w.csv:3:", "", "time_s,pressure\n0,1\n0.01\n0.02,3\n")
	add("row too long", "row_ragged", "w.csv:3:", "", "time_s,pressure\n0,1\n0.01,2,3\n")
	add("blank line within", "row_ragged", "w.csv:3:", "", "time_s,pressure\n0,1\n\n0.01,2\n")
	add("blank lines at the end", "", "", "", plain+"\n\r\n\n")
	add("no last line end", "", "", "no_final_newline", strings.TrimSuffix(plain, "\n"))
	add("pressure twice", "column_duplicate", "channel", "", swap(plain, "time_s,pressure", "pressure,pressure", 1)).hz = "128"
	add("time twice", "column_duplicate", "time_column", "", "time_s,pressure,time_s\n0,1,0\n")
	add("channel twice", "channel_ambiguous", "position", "", "time_s,a,a\n0,1,0\n").channel = "a"
	add("other columns twice", "", "", "columns_ignored", swap(swap(plain, "time_s,pressure", "time_s,pressure,x,x", 1), ".000\n", ".000,,\n", -1)).files["w.csv"] = extraCells(plain)
	add("misspelt header", "column_missing", `"Pressure" must be written "pressure"`, "", swap(plain, "pressure", "Pressure", 1))
	add("misspelt time", "sampling_missing", "time_column", "", swap(plain, "time_s", "Time (s)", 1))
	add("no header", "header_missing", "header line", "", strings.SplitN(plain, "\n", 2)[1])
	add("header alone", "no_samples", "", "", "time_s,pressure\n")
	add("empty", "no_samples", "", "", "")
	add("line ends alone", "column_missing", "", "", "\n\n\n")
	add("semicolons", "delimiter", "waveforms: {delimiter: semicolon}", "", timed(";", "."))
	add("tabs", "delimiter", "waveforms: {delimiter: tab}", "", timed("\t", "."))
	add("semicolons and commas", "delimiter", "waveforms: {delimiter: semicolon}", "", timed(";", ","))
	add("decimal commas within commas", "decimal_comma", "waveforms: {delimiter: semicolon, decimal: comma}", "", timed(",", ","))
	add("decimal commas, quoted", "decimal_comma", "waveforms: {delimiter: semicolon, decimal: comma}", "", "time_s,pressure\n0,\"1,5\"\n")
	add("decimal commas alone", "decimal_comma", "waveforms: {delimiter: semicolon, decimal: comma}", "", csvText(plainWave(), false, ";", ".")+"81,5\n").hz = "128"
	add("sep= of a spreadsheet", "delimiter", "waveforms: {delimiter: semicolon, header_line: 2}", "", "sep=;\n"+timed(";", ".")).hz = "128"
	add("units below the header", "not_a_number", "waveforms: {first_line: 3}", "", swap(plain, "\n", "\ns,mmHg\n", 1))
	add("preamble", "column_missing", "waveforms: {header_line: 2}", "", "# device 7\n"+plain)
	add("time backwards", "time_backwards", "w.csv:4:1", "", "time_s,pressure\n0,1\n0.01,2\n0.005,3\n0.02,4\n")
	add("time twice the same", "time_backwards", "w.csv:4:1", "", "time_s,pressure\n0,1\n0.01,2\n0.01,3\n0.02,4\n")
	add("time uneven", "time_uneven", "sampling_hz", "", unevenTimes())
	add("time with jitter", "", "", "", jitteredTimes())
	add("time with a gap", "", "", "time_gaps", gappedTimes(plain)).other = true
	add("time in milliseconds", "sampling_implausible", "time_unit: ms", "", milliseconds())
	add("time of day", "not_a_number", "seconds", "", "time_s,pressure\n10:11:12.0,1\n10:11:12.1,2\n")
	add("time missing", "time_missing", "w.csv:3:1", "", "time_s,pressure\n0,1\n,2\n0.02,3\n")
	add("time infinite", "nan_text", "w.csv:3:1", "", "time_s,pressure\n0,1\ninf,2\n0.02,3\n")
	for _, word := range []string{"NaN", "inf", "-Infinity", "NA", "n/a", "-", "#DIV/0!", "null", "1e999", "0x1F", "1_000", "١٢"} {
		d := add("sample "+word, "nan_text", "w.csv:3:2", "", "time_s,pressure\n0,1\n0.01,"+word+"\n")
		if strings.ContainsAny(word, "#_x١") || word == "1e999" {
			d.reason = "not_a_number"
		}
	}
	add("empty cells", "", "", "", swap(plain, ",7", ",", 3)).other = true
	add("a spreadsheet", "not_text", "spreadsheet", "", "PK\x03\x04"+strings.Repeat("\x00\x01", 400))
	add("a web page", "column_missing", "", "", "<!DOCTYPE html>\n<html>\n").hz = "128"
	add("one endless line", "not_text", "", "", strings.Repeat("1", 100_000))
	add("zeros in the text", "not_a_number", "w.csv:3:2", "", "time_s,pressure\n0,1\n0.01,\x00\n")
	add("gzip in name alone", "gzip_not_named", ".gz", "", zipped(t, plain))
	packed("gzip in two members", "", "", zipped(t, plain[:5000])+zipped(t, plain[5000:]))
	packed("gzip, cut", "gzip_damaged", "", zipped(t, plain)[:900])
	packed("gzip with garbage behind", "gzip_damaged", "", zipped(t, plain)+"garbage that is no member")
	packed("not gzip", "gzip_damaged", "", plain)
	packed("gzip bomb", "text_too_large", "", zipped(t, "time_s,pressure\n"+strings.Repeat("0,0\n", 20<<20/4)))
	return all
}

func extraCells(plain string) string {
	lines := strings.Split(strings.TrimSuffix(plain, "\n"), "\n")
	for i := range lines {
		lines[i] += map[bool]string{true: ",x,x", false: ",a,b"}[i == 0]
	}
	return strings.Join(lines, "\n") + "\n"
}

func withTimes(time func(i int) float64) string {
	var b strings.Builder
	b.WriteString("time_s,pressure\n")
	for i, v := range plainWave() {
		fmt.Fprintf(&b, "%.6f,%.3f\n", time(i), v)
	}
	return b.String()
}

func unevenTimes() string {
	return withTimes(func(i int) float64 { return float64(i)/128 + float64(i*i%7)*0.001 })
}

// jitteredTimes stray from the grid by up to a tenth of a step.
func jitteredTimes() string {
	return withTimes(func(i int) float64 { return (float64(i) + float64(i*7%11-5)*0.02) / 128 })
}

func milliseconds() string {
	return withTimes(func(i int) float64 { return float64(i) * 1000 / 128 })
}

func gappedTimes(plain string) string {
	lines := strings.Split(plain, "\n")
	return strings.Join(append(lines[:300:300], lines[320:]...), "\n")
}

func TestCSVDefects(t *testing.T) { judgeDefects(t, "", csvDefects(t)) }

// declared is the setting that an Issue about a csv waveform offers.
var declared = regexp.MustCompile(`waveforms: \{.*?\}`)

// Where a refusal names a setting, that setting reads the file.
func TestCSVDefectsAreReadAsDeclared(t *testing.T) {
	judge := func(d defect, settings string) []schema.Issue {
		f := newForeign(t, settings)
		for name, text := range d.files {
			f.write(name, text)
		}
		f.person("A", "male", "40", "120", "70")
		f.recording("A", d.file, "csv", d.channel, d.hz, d.unit, "radial")
		f.writeTables()
		issues, err := pipeline.Check(context.Background(), f.dir, nil)
		if err != nil {
			t.Fatal(err)
		}
		return slices.DeleteFunc(issues, func(i schema.Issue) bool { return i.Size == schema.SizeNote })
	}
	read := 0
	for _, d := range csvDefects(t) {
		if d.reason == "" || d.name == "gzip bomb" {
			continue
		}
		settings, issues := "", judge(d, "")
		for range 2 { // one setting may bring the next to light
			if m := declared.FindString(issues[0].Hint); m != "" {
				m = strings.NewReplacer("POSITION", "1", "waveforms: {", "", "}", "").Replace(m)
				settings = strings.TrimPrefix(settings+", "+m, ", ")
				if issues = judge(d, "waveforms: {"+settings+"}\n"); len(issues) == 0 {
					read++
					break
				}
			}
		}
		beyond := []string{"UTF-16 without its mark", "quote without end", "decimal commas within commas", "decimal commas, quoted", "time twice"}
		if settings != "" && len(issues) > 0 && issues[0].Code == d.reason && !slices.Contains(beyond, d.name) {
			t.Errorf("%s: %q is not enough: %v", d.name, settings, issues)
		}
	}
	if read < 12 {
		t.Errorf("%d read as declared", read)
	}
}
