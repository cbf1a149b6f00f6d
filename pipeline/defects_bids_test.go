package pipeline_test

import (
	"math"
	"strings"
	"testing"

	"tonocohort/schema"
)

const plainSide = `{"SamplingFrequency": 128, "StartTime": 0, "Columns": ["artery"], "artery": {"Units": "mmHg"}}`

// untitled is the plain wave without a header line.
func untitled() string { return strings.TrimPrefix(csvText(plainWave(), false, "", "."), "pressure\n") }

func bidsDefects(t testing.TB) []defect {
	var all []defect
	add := func(name, reason, says, note, text, side string, more ...string) *defect {
		files := map[string]string{"sub-1_task-rest_physio.tsv.gz": zipped(t, text), "sub-1_task-rest_physio.json": side}
		for i := 0; i < len(more); i += 2 {
			if files[more[i]] = more[i+1]; more[i+1] == "" {
				delete(files, more[i])
			}
		}
		all = append(all, defect{name: name, files: files, file: "sub-1_task-rest_physio.tsv.gz", channel: "artery", reason: reason, says: says, note: note})
		return &all[len(all)-1]
	}
	two := strings.ReplaceAll(untitled(), "\n", "\t0\n")
	twoSide := strings.Replace(plainSide, `["artery"]`, `["artery", "trigger"]`, 1)
	add("plain", "", "", "", untitled(), plainSide)
	add("no side file", "bids_sidecar", "SamplingFrequency and Columns", "", untitled(), "", "sub-1_task-rest_physio.json", "")
	add("side file of another run", "bids_sidecar", "side file", "", untitled(), "", "sub-1_task-rest_physio.json", "", "sub-2_physio.json", plainSide)
	add("inherited", "", "", "", untitled(), `{"SamplingFrequency": 128}`, "sub-1_task-rest_physio.json", "", "physio.json", plainSide)
	add("two in one folder", "bids_sidecar", "one in each folder", "", untitled(), plainSide, "task-rest_physio.json", plainSide)
	add("start negative", "", "", "", untitled(), strings.Replace(plainSide, `"StartTime": 0`, `"StartTime": -22.345`, 1))
	add("start a word", "", "", "", untitled(), strings.Replace(plainSide, `"StartTime": 0`, `"StartTime": "n/a"`, 1))
	add("more columns than named", "row_ragged", "Columns", "", two, plainSide)
	add("fewer columns than named", "row_ragged", "Columns", "", untitled(), twoSide)
	add("two columns", "", "", "", two, twoSide)
	add("channel not named", "channel_required", "channel", "", two, twoSide).channel = ""
	add("name in another case", "channel_missing", `did you mean "artery"?`, "", two, twoSide).channel = "Artery"
	add("no Columns", "bids_sidecar", "Columns", "", untitled(), `{"SamplingFrequency": 128}`)
	add("Columns one word", "bids_sidecar", "Columns", "", untitled(), `{"SamplingFrequency": 128, "Columns": "artery"}`)
	add("Columns twice the same", "channel_ambiguous", "position", "", two, strings.Replace(twoSide, "trigger", "artery", 1))
	add("n/a cells", "", "", "", strings.Replace(untitled(), "\n", "\nn/a\nn/a\n", 1), plainSide).other = true
	add("rate as text", "bids_sidecar", "SamplingFrequency", "", untitled(), strings.Replace(plainSide, "128", `"128"`, 1))
	add("rate none", "sampling_missing", "sampling_hz", "", untitled(), `{"Columns": ["artery"]}`)
	add("rate in the table alone", "", "", "", untitled(), `{"Columns": ["artery"]}`).hz = "128"
	add("rate of the table differs", "sampling_mismatch", "sampling_hz", "", untitled(), plainSide).hz = "250"
	add("rate 0", "bids_sidecar", "SamplingFrequency", "", untitled(), strings.Replace(plainSide, "128", "0", 1))
	add("rate beyond", "sampling_implausible", "sampling_hz", "", untitled(), strings.Replace(plainSide, "128", "1e300", 1))
	add("header line", "bids_header_line", "take the line out", "", "artery\n"+untitled(), plainSide)
	add("commas", "row_ragged", "tab", "", strings.ReplaceAll(two, "\t", ","), twoSide)
	add("decimal comma", "decimal_comma", "point", "", strings.ReplaceAll(untitled(), ".", ","), plainSide)
	add("CRLF", "", "", "", strings.ReplaceAll(untitled(), "\n", "\r\n"), plainSide)
	add("lone CR", "lone_carriage_return", "line feed", "", strings.ReplaceAll(untitled(), "\n", "\r"), plainSide)
	add("byte order mark", "", "", "byte_order_mark", "\ufeff"+untitled(), plainSide)
	add("UTF-16", "utf16", "UTF-8", "", "\xff\xfe1\x00\n\x00", plainSide)
	add("infinite", "nan_text", "physio.tsv.gz:2:1", "", "1\ninf\n2\n", plainSide)
	add("no rows", "no_samples", "", "", "", plainSide)
	add("n/a alone", "no_samples", "channel", "", "n/a\nn/a\nn/a\n", plainSide)
	add("side file with a byte order mark", "", "", "byte_order_mark", untitled(), "\ufeff"+plainSide)
	add("side file in UTF-16", "utf16", "UTF-8", "", untitled(), "\xff\xfe{\x00}\x00")
	add("side file with a last comma", "bids_sidecar", "_physio.json", "", untitled(), `{"SamplingFrequency": 128,}`)
	add("side file a list", "bids_sidecar", "", "", untitled(), "["+plainSide+"]")
	add("side file empty", "bids_sidecar", "", "", untitled(), "\n")
	add("side file without end", "bids_sidecar", "", "", untitled(), strings.Repeat(`{"a":`, 100_000))
	add("not packed", "gzip_damaged", "pack it", "", "", plainSide, "sub-1_task-rest_physio.tsv.gz", untitled())
	add("packed twice", "gzip_damaged", "once", "", zipped(t, untitled()), plainSide)
	d := add("no ending .gz", "bids_name", "_physio.tsv.gz", "", "", plainSide, "sub-1_task-rest_physio.tsv", untitled())
	d.file = "sub-1_task-rest_physio.tsv"
	return all
}

