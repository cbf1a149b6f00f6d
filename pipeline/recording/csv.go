package recording

import (
	"bytes"
	"fmt"
	"strings"

	"tonocohort/schema"
)

// The names of the columns of a csv waveform in the contract.
const (
	pressureColumn = "pressure"
	timeColumn     = "time_s"
)

// mostHeader is the longest header line of a text table.
const mostHeader = 64 << 10

// readCSV reads a csv waveform: a header line, then a column pressure (or the
// one that the channel names), alone or with time_s in seconds. An empty cell is
// a gap. A name that ends in .gz is read as gzip.
func (x *reading) readCSV() error {
	t, err := x.openCSV()
	if err != nil {
		return err
	}
	value, err := x.valueColumn(t)
	if err != nil {
		return err
	}
	clock, err := x.clockColumn(t)
	if err != nil {
		return err
	}
	if clock == value {
		return x.channelFault(CodeChannelNotSignal, "is the time")
	}
	if len(t.columns) > 2 || len(t.columns) == 2 && clock < 0 {
		x.note(CodeColumnsIgnored, "columns beside the time and the channel are not read")
	}
	if clock < 0 && x.SamplingHz == 0 {
		return x.fault(CodeSamplingMissing, "has no "+timeColumn+" column, and no sampling rate is declared", x.clockHint(t))
	}
	if err := x.readColumns(t, value, clock); err != nil {
		return err
	}
	return x.setUnit("")
}

// openCSV reads the text and its header line.
func (x *reading) openCSV() (*table, error) {
	data, err := x.openText()
	if err != nil {
		return nil, err
	}
	t := &table{file: x.File, delimiter: x.options.Delimiter, point: x.options.Decimal, thousands: x.options.Text.Thousands}
	t.data, t.joined = x.options.Text.plain(data, t.delimiter)
	if t.delimiter == t.point {
		return nil, x.fault(CodeDelimiter, "delimiter and decimal sign are the same", "declare another delimiter")
	}
	return t, x.header(t)
}

// readColumns reads the wanted columns and sets the samples and their rate;
// clock < 0: there is no time column.
func (x *reading) readColumns(t *table, value, clock int) error {
	n := t.capacity()
	if err := x.takes(n); err != nil {
		return err
	}
	t.columns[value].out = room(&x.samples, n)
	if clock >= 0 {
		t.columns[clock].out = room(&x.times, n)
	}
	n, err := t.rows()
	if err != nil {
		return err
	}
	if n == 0 {
		return x.fault(CodeNoSamples, "holds no samples", askWhole)
	}
	if t.unseen > 0 {
		i := fault(x.File, CodeNonBreakingSpace, plural(t.unseen, "number")+" with a non-breaking space around, which is dropped; first here", "")
		i.Size, i.Row = schema.SizeNote, t.firstUnseen
		x.rec.Notes = append(x.rec.Notes, *i)
	}
	if t.data[len(t.data)-1] != '\n' {
		x.note(CodeNoFinalNewline, "the last line has no line end; its value may be cut")
	}
	x.rec.Samples = x.samples[:n]
	x.rec.SamplingHz = x.SamplingHz
	if clock >= 0 {
		place := func(i int) *schema.Issue {
			return &schema.Issue{Row: t.lineOfRow(i), Column: clock + 1, Name: t.columns[clock].name}
		}
		if unit := x.options.Text.TimeUnit; unit != 0 {
			for i := range n {
				x.times[i] *= unit
			}
		}
		if err := x.setClock(x.times[:n], place); err != nil {
			return err
		}
	}
	return nil
}

