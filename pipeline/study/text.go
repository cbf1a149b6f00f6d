package study

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"tonocohort/schema"
)

// windows1252High maps the bytes 0x80 to 0x9F; 0: not assigned. The rest of
// the encoding is that of the first 256 code points (WHATWG Encoding, from memory).
const windows1252High = "€\x00‚ƒ„…†‡ˆ‰Š‹Œ\x00Ž\x00\x00‘’“”•–—˜™š›œ\x00žŸ"

// plainText turns the bytes of a table into UTF-8 text with line feeds or
// CRLF, or reports why they are not that. Notes say what was accepted.
func plainText(data []byte, file string, c schema.CSVSettings) ([]byte, []schema.Issue) {
	at := func(size schema.Size, row int, code, message, hint string) []schema.Issue {
		return []schema.Issue{{Size: size, File: file, Row: row, Code: code, Message: message, Hint: hint}}
	}
	structural := func(row int, code, message, hint string) ([]byte, []schema.Issue) {
		return nil, at(schema.SizeStructural, row, code, message, hint)
	}
	var notes []schema.Issue
	switch {
	case len(data) == 0:
		return structural(0, "empty_file", "the file is empty", "a table has at least a header line")
	case bytes.HasPrefix(data, []byte("PK\x03\x04")) || bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")):
		return structural(0, "not_csv", "a spreadsheet or an archive, not a CSV file", "save the sheet as CSV UTF-8")
	case bytes.HasPrefix(data, []byte("\x1f\x8b")):
		return structural(0, "not_csv", "a compressed file; tables are read uncompressed", "decompress it")
	case bytes.HasPrefix(data, []byte("PAR1")):
		return structural(0, "not_csv", "a Parquet file whose name does not end in .parquet", "rename it")
	}
	wide := bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff"))
	switch {
	case c.Encoding == "utf-16":
		if !wide || len(data)%2 != 0 {
			return structural(1, "not_utf_16", "not UTF-16 with a byte-order mark, as csv.encoding declares", "leave csv.encoding out for UTF-8")
		}
		data = fromUTF16(data)
	case wide || looksUTF16(data):
		return structural(1, "utf_16", "UTF-16, not UTF-8", "csv: {encoding: utf-16} reads it, in all tables alike; or save it as CSV UTF-8")
	case c.Encoding == "windows-1252":
		converted, row := fromWindows1252(data)
		if row > 0 {
			return structural(row, "not_windows_1252", "a byte that Windows-1252 does not have", "check csv.encoding")
		}
		data = converted
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		data = data[3:]
		notes = at(schema.SizeNote, 1, "byte_order_mark", "starts with a byte-order mark, which is skipped", "")
	}
	if i := bytes.IndexByte(data, 0); i >= 0 {
		return structural(lineOf(data, i), "nul_byte", "a NUL byte: this is not text", "save it as CSV UTF-8")
	}
	if i := firstInvalid(data); i >= 0 {
		return structural(lineOf(data, i), "not_utf_8", "bytes that are not UTF-8", "csv: {encoding: windows-1252} reads them, in all tables alike; or save it as CSV UTF-8")
	}
	crlf := bytes.Count(data, []byte("\r\n"))
	if lone := bytes.Count(data, []byte("\r")) - crlf; lone > 0 {
		if c.LineEnds != "any" {
			return structural(lineOf(data, loneCR(data)), "lone_cr", fmt.Sprintf("%d carriage returns without a line feed, the first here", lone), "csv: {line_ends: any} reads them as line ends; or save it with LF or CRLF")
		}
		data = bytes.ReplaceAll(bytes.ReplaceAll(data, []byte("\r\n"), []byte("\n")), []byte("\r"), []byte("\n"))
	}
	if crlf > 0 {
		notes = append(notes, at(schema.SizeNote, 0, "crlf", "lines end in CRLF, which is accepted", "")...)
	}
	if len(bytes.TrimSpace(data)) == 0 {
		return structural(0, "empty_file", "the file is empty", "a table has at least a header line")
	}
	return data, notes
}

// loneCR finds the first carriage return without a line feed.
func loneCR(data []byte) int {
	for i, c := range data {
		if c == '\r' && (i+1 == len(data) || data[i+1] != '\n') {
			return i
		}
	}
	return -1
}

// looksUTF16 finds UTF-16 without its mark: ASCII text has a NUL in every
// other byte then.
func looksUTF16(data []byte) bool {
	head := data[:min(len(data), 64)&^1]
	even, odd := 0, 0
	for i, b := range head {
		if b == 0 && i%2 == 0 {
			even++
		} else if b == 0 {
			odd++
		}
	}
	half := len(head) / 2
	return half >= 4 && (odd > half*3/4 && even == 0 || even > half*3/4 && odd == 0)
}

func fromUTF16(data []byte) []byte {
	little := data[0] == 0xff
	units := make([]uint16, 0, len(data)/2)
	for i := 2; i+1 < len(data); i += 2 {
		unit := uint16(data[i])<<8 | uint16(data[i+1])
		if little {
			unit = uint16(data[i+1])<<8 | uint16(data[i])
		}
		units = append(units, unit)
	}
	return []byte(string(utf16.Decode(units)))
}

// fromWindows1252 returns the text, or the line of a byte without a character.
func fromWindows1252(data []byte) ([]byte, int) {
	high := []rune(windows1252High)
	text := make([]byte, 0, len(data)+len(data)/16)
	for i, b := range data {
		r := rune(b)
		if b >= 0x80 && b <= 0x9f {
			if r = high[b-0x80]; r == 0 {
				return nil, lineOf(data, i)
			}
		}
		text = utf8.AppendRune(text, r)
	}
	return text, 0
}

func firstInvalid(data []byte) int {
	if utf8.Valid(data) {
		return -1
	}
	for i := 0; i < len(data); {
		r, size := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && size <= 1 {
			return i
		}
		i += size
	}
	return -1
}

func lineOf(data []byte, offset int) int { return 1 + bytes.Count(data[:offset], []byte("\n")) }

// delimiters gives the characters that csv.delimiter names.
func delimiters() []struct {
	name string
	char rune
} {
	return []struct {
		name string
		char rune
	}{{"comma", ','}, {"semicolon", ';'}, {"tab", '\t'}}
}

func delimiterRune(name string) rune {
	for _, d := range delimiters() {
		if d.name == name {
			return d.char
		}
	}
	return ','
}

// otherDelimiter finds a delimiter under which the header has more of the
// known columns than under the declared one.
func otherDelimiter(header, declared string, known []string) (string, bool) {
	count := func(char rune) int {
		n := 0
		for cell := range strings.SplitSeq(header, string(char)) {
			cell = strings.Trim(cell, " \"\r")
			for _, k := range known {
				if strings.EqualFold(k, cell) {
					n++
				}
			}
		}
		return n
	}
	best, most := "", count(delimiterRune(declared))
	for _, d := range delimiters() {
		if n := count(d.char); d.name != declared && n > most {
			best, most = d.name, n
		}
	}
	return best, best != ""
}
