package pipeline_test

import (
	"fmt"
	"strings"
	"testing"
)

// edfFile is an EDF file by its fields (edfplus.info/specs/edf.html).
type edfFile struct {
	version, patient, reserved, headerBytes, records, duration, count string
	signals                                                           []edfLine
	body                                                              string
}

type edfLine struct{ label, unit, low, high, digitalLow, digitalHigh, samples string }

func artery() edfLine { return edfLine{"ART", "mmHg", "-256", "256", "-2048", "2048", "128"} }

// plainEDF has the plain wave in records of one second.
func plainEDF(change func(*edfFile)) string {
	e := &edfFile{version: "0", records: "10", duration: "1", signals: []edfLine{artery()}, body: edfBody(2, 10, edfSamples())}
	change(e)
	if e.count == "" {
		e.count = fmt.Sprint(len(e.signals))
	}
	if e.headerBytes == "" {
		e.headerBytes = fmt.Sprint(256 * (1 + len(e.signals)))
	}
	return e.text()
}

func (e *edfFile) text() string {
	var b strings.Builder
	pad := func(text string, n int) { b.WriteString((text + strings.Repeat(" ", n))[:n]) }
	pad(e.version, 8)
	pad(e.patient, 80)
	pad("", 80)
	pad("02.02.19", 8)
	pad("10.11.12", 8)
	pad(e.headerBytes, 8)
	pad(e.reserved, 44)
	pad(e.records, 8)
	pad(e.duration, 8)
	pad(e.count, 4)
	for _, field := range []struct {
		of    func(edfLine) string
		width int
	}{
		{func(s edfLine) string { return s.label }, 16}, {func(edfLine) string { return "" }, 80}, {func(s edfLine) string { return s.unit }, 8},
		{func(s edfLine) string { return s.low }, 8}, {func(s edfLine) string { return s.high }, 8}, {func(s edfLine) string { return s.digitalLow }, 8},
		{func(s edfLine) string { return s.digitalHigh }, 8}, {func(edfLine) string { return "" }, 80}, {func(s edfLine) string { return s.samples }, 8}, {func(edfLine) string { return "" }, 32},
	} {
		for _, s := range e.signals {
			pad(field.of(s), field.width)
		}
	}
	return b.String() + e.body
}

func edfSamples() []int {
	wave := plainWave()
	out := make([]int, len(wave))
	for i, v := range wave {
		out[i] = int(v * 8)
	}
	return out
}

// edfBody interleaves signals by record; a string stands for annotations.
func edfBody(width, records int, signals ...any) string {
	var b strings.Builder
	for r := range records {
		for _, s := range signals {
			switch s := s.(type) {
			case []int:
				each := len(s) / records
				for _, v := range s[r*each : (r+1)*each] {
					for k := range width {
						b.WriteByte(byte(v >> (8 * k)))
					}
				}
			case func(r int) string: // annotations, 30 samples of two bytes
				b.WriteString((s(r) + strings.Repeat("\x00", 60))[:60])
			}
		}
	}
	return b.String()
}

func annotations() edfLine {
	return edfLine{"EDF Annotations", "", "-1", "1", "-32768", "32767", "30"}
}

// discontinuous has the plain wave with records at the given times.
func discontinuous(at func(r int) string) string {
	return plainEDF(func(e *edfFile) {
		e.reserved, e.signals = "EDF+D", []edfLine{artery(), annotations()}
		e.body = edfBody(2, 10, edfSamples(), at)
	})
}

func onset(seconds float64) string { return fmt.Sprintf("%+g\x14\x14\x00", seconds) }

