package parquet

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"tonocohort/schema"
)

// The value of a cell is defined here once, for the writer, the digest and
// the CSV text: what counts as missing, and what a kind may hold.

// maxExact is the largest magnitude up to which every integer is a float64.
const maxExact = 1 << 53

// finite reports whether v is a value; NaN and infinities are missing.
func finite(v float64) bool { return math.Abs(v) <= math.MaxFloat64 }

// wholeNumber returns the cell of an integer column.
func wholeNumber(v float64) (int64, error) {
	if v != math.Trunc(v) || math.Abs(v) > maxExact {
		return 0, fmt.Errorf("%v is not an integer within ±2^53", v)
	}
	return int64(v), nil
}

// truth returns the cell of a boolean column.
func truth(v float64) (bool, error) {
	if v != 0 && v != 1 {
		return false, fmt.Errorf("%v is neither 0 nor 1", v)
	}
	return v == 1, nil
}

const dateLayout = "2006-01-02"

// dayNumber returns days since 1970-01-01 of a date cell.
func dayNumber(s string) (int32, error) {
	t, err := time.Parse(dateLayout, s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a date YYYY-MM-DD", s)
	}
	return int32(t.Unix() / 86400), nil
}

// dateOf is the inverse of dayNumber.
func dateOf(day int32) (string, error) {
	t := time.Unix(int64(day)*86400, 0).UTC()
	if y := t.Year(); y < 0 || y > 9999 {
		return "", fmt.Errorf("day %d is not a date of the years 0 to 9999", day)
	}
	return t.Format(dateLayout), nil
}

// cleanText is a text as it is written: bytes that are not UTF-8 become the
// replacement character, since a text column may hold nothing else.
func cleanText(s string) string {
	if utf8.ValidString(s) { // some times faster, and nearly always so
		return s
	}
	return strings.ToValidUTF8(s, "\uFFFD")
}

// sameLayout reports whether rows laid out for a can be taken for rows of b.
func sameLayout(a, b schema.Table) error {
	if len(a.Columns) != len(b.Columns) {
		return fmt.Errorf("table %s has %d columns, not %d", a.Name, len(b.Columns), len(a.Columns))
	}
	for i := range a.Columns { // no copy of whole declarations
		if c, d := &a.Columns[i], &b.Columns[i]; c.Name != d.Name || c.Kind != d.Kind {
			return fmt.Errorf("column %d of table %s is %s (%s), not %s (%s)", i+1, a.Name, c.Name, c.Kind, d.Name, d.Kind)
		}
	}
	return nil
}

// checkCells reports whether the frame has N cells in every column.
func checkCells(f *schema.Frame) error {
	for i := range f.Table.Columns {
		c, d := &f.Table.Columns[i], &f.Cols[i]
		n := len(d.Wave)
		switch {
		case c.Numeric():
			n = len(d.Num)
		case c.Textual():
			n = len(d.Text)
		}
		if n != f.N {
			return fmt.Errorf("column %s has %d cells in a frame of %d rows", c.Name, n, f.N)
		}
	}
	return nil
}