// header reads the names of the columns and how lines end.
func (x *reading) header(t *table) error {
	if len(t.data) == 0 {
		return x.fault(CodeNoSamples, "is empty", askWhole)
	}
	before := skipLines(t.data, 0, x.options.Text.HeaderLine-1)
	end := bytes.IndexByte(t.data[before:min(len(t.data), before+mostHeader)], '\n')
	if end < 0 {
		if bytes.IndexByte(t.data, '\r') >= 0 {
			return x.fault(CodeLoneCR, "lines end with a carriage return alone", loneCRHint)
		}
		if end = len(t.data) - before; end >= mostHeader {
			return x.fault(CodeNotText, "has no header line", notTextHint(t.data))
		}
	}
	line, lineEnd := t.data[before:before+end], "\n"
	if bytes.HasSuffix(line, []byte{'\r'}) {
		line, lineEnd = line[:len(line)-1], "\r\n"
		x.note(CodeWindowsLineEnds, "lines end with carriage return and line feed")
	}
	if k := bytes.IndexFunc(line, func(r rune) bool { return r < ' ' && r != '\t' }); k >= 0 {
		if line[k] == '\r' {
			return x.fault(CodeLoneCR, "a line ends with a carriage return alone", loneCRHint)
		}
		return x.fault(CodeNotText, "is not a text file", notTextHint(t.data))
	}
	t.firstLine, t.start = 1+bytes.Count(t.data[:before], []byte{'\n'})+t.joinedBefore(before), before
	for i, last := before, false; !last; {
		var cell []byte
		var err error
		if cell, i, last, err = t.cell(i, -1); err != nil {
			return err
		}
		t.columns = append(t.columns, column{name: strings.ReplaceAll(string(cell), `""`, `"`), end: string(t.delimiter)})
		if last {
			t.start = i
		}
	}
	if first := x.options.Text.FirstLine; first > 0 {
		t.start = skipLines(t.data, t.start, first-max(1, x.options.Text.HeaderLine)-1-t.joinedBefore(t.start))
	}
	t.firstLine = 1 + bytes.Count(t.data[:t.start], []byte{'\n'}) + t.joinedBefore(t.start)
	t.columns[len(t.columns)-1].end = lineEnd
	return x.judgeHeader(t, line)
}

// skipLines gives the position behind so many lines from position i on.
func skipLines(data []byte, i, lines int) int {
	for range lines {
		k := bytes.IndexByte(data[i:], '\n')
		if k < 0 {
			return len(data)
		}
		i += k + 1
	}
	return i
}

// judgeHeader refuses a first line that is none.
func (x *reading) judgeHeader(t *table, line []byte) error {
	at := func(c int, code, message, hint string) error {
		i := fault(x.File, code, message, hint)
		i.Row, i.Column, i.Value = max(1, x.options.Text.HeaderLine), c+1, shorten([]byte(t.columns[c].name))
		return i
	}
	if sign, ok := bytes.CutPrefix(bytes.ToLower(line), []byte("sep=")); ok && len(sign) == 1 && delimiterName(sign[0]) != "" {
		return at(0, CodeDelimiter, "a spreadsheet's line about the delimiter stands above the header",
			fmt.Sprintf("waveforms: {delimiter: %s, header_line: 2} reads it, in all csv waveforms alike", delimiterName(sign[0])))
	}
	numbers := 0
	for c := range t.columns {
		if _, ok := parseNumber([]byte(t.columns[c].name), '.'); ok {
			numbers++
		}
	}
	if numbers == len(t.columns) {
		return at(0, CodeHeaderMissing, "the first line holds numbers, not names of columns", "put a header line with the name "+pressureColumn+" first")
	}
	for _, other := range []byte{';', '\t', '|', ','} {
		if other != t.delimiter && len(t.columns) == 1 && bytes.IndexByte(line, other) >= 0 {
			return at(0, CodeDelimiter, fmt.Sprintf("columns are divided by %q, not by %q", other, t.delimiter),
				fmt.Sprintf("waveforms: {delimiter: %s} reads it, in all csv waveforms alike", delimiterName(other)))
		}
	}
	return nil
}

// delimiterName is what a study calls a delimiter.
func delimiterName(c byte) string {
	return map[byte]string{',': "comma", ';': "semicolon", '\t': "tab", '|': "pipe"}[c]
}
