package recording

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// value reads a number, NaN where the cell is empty, or says why it is none.
func (t *table) value(cell []byte, row, i, c int) (float64, error) {
	if len(cell) == 0 || t.missing != "" && string(cell) == t.missing {
		return math.NaN(), nil
	}
	if v, ok := parseNumber(cell, t.point); ok {
		return v, nil
	}
	if bare := bytes.Trim(cell, "\u00a0\u202f\u2009\ufeff "); len(bare) < len(cell) {
		if v, ok := parseNumber(bare, t.point); ok {
			if t.unseen++; t.unseen == 1 {
				t.firstUnseen = t.line(i)
			}
			return v, nil
		}
	}
	if plain, ok := schema.Ungroup(string(cell), t.thousands, t.point); ok {
		if v, ok := parseNumber([]byte(plain), t.point); ok {
			return v, nil
		}
	}
	if err := t.grouped(cell, i, c); err != nil {
		return 0, err
	}
	switch {
	case bytes.Contains(cell, []byte("\u00a0")):
		return 0, t.fault(i, c, cell, CodeNonBreakingSpace, "the number holds a non-breaking space", "take it out")
	case isMissingWord(cell):
		return 0, t.fault(i, c, cell, CodeNaNText, "is a word, not a number", "leave the cell empty where a sample is missing")
	case t.point == '.' && bytes.Count(cell, []byte{','}) == 1 && decimalForm(cell, ','):
		return 0, t.fault(i, c, cell, CodeDecimalComma, "has a decimal comma", t.commaHint())
	case t.point == ',' && decimalForm(cell, '.'):
		return 0, t.fault(i, c, cell, CodeDecimalPoint, "has a decimal point, where waveforms.decimal says comma", "write the file with one decimal sign")
	}
	hint := "write it as digits with one decimal sign"
	switch {
	case bytes.Count(cell, []byte{':'}) > 0:
		hint = "times are seconds; or take the column out and give sampling_hz"
	case row == 0:
		hint += "; a line of units or the like below the header is left out by waveforms: {first_line: " + strconv.Itoa(t.line(i)+1) + "}"
	}
	return 0, t.fault(i, c, cell, CodeNotNumber, "is not a number", hint)
}

// grouped is the fault of a number in groups of three digits, nil where it is none.
// One comma alone is taken for a decimal sign.
func (t *table) grouped(cell []byte, i, c int) error {
	for _, g := range schema.Groupings() {
		plain, ok := schema.Ungroup(string(cell), g.Name, t.point)
		if !ok || g.Signs[0][0] == t.delimiter || !decimalForm([]byte(plain), t.point) || g.Name == "comma" && bytes.Count(cell, []byte{','}) == 1 && bytes.IndexByte(cell, '.') < 0 {
			continue
		}
		code := CodeThousands
		if g.Name == "space" && bytes.IndexByte(cell, ' ') < 0 {
			code = CodeNonBreakingSpace
		}
		return t.fault(i, c, cell, code, "has a sign between groups of digits", fmt.Sprintf(thousandsHint, g.Name))
	}
	return nil
}

// isMissingWord knows the words that programs write for a number that is none.
func isMissingWord(cell []byte) bool {
	switch word := string(bytes.ToLower(bytes.TrimLeft(cell[:min(len(cell), 16)], "+-"))); word {
	case "nan", "inf", "infinity", "na", "n/a", "null", "none", "nil", "missing", "#n/a", "-", ".":
		return true
	}
	return bytes.Equal(cell, []byte("-")) || bytes.Equal(cell, []byte("--"))
}

// commaHint names the setting that reads decimal commas.
func (t *table) commaHint() string {
	switch {
	case t.delimiter != ',':
		return "waveforms: {decimal: comma} reads it, in all csv waveforms alike"
	case len(t.columns) == 1:
		return "waveforms: {delimiter: semicolon, decimal: comma} reads it, in all csv waveforms alike"
	}
	return "no setting reads it, since commas divide the columns too: save it with semicolons, which waveforms: {delimiter: semicolon, decimal: comma} reads"
}

// ragged is the fault of a line with more or fewer cells than there are columns.
func (t *table) ragged(start, i int) error {
	line := t.data[start:]
	if k := bytes.IndexAny(line, "\r\n"); k >= 0 {
		line = line[:k]
	}
	cells := bytes.Split(line, []byte{t.delimiter})
	if len(line) == 0 {
		return t.fault(start, -1, nil, CodeRowRagged, "the line is blank", "take it out, or write its delimiters")
	}
	if t.delimiter == ',' && len(cells) == 2*len(t.columns) && allDigits(cells) {
		return t.fault(start, -1, line, CodeDecimalComma, "has decimal commas", t.commaHint())
	}
	return t.fault(start, -1, line, CodeRowRagged, plural(len(cells), "cell")+" where the table has "+plural(len(t.columns), "column"), raggedHint(t.strict))
}

func allDigits(cells [][]byte) bool {
	for _, cell := range cells {
		if k := skipDigits(cell, skipSign(cell, 0)); k == 0 || k < len(cell) {
			return false
		}
	}
	return true
}

// fault is the Issue at position i of the file, in column c; c < 0: the row.
func (t *table) fault(i, c int, value []byte, code, message, hint string) error {
	if t.strict && strings.Contains(hint, "waveforms:") {
		hint = strictHint
	}
	issue := fault(t.file, code, message, hint)
	issue.Row = t.line(i)
	if c >= 0 {
		issue.Column, issue.Name = c+1, t.columns[c].name
	}
	issue.Value = shorten(value)
	return issue
}
