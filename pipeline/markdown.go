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
	numbers, texts := make([][]float64, len(f.Cols)), make([][]string, len(f.Cols)) // by column
	for i, c := range f.Table.Columns {
		if c.Numeric() {
			numbers[i] = f.Numbers(c.Name)
		} else {
			texts[i] = f.Texts(c.Name)
		}
	}
	var line []byte
	for row := range f.N {
		line = line[:0]
		for i := range f.Cols {
			line = append(line, "| "...)
			if texts[i] == nil {
				line = appendReadable(line, numbers[i][row])
			} else {
				line = append(line, strings.ReplaceAll(texts[i][row], "|", "\\|")...)
			}
			line = append(line, ' ')
		}
		out.Write(append(line, "|\n"...))
	}
	return out.Flush()
}

// appendReadable rounds to four significant digits, whole numbers kept whole.
func appendReadable(line []byte, v float64) []byte {
	switch {
	case math.IsNaN(v):
		return line
	case v == math.Trunc(v) && math.Abs(v) < 1e15, math.Abs(v) >= 1000:
		return strconv.AppendFloat(line, v, 'f', 0, 64)
	default:
		return strconv.AppendFloat(line, v, 'g', 4, 64)
	}
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
