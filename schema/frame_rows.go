package schema

import (
	"fmt"
	"math"
	"slices"
)

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
	for i := range f.Cols {
		d := &f.Cols[i]
		switch kind := f.Table.Columns[i].Kind; { // no copy of a whole declaration for a cell
		case kind.numeric():
			d.Num = append(d.Num, math.NaN())
		case kind.textual():
			d.Text = append(d.Text, "")
		default:
			d.Wave = append(d.Wave, nil)
		}
	}
	f.N++
	return f.N - 1
}

// AddRows appends n rows in which every cell is missing and returns the number
// of the first.
func (f *Frame) AddRows(n int) int {
	first := f.N
	for i := range f.Cols {
		d := &f.Cols[i]
		switch kind := f.Table.Columns[i].Kind; {
		case kind.numeric():
			d.Num = longer(d.Num, n)
			for row := first; row < first+n; row++ {
				d.Num[row] = math.NaN()
			}
		case kind.textual():
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
	out := slices.Grow(s, n)[:len(s)+n]
	clear(out[len(s):])
	return out
}

// Append adds the rows of g, which must be of the same table.
func (f *Frame) Append(g *Frame) {
	if len(f.Cols) != len(g.Cols) || f.Table.Name != g.Table.Name {
		panic(fmt.Sprintf("schema: cannot append %s to %s", g.Table.Name, f.Table.Name))
	}
	for i, c := range f.Table.Columns {
		d := &f.Cols[i]
		switch {
		case c.Numeric():
			d.Num = append(d.Num, g.numbers(i)...)
		case c.Textual():
			d.Text = append(d.Text, g.Texts(c.Name)...)
		default:
			d.Wave = append(d.Wave, g.waves(i)...)
		}
	}
	f.N += g.N
}

// AppendRows appends the rows of g from one to before another, column by column where
// both have the column with the same kind of cell; in other columns they are missing.
func (f *Frame) AppendRows(g *Frame, from, to int) { f.copyRows(f.AddRows(to-from), g, from, to) }

// CopyRow copies row of g into row to of f, column by column where both have
// the column with the same kind of cell.
func (f *Frame) CopyRow(to int, g *Frame, row int) { f.copyRows(to, g, row, row+1) }

// copyRows copies the rows of g from one to before another into those of f from first on.
func (f *Frame) copyRows(first int, g *Frame, from, to int) {
	for i := range f.Cols {
		j, ok := g.index[f.Table.Columns[i].Name]
		if !ok {
			continue
		}
		switch kind, other := f.Table.Columns[i].Kind, g.Table.Columns[j].Kind; {
		case kind.numeric() && other.numeric():
			copy(f.Cols[i].Num[first:], g.numbers(j)[from:to])
		case kind.textual() && other.textual():
			for row := from; row < to; row++ {
				f.Cols[i].Text[first+row-from] = g.textAt(j, row)
			}
		case kind == Wave && other == Wave:
			copy(f.Cols[i].Wave[first:], g.waves(j)[from:to])
		}
	}
}
