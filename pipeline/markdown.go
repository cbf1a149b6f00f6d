package pipeline

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// writeMarkdown writes a released table for a person to read: numbers rounded
// for the eye, the caution above.
func writeMarkdown(w io.Writer, f *schema.Frame) error {
	out := bufio.NewWriter(w)
	fmt.Fprintf(out, "# %s\n\n%s\n\n%s One row per %s. An empty cell is missing or was hidden; the note says which.\n\n",
		f.Table.Name, capital(f.Table.Meaning)+".", schema.Caution, f.Table.RowPer)
	fmt.Fprintf(out, "| %s |\n|%s\n", strings.Join(f.Table.Names(), " | "), strings.Repeat("---|", len(f.Table.Columns)))
	cells := make([]string, len(f.Table.Columns))
	for row := range f.N {
		for i, c := range f.Table.Columns {
			if c.Numeric() {
				cells[i] = readable(f.Number(row, c.Name))
			} else {
				cells[i] = strings.ReplaceAll(f.TextAt(row, c.Name), "|", "\\|")
			}
		}
		fmt.Fprintf(out, "| %s |\n", strings.Join(cells, " | "))
	}
	return out.Flush()
}

// readable rounds to four significant digits, whole numbers kept whole.
func readable(v float64) string {
	switch {
	case math.IsNaN(v):
		return ""
	case v == math.Trunc(v) && math.Abs(v) < 1e15:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case math.Abs(v) >= 1000:
		return strconv.FormatFloat(v, 'f', 0, 64)
	default:
		return strconv.FormatFloat(v, 'g', 4, 64)
	}
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