func edfDefects() []defect {
	var all []defect
	add := func(name, reason, says, note string, text string) *defect {
		all = append(all, defect{name: name, files: map[string]string{"w.edf": text}, file: "w.edf", channel: "1", reason: reason, says: says, note: note})
		return &all[len(all)-1]
	}
	change := func(name, reason, says, note string, f func(*edfFile)) *defect {
		return add(name, reason, says, note, plainEDF(f))
	}
	change("records -1", "", "", "records_counted", func(e *edfFile) { e.records = "-1" })
	change("records -1, last cut", "", "", "trailing_bytes", func(e *edfFile) { e.records = "-1"; e.body += "\x00\x00\x00" })
	change("records -2", "edf_header", "number of data records", "", func(e *edfFile) { e.records = "-2" })
	change("records 0", "no_samples", "", "", func(e *edfFile) { e.records, e.body = "0", "" })
	change("records too many", "file_truncated", "the header says 11", "", func(e *edfFile) { e.records = "11" })
	change("padded with zeros", "", "", "trailing_bytes", func(e *edfFile) { e.body += strings.Repeat("\x00", 4096) })
	change("header bytes blank", "edf_header", "number of header bytes", "", func(e *edfFile) { e.headerBytes = " " })
	change("header bytes of two signals", "edf_header", "number of header bytes", "", func(e *edfFile) { e.headerBytes = "768" })
	change("patient in Latin-1", "", "", "", func(e *edfFile) { e.patient = "M\xfcller \xff" })
	change("label and unit in Latin-1", "", "", "", func(e *edfFile) { e.signals[0].label, e.signals[0].unit = "Art\xe8re", "\xb5V" })
	change("version with NULs", "", "", "", func(e *edfFile) { e.version = "0\x00\x00\x00\x00\x00\x00\x00" })
	change("fields with NULs", "", "", "", func(e *edfFile) {
		e.records, e.duration = "10\x00\x00\x00\x00\x00\x00", "1\x00\x00\x00\x00\x00\x00\x00"
	})
	change("digital minimum = maximum", "edf_scale", "signal 1", "", func(e *edfFile) { e.signals[0].digitalLow = "2048" })
	change("digital minimum above maximum", "edf_scale", "signal 1", "", func(e *edfFile) { e.signals[0].digitalLow, e.signals[0].digitalHigh = "2048", "-2048" })
	change("physical minimum above maximum", "", "", "", func(e *edfFile) { // the signal is upside down, as a negative gain allows
		e.signals[0].low, e.signals[0].high = "256", "-256"
		upside := edfSamples()
		for i := range upside {
			upside[i] = -upside[i]
		}
		e.body = edfBody(2, 10, upside)
	})
	change("physical minimum blank", "edf_scale", "physical minimum", "", func(e *edfFile) { e.signals[0].low = "" })
	change("decimal comma", "edf_scale", "decimal comma", "", func(e *edfFile) { e.signals[0].low = "-256,0" })
	change("decimal comma in the duration", "edf_header", "decimal comma", "", func(e *edfFile) { e.duration = "1,0" })
	change("other signal without scale", "", "", "", func(e *edfFile) {
		e.signals = append(e.signals, edfLine{"X", "", "0", "0", "0", "0", "128"})
		e.body = edfBody(2, 10, edfSamples(), edfSamples())
	})
	change("other signal without samples", "", "", "", func(e *edfFile) { e.signals = append(e.signals, edfLine{"X", "", "0", "1", "0", "1", "0"}) })
	change("samples negative", "edf_header", "samples in a data record", "", func(e *edfFile) { e.signals[0].samples = "-128" })
	change("samples none", "no_samples", "", "", func(e *edfFile) { e.signals[0].samples = "0" })
	change("mixed rates", "", "", "", func(e *edfFile) {
		e.signals = []edfLine{artery(), {"ECG", "mV", "-1", "1", "-2048", "2048", "512"}}
		e.body = edfBody(2, 10, edfSamples(), make([]int, 5120))
	})
	change("label twice", "channel_ambiguous", "position", "", func(e *edfFile) {
		e.signals = []edfLine{artery(), artery()}
		e.body = edfBody(2, 10, edfSamples(), edfSamples())
	}).channel = "ART"
	change("no channel named", "channel_required", "channel", "", func(e *edfFile) {
		e.signals = []edfLine{artery(), artery()}
		e.body = edfBody(2, 10, edfSamples(), edfSamples())
	}).channel = ""
	change("records of a tenth", "", "", "", func(e *edfFile) { e.duration, e.records, e.signals[0].samples = "0.125", "80", "16" })
	change("duration without end", "sampling_implausible", "", "", func(e *edfFile) { e.duration = "99999999" })
	change("duration negative", "edf_header", "duration", "", func(e *edfFile) { e.duration = "-1" })
	change("plus without annotations", "", "", "", func(e *edfFile) { e.reserved = "EDF+C" })
	change("annotations alone", "no_samples", "annotations", "", func(e *edfFile) {
		e.reserved, e.signals = "EDF+C", []edfLine{annotations()}
		e.body = edfBody(2, 10, func(r int) string { return onset(float64(r)) })
	}).channel = ""
	change("annotations named", "channel_not_signal", "channel", "", func(e *edfFile) {
		e.reserved, e.signals = "EDF+C", []edfLine{annotations(), artery()}
		e.body = edfBody(2, 10, func(r int) string { return onset(float64(r)) }, edfSamples())
	})
	add("annotations that overlap", "", "", "", discontinuous(func(r int) string {
		return onset(float64(r)) + "+0\x155\x14long\x14\x00+0.5\x1520\x14over\x14\x00" + strings.Repeat("+1\x14x", 20)
	}))
	add("discontinuous in name", "", "", "", discontinuous(func(r int) string { return onset(float64(r) + 3600) }))
	add("discontinuous with a gap", "", "", "time_gaps", discontinuous(func(r int) string { return onset(float64(r + r/5)) })).other = true
	add("discontinuous between samples", "", "", "time_rounded", discontinuous(func(r int) string { return onset(float64(r) + float64(r/5)*0.003) }))
	add("discontinuous, times reversed", "time_backwards", "data record 2", "", discontinuous(func(r int) string { return onset(float64(-r)) }))
	add("discontinuous, records overlap", "time_backwards", "data record 6", "", discontinuous(func(r int) string { return onset(float64(r) - float64(r/5)*0.5) }))
	add("discontinuous without times", "edf_times", "data record 1", "", discontinuous(func(int) string { return "" }))
	add("discontinuous without end", "too_many_samples", "", "", discontinuous(func(r int) string { return onset(float64(r) * 1e12) }))
	change("discontinuous without annotations", "edf_times", "", "", func(e *edfFile) { e.reserved = "EDF+D" })
	bdf := func(name, channel, reason string) {
		d := change(name, reason, "", "", func(e *edfFile) {
			e.version = "\xffBIOSEMI"
			e.signals = []edfLine{artery(), {"Status", "Boolean", "-8388608", "8388607", "-8388608", "8388607", "128"}}
			e.body = edfBody(3, 10, edfSamples(), slicesRepeat(0xff0000, 1280))
		})
		d.channel = channel
	}
	bdf("BDF with a status channel", "ART", "")
	add("packed", "edf_version", "unpack", "", "\x1f\x8b\x08\x00\x00\x00\x00\x00")
	add("a zip archive", "edf_version", "", "", "PK\x03\x04"+strings.Repeat("x", 600))
	add("a WFDB header", "edf_version", "", "", "w 1 128 1280\nw.dat 16 8/mmHg\n")
	return all
}

func slicesRepeat(v, n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = v
	}
	return out
}

func TestEDFDefects(t *testing.T) { judgeDefects(t, "", edfDefects()) }
