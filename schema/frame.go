package schema

import (
	"fmt"
	"math"
	"slices"
)

// Frame holds rows of a declared table, column by column. In memory a missing
// number is NaN, a missing text is "" and a missing wave is nil; what is
// written has nulls in their place, never NaN.
type Frame struct {
	Table Table
	N     int // number of rows
	Cols  []Data
	index map[string]int
	lent  Lender // of the columns that Cols does not hold; nil: it holds all
}

// Lender reads the columns of a frame when they are asked for, by their place in
// the table. What it hands out is only read, and stays good whatever is asked for
// later. Where reading fails it hands out missing cells and remembers the error.
// Several goroutines may ask at once.
type Lender interface {
	Numbers(column int) []float64
	Labels(column int) Labels
	Waves(column int) [][]float32
	// EachText calls visit with every cell of a text column and keeps none.
	EachText(column int, visit func(row int, text string))
	// EachNumbers calls visit with some rows of numeric columns after the others, from
	// the first on, and keeps none that it would not keep anyway. Where reading fails
	// the rest is not visited.
	EachNumbers(columns []int, visit func(first int, cells [][]float64))
	Err() error
}

// LentFrame returns a frame of n rows whose columns stay where they are until they
// are asked for. Cells are not set one by one and rows are not added: see With.
func LentFrame(t Table, n int, lender Lender) *Frame {
	f := NewFrame(t, 0)
	for i := range f.Cols {
		f.Cols[i] = Data{}
	}
	f.N, f.lent = n, lender
	return f
}

// Err says what kept a column from being read, nil where nothing did. Whoever
// computes from a lent frame asks before the results are used.
func (f *Frame) Err() error {
	if f.lent == nil {
		return nil
	}
	return f.lent.Err()
}

// With returns the frame with other cells in one column; the rest is shared.
func (f *Frame) With(name string, cells Data) *Frame {
	if n := cells.Labels.Len(); f.lent == nil && n > 0 {
		texts := make([]string, 0, n)
		cells.Labels.Each(func(_ int, text string) { texts = append(texts, text) })
		cells = Data{Text: texts}
	}
	out := *f
	out.Cols = slices.Clone(f.Cols)
	out.Cols[f.at(name)] = cells
	return &out
}

// borrowed reports whether a column is the lender's.
func (f *Frame) borrowed(column int) bool {
	d := &f.Cols[column]
	return f.lent != nil && d.Num == nil && d.Text == nil && d.Wave == nil && d.Labels.Len() == 0
}

func (f *Frame) numbers(column int) []float64 {
	if f.borrowed(column) {
		return f.lent.Numbers(column)
	}
	return f.Cols[column].Num
}

func (f *Frame) labels(column int) Labels {
	if f.borrowed(column) {
		return f.lent.Labels(column)
	}
	if d := &f.Cols[column]; d.Labels.Len() > 0 {
		return d.Labels
	}
	return Labels{cells: f.Cols[column].Text}
}

func (f *Frame) waves(column int) [][]float32 {
	if f.borrowed(column) {
		return f.lent.Waves(column)
	}
	return f.Cols[column].Wave
}

// Data holds the cells of one column; only the slice that fits the column's
// kind is used: Num for number, integer and boolean (0 or 1), Text for text,
// category and date (YYYY-MM-DD), Wave for waves.
type Data struct {
	Num    []float64
	Text   []string
	Wave   [][]float32
	Labels Labels // in the place of Text in a lent frame that was made With them
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
func (f *Frame) Numbers(name string) []float64 { return f.numbers(f.at(name)) }

// Texts returns the cells of a text column; the slice is the frame's own, or of a
// lent column a new one, which takes much more memory than its Labels.
func (f *Frame) Texts(name string) []string {
	i := f.at(name)
	if d := &f.Cols[i]; d.Text != nil || f.lent == nil && d.Labels.Len() == 0 {
		return d.Text
	}
	texts := make([]string, 0, f.N)
	labels := f.labels(i)
	labels.Each(func(_ int, text string) { texts = append(texts, text) })
	return texts
}

// Labels returns the cells of a text column in the least memory.
func (f *Frame) Labels(name string) Labels { return f.labels(f.at(name)) }

// EachText calls visit with every cell of a text column in the order of the rows;
// of a lent column none is kept.
func (f *Frame) EachText(name string, visit func(row int, text string)) {
	i := f.at(name)
	if f.borrowed(i) {
		f.lent.EachText(i, visit)
		return
	}
	labels := f.labels(i)
	labels.Each(visit)
}

// EachNumbers calls visit with the cells of numeric columns, some rows after the
// others; first is the number of the first of them. Of a lent frame no column need be
// held whole, and the slices are good until visit returns.
func (f *Frame) EachNumbers(visit func(first int, cells [][]float64), names ...string) {
	columns, lent := make([]int, len(names)), true
	for i, name := range names {
		columns[i] = f.at(name)
		lent = lent && f.borrowed(columns[i])
	}
	if lent {
		f.lent.EachNumbers(columns, visit)
		return
	}
	cells := make([][]float64, len(names))
	for i, column := range columns {
		cells[i] = f.numbers(column)
	}
	visit(0, cells)
}

// Waves returns the cells of a wave column; the slice is the frame's own.
func (f *Frame) Waves(name string) [][]float32 { return f.waves(f.at(name)) }

// SetNumber sets a cell of a numeric column; NaN and infinities become missing.
func (f *Frame) SetNumber(row int, name string, v float64) {
	if math.IsInf(v, 0) {
		v = math.NaN()
	}
	f.Cols[f.at(name)].Num[row] = v
}

// SetNumbers sets cells of columns that stand beside one another in the table: as
// declared, from the first of them on.
func (f *Frame) SetNumbers(row int, columns []Column, v []float64) {
	if len(columns) == 0 {
		return
	}
	first := f.at(columns[0].Name)
	for i := range columns {
		if name := columns[i].Name; first+i == len(f.Cols) || f.Table.Columns[first+i].Name != name {
			panic(fmt.Sprintf("schema: table %s does not have column %s behind the one before", f.Table.Name, name))
		}
		cell := v[i]
		if math.IsInf(cell, 0) {
			cell = math.NaN()
		}
		f.Cols[first+i].Num[row] = cell
	}
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

// Number returns the cell of a numeric column, NaN where missing.
func (f *Frame) Number(row int, name string) float64 { return f.numbers(f.at(name))[row] }

// TextAt returns the cell of a text column, "" where missing.
func (f *Frame) TextAt(row int, name string) string { return f.textAt(f.at(name), row) }

func (f *Frame) textAt(column, row int) string {
	if d := &f.Cols[column]; d.Text != nil {
		return d.Text[row]
	}
	labels := f.labels(column)
	return labels.At(row)
}

// Missing reports whether the cell is missing.
func (f *Frame) Missing(row int, name string) bool {
	i := f.at(name)
	switch c := f.Table.Columns[i]; {
	case c.Numeric():
		return math.IsNaN(f.numbers(i)[row])
	case c.Textual():
		return f.textAt(i, row) == ""
	default:
		return f.waves(i)[row] == nil
	}
}
