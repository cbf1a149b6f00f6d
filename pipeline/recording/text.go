package recording

import (
	"bytes"
	"encoding/binary"
	"slices"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// Ways out of faults of text: the setting that accepts it.
const (
	utf16Hint     = "waveforms: {encoding: utf-16} reads it; or save it as UTF-8"
	loneCRHint    = "waveforms: {line_ends: any} reads it; or save it with line feeds at the line ends"
	lineBreakHint = "waveforms: {line_breaks: blank} reads it as a blank; or write each row on one line"
	thousandsHint = "waveforms: {thousands: %s} reads it; or write the number without"
)

// strictHint is the way out where the format leaves no choice.
const strictHint = "the format wants UTF-8, tabs between cells, decimal points and line feeds: write it so"

func raggedHint(strict bool) string {
	if strict {
		return "Columns of the side file names every column, and tabs divide them"
	}
	return "give every row as many cells as there are columns"
}

func byteOrderMark() []byte { return []byte("\ufeff") }

// utf16Text recognises UTF-16 by its mark, or by the NULs that ASCII has in it.
func utf16Text(data []byte) bool {
	return bytes.HasPrefix(data, []byte{0xff, 0xfe}) || bytes.HasPrefix(data, []byte{0xfe, 0xff}) ||
		len(data) > 3 && (data[0] == 0) != (data[1] == 0) && (data[0] == 0) == (data[2] == 0) && (data[1] == 0) == (data[3] == 0)
}

// notTextHint tells what a file may be that is no text.
func notTextHint(data []byte) string {
	if bytes.HasPrefix(data, []byte("PK")) || bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")) {
		return "is it a spreadsheet? save the sheet as CSV"
	}
	return "correct the format, or get the file again from where it came"
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
	if gzipped && bytes.HasPrefix(data, []byte{0x1f, 0x8b}) {
		return nil, x.fault(CodeGzipDamaged, "is packed twice", "unpack it once")
	}
	switch {
	case utf16Text(data) && (!x.options.Text.UTF16 || x.Format != "csv"):
		hint := utf16Hint
		if x.Format != "csv" {
			hint = strictHint
		}
		return nil, x.fault(CodeUTF16, "is UTF-16 text", hint)
	case utf16Text(data):
		return x.fromUTF16(data)
	case bytes.HasPrefix(data, byteOrderMark()):
		x.note(CodeByteOrderMark, "starts with a byte order mark, which is skipped")
		data = data[3:]
	}
	return data, nil
}

// fromUTF16 turns UTF-16, whose mark tells the order of its bytes, into UTF-8.
func (x *reading) fromUTF16(data []byte) ([]byte, error) {
	var order binary.ByteOrder = binary.LittleEndian
	switch {
	case bytes.HasPrefix(data, []byte{0xfe, 0xff}):
		order = binary.BigEndian
	case !bytes.HasPrefix(data, []byte{0xff, 0xfe}):
		return nil, x.fault(CodeUTF16, "is UTF-16 text without a byte order mark", "save it as UTF-8, or as UTF-16 with its mark")
	}
	if len(data)%2 != 0 {
		return nil, x.fault(CodeUTF16, "is UTF-16 text that ends within a character", askWhole)
	}
	text := make([]byte, 0, len(data)/2+16)
	for i := 2; i < len(data); i += 2 {
		r := rune(order.Uint16(data[i:]))
		if utf16.IsSurrogate(r) && i+2 < len(data) {
			r = utf16.DecodeRune(r, rune(order.Uint16(data[i+2:])))
			i += 2
		}
		text = utf8.AppendRune(text, r)
	}
	return text, nil
}

// plain brings a text into the plain form, in its own memory: line feeds and
// CRLF at the ends of lines, and one line a row. joined lists where line breaks
// became blanks: in the header and among the samples, since the lines that the
// study leaves out are no table.
func (o Text) plain(data []byte, delimiter byte) (text []byte, joined []int) {
	if o.LoneCR {
		for i, c := range data {
			switch {
			case c != '\r' || i+1 < len(data) && data[i+1] == '\n':
			case bytes.HasPrefix(data[i+1:], []byte("\r\n")): // one line end, which was made CRLF twice
				data[i] = ' '
			default:
				data[i] = '\n'
			}
		}
	}
	if !o.JoinLines {
		return data, nil
	}
	line, header := max(1, o.HeaderLine), true
	quoted, cellStarts := false, true
	for i := skipLines(data, 0, line-1); i < len(data); i++ {
		c := data[i]
		next := byte(0)
		if i+1 < len(data) {
			next = data[i+1]
		}
		switch {
		case quoted && c == '"' && next == '"': // a quotation mark within the cell
			i++
		case quoted && c == '"':
			quoted = false
		case quoted && (c == '\n' || c == '\r'):
			if data[i] = ' '; c == '\n' || next != '\n' {
				joined = append(joined, i)
				line++
			}
		case c == '"' && cellStarts:
			quoted = true
		case c == '\n':
			if line++; header && line < o.FirstLine {
				i = skipLines(data, i+1, o.FirstLine-line) - 1
			}
			header = false
		}
		cellStarts = !quoted && (c == '\n' || c == delimiter)
	}
	return data, joined
}

// joinedBefore counts the line breaks before position i that became blanks.
func (t *table) joinedBefore(i int) int {
	n, _ := slices.BinarySearch(t.joined, i)
	return n
}

// lineOfRow gives the line of the file on which a row of the body starts.
func (t *table) lineOfRow(row int) int {
	if len(t.joined) == 0 {
		return t.firstLine + row
	}
	i := t.start
	for range row {
		i += bytes.IndexByte(t.data[i:], '\n') + 1
	}
	return t.firstLine + row + t.joinedBefore(i) - t.joinedBefore(t.start)
}

func (t *table) names() []string {
	names := make([]string, len(t.columns))
	for i, c := range t.columns {
		names[i] = c.name
	}
	return names
}
