package schema

import (
	"fmt"
	"math"
)

// Frame holds rows of a declared table, column by column. In memory a missing
// number is NaN, a missing text is "" and a missing wave is nil; what is
// written has nulls in their place, never NaN.
type Frame struct {
	Table Table
	N     int // number of rows
	Cols  []Data
	index map[string]int
}

// Data holds the cells of one column; only the slice that fits the column's
// kind is used: Num for number, integer and boolean (0 or 1), Text for text,
// category and date (YYYY-MM-DD), Wave for waves.
type Data struct {
	Num  []float64
	Text []string
	Wave [][]float32
}

// NewFrame returns an empty frame for t with room for capacity rows.
func NewFrame(t Table, capacity int) *Frame {
	f := &Frame{Table: t, Cols: make([]Data, len(t.Columns)), index: make(map[string]int, len(t.Columns))}
	for i, c := range t.Columns {
		if _, twice := f.index[c.Name]; twice {
			panic(fmt.Sprintf("schema: table %s declares column %s twice", t.Name, c.Name))
		}
		f.index[c.Name] = i
		switch {
		case c.Numeric():
			f.Cols[i].Num = make([]float64, 0, capacity)
		case c.Textual():
			f.Cols[i].Text = make([]string, 0, capacity)
		default:
			f.Cols[i].Wave = make([][]float32, 0, capacity)
		}
	}
	return f
}

// Clear takes all rows out; the memory is kept for the next.
func (f *Frame) Clear() {
	for i := range f.Cols {
		d := &f.Cols[i]
		clear(d.Text)
		clear(d.Wave)
		d.Num, d.Text, d.Wave = d.Num[:0], d.Text[:0], d.Wave[:0]
	}
	f.N = 0
}

// AddRow appends a row in which every cell is missing and returns its number.
func (f *Frame) AddRow() int {
	for i, c := range f.Table.Columns {
		d := &f.Cols[i]
		switch {
		case c.Numeric():
			d.Num = append(d.Num, math.NaN())
		case c.Textual():
			d.Text = append(d.Text, "")
		default:
			d.Wave = append(d.Wave, nil)
		}
	}
	f.N++
	return f.N - 1
}

// AddRows appends n rows in which every cell is missing and returns the number
// of the first. Where there was no room for them there is for no more.
func (f *Frame) AddRows(n int) int {
	first := f.N
	for i, c := range f.Table.Columns {
		d := &f.Cols[i]
		switch {
		case c.Numeric():
			d.Num = longer(d.Num, n)
			for row := first; row < first+n; row++ {
				d.Num[row] = math.NaN()
			}
		case c.Textual():
			d.Text = longer(d.Text, n)
		default:
			d.Wave = longer(d.Wave, n)
		}
	}
	f.N += n
	return first
}

// longer returns s with n further zero cells.
func longer[T any](s []T, n int) []T {
	if cap(s)-len(s) < n {
		return append(make([]T, 0, len(s)+n), s...)[:len(s)+n]
	}
	out := s[:len(s)+n]
	clear(out[len(s):])
	return out
}

// Has reports whether the frame has the named column.
func (f *Frame) Has(name string) bool {
	_, ok := f.index[name]
	return ok
}

// Column returns the declaration of the named column.
func (f *Frame) Column(name string) Column { return f.Table.Columns[f.at(name)] }

func (f *Frame) at(name string) int {
	i, ok := f.index[name]
	if !ok {
		// A wrong name is a mistake of ours, not of the input: names from
		// settings are checked before they get here.
		panic(fmt.Sprintf("schema: table %s has no column %s", f.Table.Name, name))
	}
	return i
}

// Numbers returns the cells of a numeric column; the slice is the frame's own.
func (f *Frame) Numbers(name string) []float64 { return f.Cols[f.at(name)].Num }

// Texts returns the cells of a text column; the slice is the frame's own.
func (f *Frame) Texts(name string) []string { return f.Cols[f.at(name)].Text }

// Waves returns the cells of a wave column; the slice is the frame's own.
func (f *Frame) Waves(name string) [][]float32 { return f.Cols[f.at(name)].Wave }

// SetNumber sets a cell of a numeric column; NaN and infinities become missing.
func (f *Frame) SetNumber(row int, name string, v float64) {
	if math.IsInf(v, 0) {
		v = math.NaN()
	}
	f.Cols[f.at(name)].Num[row] = v
}

// SetText sets a cell of a text column.
func (f *Frame) SetText(row int, name, v string) { f.Cols[f.at(name)].Text[row] = v }

// SetBool sets a cell of a boolean column.
func (f *Frame) SetBool(row int, name string, v bool) {
	n := 0.0
	if v {
		n = 1
	}
	f.Cols[f.at(name)].Num[row] = n
}

// SetWave sets a cell of a wave column; the slice is kept, not copied.
func (f *Frame) SetWave(row int, name string, v []float32) { f.Cols[f.at(name)].Wave[row] = v }

// Append adds the rows of g, which must be of the same table.
func (f *Frame) Append(g *Frame) {
	if len(f.Cols) != len(g.Cols) || f.Table.Name != g.Table.Name {
		panic(fmt.Sprintf("schema: cannot append %s to %s", g.Table.Name, f.Table.Name))
	}
	for i := range f.Cols {
		f.Cols[i].Num = append(f.Cols[i].Num, g.Cols[i].Num...)
		f.Cols[i].Text = append(f.Cols[i].Text, g.Cols[i].Text...)
		f.Cols[i].Wave = append(f.Cols[i].Wave, g.Cols[i].Wave...)
	}
	f.N += g.N
}

// CopyRow copies row of g into row to of f, column by column where both have
// the column with the same kind of cell.
func (f *Frame) CopyRow(to int, g *Frame, row int) {
	for i, c := range f.Table.Columns {
		j, ok := g.index[c.Name]
		if !ok {
			continue
		}
		switch {
		case c.Numeric() && g.Table.Columns[j].Numeric():
			f.Cols[i].Num[to] = g.Cols[j].Num[row]
		case c.Textual() && g.Table.Columns[j].Textual():
			f.Cols[i].Text[to] = g.Cols[j].Text[row]
		case c.Kind == Wave && g.Table.Columns[j].Kind == Wave:
			f.Cols[i].Wave[to] = g.Cols[j].Wave[row]
		}
	}
}

// Number returns the cell of a numeric column, NaN where missing.
func (f *Frame) Number(row int, name string) float64 { return f.Cols[f.at(name)].Num[row] }

// TextAt returns the cell of a text column, "" where missing.
func (f *Frame) TextAt(row int, name string) string { return f.Cols[f.at(name)].Text[row] }

// Missing reports whether the cell is missing.
func (f *Frame) Missing(row int, name string) bool {
	i := f.at(name)
	switch c := f.Table.Columns[i]; {
	case c.Numeric():
		return math.IsNaN(f.Cols[i].Num[row])
	case c.Textual():
		return f.Cols[i].Text[row] == ""
	default:
		return f.Cols[i].Wave[row] == nil
	}
}