func TestBIDSDefects(t *testing.T) { judgeDefects(t, "", bidsDefects(t)) }

func parquetDefects(t testing.TB) []defect {
	var all []defect
	add := func(name, reason, says, note, text string) *defect {
		all = append(all, defect{name: name, files: map[string]string{"w.parquet": text}, file: "w.parquet", reason: reason, says: says, note: note, hz: "128"})
		return &all[len(all)-1]
	}
	pressure := schema.Column{Name: "pressure", Kind: schema.Number}
	time := schema.Column{Name: "time_s", Kind: schema.Number}
	list := schema.Column{Name: "pressure", Kind: schema.Wave}
	wave := plainWave()
	plain := parquetText(t, []schema.Column{pressure}, wave)
	add("plain", "", "", "", plain)
	add("cut", "read_failed", "is it complete?", "", plain[:len(plain)-40])
	add("empty", "read_failed", "is it complete?", "", "")
	add("other mark in front", "", "", "", "XXXX"+plain[4:])
	add("other mark behind", "read_failed", "", "", plain[:len(plain)-4]+"XXXX")
	add("encrypted", "read_failed", "encrypted", "", "PARE"+plain[4:len(plain)-4]+"PARE")
	add("footer beyond the file", "read_failed", "", "", plain[:len(plain)-8]+"\xff\xff\xff\x7fPAR1")
	add("footer of nothing", "read_failed", "", "", plain[:len(plain)-8]+"\x00\x00\x00\x00PAR1")
	add("a csv", "read_failed", "", "", timed(",", "."))
	add("an Arrow file", "read_failed", "Feather", "", "ARROW1\x00\x00"+strings.Repeat("\x00", 100)+"ARROW1")
	for i, at := range []float64{0.1, 0.3, 0.5, 0.7, 0.9} { // a page damaged: its check sum tells
		b := []byte(plain)
		b[int(at*float64(len(b)-600))+8] ^= 0x55
		d := add("byte changed "+string(rune('a'+i)), "read_failed", "", "", string(b))
		d.other = true
	}
	add("list", "", "", "", parquetText(t, []schema.Column{list}, [][]float32{single(wave)}))
	gaps := single(wave)
	gaps[5], gaps[6] = float32(math.NaN()), float32(math.NaN())
	add("list with nulls", "", "", "", parquetText(t, []schema.Column{list}, [][]float32{gaps})).other = true
	add("list null", "no_samples", "", "", parquetText(t, []schema.Column{list}, [][]float32{nil}))
	add("lists of several", "several_recordings", "recording_id", "", parquetText(t, []schema.Column{list}, [][]float32{single(wave), single(wave)}))
	add("no rows", "no_samples", "", "", parquetText(t, []schema.Column{pressure}, []float64{}))
	add("nulls alone", "no_samples", "", "", parquetText(t, []schema.Column{pressure}, []float64{math.NaN(), math.NaN()}))
	add("column of text", "channel_not_signal", "channel", "", parquetText(t, []schema.Column{{Name: "pressure", Kind: schema.Text}}, []string{"1", "2"}))
	add("column of another name", "column_missing", "channel", "", parquetText(t, []schema.Column{{Name: "Pressure", Kind: schema.Number}}, wave))
	add("time backwards", "time_backwards", "w.parquet:3", "", parquetText(t, []schema.Column{time, pressure}, []float64{0, 1, 0.5, 2}, []float64{1, 2, 3, 4}))
	add("no rate", "sampling_missing", "sampling_hz", "", plain).hz = ""
	add("rows of others", "recording_not_in_file", "recording_id", "", parquetText(t, []schema.Column{{Name: "recording_id", Kind: schema.Text}, pressure}, []string{"x", "x"}, []float64{1, 2}))
	return all
}

func TestParquetDefects(t *testing.T) { judgeDefects(t, "", parquetDefects(t)) }
