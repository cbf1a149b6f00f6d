package parquet

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// CSVOptions says what becomes of text.
type CSVOptions struct {
	// ForSpreadsheet puts an apostrophe before every text or wave that a
	// spreadsheet would take for a formula (CWE-1236). It alters the data;
	// without it the text is what the table holds.
	ForSpreadsheet bool
}

// CSVWriter writes a table as CSV (RFC 4180, but with \n as line end, UTF-8):
// a header line, then a line a row. Numbers have the fewest digits that read
// back to the same value, booleans are true and false, samples of a wave are
// joined by blanks with NaN for a missing one, and a missing cell is empty, as
// is an empty wave.
type CSVWriter struct {
	table   schema.Table
	w       *bufio.Writer
	options CSVOptions
	line    []byte
}

// NewCSVWriter writes the header line. An error of w is returned by Append or
// Flush.
func NewCSVWriter(w io.Writer, t schema.Table, o CSVOptions) *CSVWriter {
	c := &CSVWriter{table: t, w: bufio.NewWriterSize(w, 1<<16), options: o}
	for i, column := range t.Columns {
		c.separate(i)
		c.text(column.Name)
	}
	c.end()
	return c
}

// Append writes the rows of f, whose table must have the writer's columns.
func (c *CSVWriter) Append(f *schema.Frame) error {
	if err := sameLayout(c.table, f.Table); err != nil {
		return fmt.Errorf("csv: %w", err)
	}
	if err := checkCells(f); err != nil {
		return fmt.Errorf("csv: table %s: %w", c.table.Name, err)
	}
	for row := range f.N {
		for i, column := range c.table.Columns {
			c.separate(i)
			d := &f.Cols[i]
			switch {
			case column.Numeric():
				c.number(column.Kind, d.Num[row])
			case column.Textual():
				c.text(d.Text[row])
			default:
				c.wave(d.Wave[row])
			}
		}
		if err := c.end(); err != nil {
			return fmt.Errorf("csv: table %s: %w", c.table.Name, err)
		}
	}
	return nil
}

// Flush writes what is buffered.
func (c *CSVWriter) Flush() error {
	if err := c.w.Flush(); err != nil {
		return fmt.Errorf("csv: table %s: %w", c.table.Name, err)
	}
	return nil
}

// WriteCSV writes a whole frame.
func WriteCSV(w io.Writer, f *schema.Frame, o CSVOptions) error {
	c := NewCSVWriter(w, f.Table, o)
	if err := c.Append(f); err != nil {
		return err
	}
	return c.Flush()
}

func (c *CSVWriter) separate(i int) {
	if i > 0 {
		c.line = append(c.line, ',')
	}
}

func (c *CSVWriter) end() error {
	if len(c.line) == 0 {
		c.line = append(c.line, `""`...) // a blank line would be no row
	}
	_, err := c.w.Write(append(c.line, '\n'))
	c.line = c.line[:0]
	return err
}

func (c *CSVWriter) number(k schema.Kind, v float64) {
	switch {
	case !finite(v):
	case k == schema.Boolean && (v == 0 || v == 1):
		c.line = strconv.AppendBool(c.line, v == 1)
	default:
		c.line = appendNumber(c.line, v, 64)
	}
}

// appendNumber writes v with the fewest digits that read back to it, with an
// exponent only where the plain form would be long.
func appendNumber(b []byte, v float64, bits int) []byte {
	format := byte('f')
	if a := math.Abs(v); a != 0 && (a < 1e-6 || a >= 1e21) {
		format = 'e'
	}
	return strconv.AppendFloat(b, v, format, -1, bits)
}

func (c *CSVWriter) wave(samples []float32) {
	if len(samples) > 0 && c.options.ForSpreadsheet && math.Signbit(float64(samples[0])) {
		c.line = append(c.line, '\'')
	}
	for i, v := range samples {
		if i > 0 {
			c.line = append(c.line, ' ')
		}
		if finite(float64(v)) {
			c.line = appendNumber(c.line, float64(v), 32)
		} else {
			c.line = append(c.line, "NaN"...)
		}
	}
}

// formula lists the characters at the start of a cell that make a spreadsheet
// calculate (OWASP ASVS 1.2.10, with the line feed).
const formula = "=+-@\t\r\n\x00"

func (c *CSVWriter) text(s string) {
	s = cleanText(s)
	if c.options.ForSpreadsheet && s != "" && strings.IndexByte(formula, s[0]) >= 0 {
		s = "'" + s
	}
	if !strings.ContainsAny(s, "\",\n\r") && s == strings.TrimSpace(s) {
		c.line = append(c.line, s...)
		return
	}
	c.line = append(c.line, '"')
	c.line = append(c.line, strings.ReplaceAll(s, `"`, `""`)...)
	c.line = append(c.line, '"')
}
