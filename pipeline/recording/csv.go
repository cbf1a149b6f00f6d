package recording

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
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
	clock := slices.IndexFunc(t.columns, func(c column) bool { return c.name == timeColumn })
	if clock == value {
		return x.channelFault(CodeChannelNotSignal, "is the time")
	}
	if len(t.columns) > 2 || len(t.columns) == 2 && clock < 0 {
		x.note(CodeColumnsIgnored, "columns beside "+timeColumn+" and the channel are not read")
	}
	if clock < 0 && x.SamplingHz == 0 {
		return x.fault(CodeSamplingMissing, "has no "+timeColumn+" column, and no sampling rate is declared", "give sampling_hz in the recordings table")
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
	t := &table{file: x.File, data: data, delimiter: x.options.Delimiter, point: x.options.Decimal}
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
		return x.fault(CodeNoSamples, "holds no samples", "")
	}
	if t.data[len(t.data)-1] != '\n' {
		x.note(CodeNoFinalNewline, "the last line has no line end; its value may be cut")
	}
	x.rec.Samples = x.samples[:n]
	x.rec.SamplingHz = x.SamplingHz
	if clock >= 0 {
		place := func(i int) *schema.Issue {
			return &schema.Issue{Row: t.firstLine + i, Column: clock + 1, Name: t.columns[clock].name}
		}
		if err := x.setClock(x.times[:n], place); err != nil {
			return err
		}
	}
	return nil
}

// openText reads a text file, through gzip where its name ends in .gz, and
// takes off what an editor may have put before it.
func (x *reading) openText() ([]byte, error) {
	data, err := x.open(x.File, &x.raw, x.options.FileBytes)
	if err != nil {
		return nil, err
	}
	gzipped := bytes.HasPrefix(data, []byte{0x1f, 0x8b})
	switch named := strings.HasSuffix(strings.ToLower(x.File), ".gz"); {
	case named:
		if data, err = x.decompress(data); err != nil {
			return nil, err
		}
	case gzipped:
		return nil, x.fault(CodeGzipNotNamed, "is gzip, but its name does not end in .gz", "give it the ending .gz")
	}
	switch {
	case bytes.HasPrefix(data, []byte{0xff, 0xfe}), bytes.HasPrefix(data, []byte{0xfe, 0xff}),
		len(data) > 1 && (data[0] == 0) != (data[1] == 0):
		return nil, x.fault(CodeUTF16, "is UTF-16 text", "save it as UTF-8")
	case bytes.HasPrefix(data, []byte("\ufeff")):
		x.note(CodeByteOrderMark, "starts with a byte order mark, which is skipped")
		data = data[3:]
	}
	return data, nil
}

// header reads the names of the columns and how lines end.
func (x *reading) header(t *table) error {
	if len(t.data) == 0 {
		return x.fault(CodeNoSamples, "is empty", "")
	}
	end := bytes.IndexByte(t.data[:min(len(t.data), mostHeader)], '\n')
	if end < 0 {
		if bytes.IndexByte(t.data, '\r') >= 0 {
			return x.fault(CodeLoneCR, "lines end with a carriage return alone", "save the file with line feeds at the line ends")
		}
		if end = len(t.data); end >= mostHeader {
			return x.fault(CodeNotText, "has no header line", "")
		}
	}
	line, lineEnd := t.data[:end], "\n"
	if bytes.HasSuffix(line, []byte{'\r'}) {
		line, lineEnd = line[:len(line)-1], "\r\n"
		x.note(CodeWindowsLineEnds, "lines end with carriage return and line feed")
	}
	if k := bytes.IndexFunc(line, func(r rune) bool { return r < ' ' && r != '\t' }); k >= 0 {
		if line[k] == '\r' {
			return x.fault(CodeLoneCR, "a line ends with a carriage return alone", "save the file with line feeds at the line ends")
		}
		return x.fault(CodeNotText, "is not a text file", "")
	}
	t.firstLine = 1
	for i, last := 0, false; !last; {
		var cell []byte
		var err error
		if cell, i, last, err = t.cell(i, -1); err != nil {
			return err
		}
		t.columns = append(t.columns, column{name: string(cell), end: string(t.delimiter)})
		t.start = i
	}
	t.firstLine = 2
	t.columns[len(t.columns)-1].end = lineEnd
	return x.judgeHeader(t, line)
}

// judgeHeader refuses a first line that is none, and names that stand twice.
func (x *reading) judgeHeader(t *table, line []byte) error {
	at := func(c int, code, message, hint string) error {
		i := fault(x.File, code, message, hint)
		i.Row, i.Column, i.Value = 1, c+1, shorten([]byte(t.columns[c].name))
		return i
	}
	numbers := 0
	for c := range t.columns {
		name := t.columns[c].name
		if _, ok := parseNumber([]byte(name), '.'); ok {
			numbers++
		}
		for k := range c {
			if name != "" && t.columns[k].name == name {
				return at(c, CodeColumnDuplicate, "is the name of two columns", "give every column a name of its own")
			}
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

// valueColumn finds the column to read: the channel by name, else by position
// from 1, else pressure.
func (x *reading) valueColumn(t *table) (int, error) {
	names := make([]string, len(t.columns))
	for i, c := range t.columns {
		names[i] = c.name
	}
	if x.Channel == "" {
		if k := slices.Index(names, pressureColumn); k >= 0 {
			return k, nil
		}
		i := fault(x.File, CodeColumnMissing, "has no column "+pressureColumn, "name the column in channel; the file has "+shorten([]byte(strings.Join(names, ", "))))
		if near, ok := schema.Nearest(pressureColumn, names); ok {
			i.Hint = fmt.Sprintf("%q must be written %q, or named in channel", near, pressureColumn)
		}
		i.Row = 1
		return 0, i
	}
	return x.pick(names)
}

// pick finds the channel among names: by name, else by position from 1.
func (x *reading) pick(names []string) (int, error) {
	k := slices.Index(names, x.Channel)
	if k >= 0 {
		if slices.Contains(names[k+1:], x.Channel) {
			return 0, x.channelFault(CodeChannelAmbiguous, "is the name of several channels")
		}
		return k, nil
	}
	if n, err := strconv.Atoi(x.Channel); err == nil && n >= 1 && n <= len(names) {
		return n - 1, nil
	}
	return 0, x.channelFault(CodeChannelMissing, "is no channel of the file", names...)
}

// channelFault is an Issue about the channel. Names in a file are shown only
// where they are close to what the table asks for: they may hold anything.
func (x *reading) channelFault(code, message string, names ...string) error {
	i := fault(x.File, code, message, "")
	i.Name, i.Value = "channel", shorten([]byte(x.Channel))
	if len(names) > 0 {
		i.Hint = fmt.Sprintf("give a name, or a position from 1 to %d", len(names))
		if near, ok := schema.Nearest(x.Channel, names); ok {
			i.Hint = fmt.Sprintf("did you mean %q?", near)
		}
	}
	return i
}
