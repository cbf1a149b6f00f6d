package parquet

import (
	"fmt"
	"io"
	"math"
	"sync"

	"tonocohort/schema"
)

// Lend returns a frame whose columns, those that t declares, are read when they are
// asked for; r must stay open as long as the frame is used. At most memory bytes of
// columns are kept for whoever asks again, those asked for last, and the one that
// is asked for. What Read checks is checked when a column is read; see Frame.Err.
func Lend(r io.ReaderAt, size int64, t schema.Table, memory int64) (*schema.Frame, error) {
	s, err := open(r, size)
	if err != nil {
		return nil, err
	}
	return s.lend(t, memory)
}

// LendAny is Lend for every column of a file: see TableOf.
func LendAny(r io.ReaderAt, size int64, memory int64) (*schema.Frame, error) {
	s, err := open(r, size)
	if err != nil {
		return nil, err
	}
	t, err := s.table()
	if err != nil {
		return nil, err
	}
	return s.lend(t, memory)
}

func (s *source) lend(t schema.Table, memory int64) (f *schema.Frame, err error) {
	defer damaged(&err)
	// What is wrong with the table shows now, not when a column is asked for.
	if _, err := s.columns(t); err != nil {
		return nil, err
	}
	rows := int64(0)
	for g := range s.meta.RowGroups {
		n := s.meta.RowGroup(g).NumRows()
		if n < 0 || n > s.unfolded() {
			return nil, fmt.Errorf("parquet: row group %d claims %d rows", g, n)
		}
		rows += n
	}
	if err := s.complete(rows); err != nil {
		return nil, err
	}
	if rows > s.unfolded() || rows > math.MaxInt32 {
		return nil, fmt.Errorf("parquet: %d rows are more than are worked with at once", rows)
	}
	return schema.LentFrame(t, int(rows), &lender{source: s, table: t, rows: int(rows), memory: memory, held: map[int]*heldColumn{}}), nil
}

// unfolded is what the file may unfold to, in bytes.
func (s *source) unfolded() int64 { return budgetBase + budgetFactor*s.size }

// lender hands the columns of a file out.
type lender struct {
	mutex  sync.Mutex
	source *source
	table  schema.Table
	rows   int
	memory int64 // that columns may take which nobody may be using
	held   map[int]*heldColumn
	asked  int // how often a column was asked for
	err    error
}

// heldColumn is a column that is kept.
type heldColumn struct {
	schema.Data
	bytes int64
	asked int // when it was last
}

func (l *lender) Err() error {
	l.mutex.Lock()
	defer l.mutex.Unlock()
	return l.err
}

func (l *lender) Numbers(column int) []float64 { return l.column(column).Num }

func (l *lender) Labels(column int) schema.Labels { return l.column(column).Labels }

func (l *lender) Waves(column int) [][]float32 { return l.column(column).Wave }

func (l *lender) column(i int) schema.Data {
	l.mutex.Lock()
	defer l.mutex.Unlock()
	l.asked++
	if h, held := l.held[i]; held {
		h.asked = l.asked
		return h.Data
	}
	h := &heldColumn{asked: l.asked}
	l.makeRoom(l.expected(i))
	if err := l.read(i, h); err != nil {
		if l.err == nil {
			l.err = err
		}
		h.Data = missingCells(l.table.Columns[i], l.rows)
	}
	l.held[i] = h
	return h.Data
}

// expected is the memory that a column will take, about.
func (l *lender) expected(i int) int64 {
	const number, code = 8, 2
	if l.table.Columns[i].Textual() {
		return code * int64(l.rows)
	}
	return number * int64(l.rows)
}

// makeRoom lets go of what was asked for longest ago until so many bytes fit.
func (l *lender) makeRoom(bytes int64) {
	for {
		total, oldest := bytes, -1
		for i, h := range l.held {
			total += h.bytes
			if oldest < 0 || h.asked < l.held[oldest].asked {
				oldest = i
			}
		}
		if total <= l.memory || oldest < 0 {
			return
		}
		delete(l.held, oldest)
	}
}

// read fills the column that is held.
func (l *lender) read(i int, h *heldColumn) error {
	c := l.table.Columns[i]
	rows := l.rows
	var labels *schema.LabelsBuilder
	if c.Textual() {
		rows, labels = 0, schema.NewLabelsBuilder(l.rows)
	}
	f := l.part(i, rows)
	for g := range l.source.meta.RowGroups {
		if err := l.group(g, f); err != nil {
			return err
		}
		if labels != nil {
			for _, text := range f.Cols[0].Text {
				labels.Add(text)
			}
			f.Cols[0].Text, f.N = f.Cols[0].Text[:0], 0
		}
	}
	if labels != nil {
		h.Labels = labels.Labels()
		h.bytes = h.Labels.Bytes()
		return nil
	}
	h.Num, h.Wave = f.Cols[0].Num, f.Cols[0].Wave
	h.bytes = cellBytes(c) * int64(l.rows)
	for _, wave := range h.Wave {
		h.bytes += 4 * int64(len(wave))
	}
	return nil
}

// group appends the rows of a row group to f.
func (l *lender) group(g int, f *schema.Frame) error {
	columns, err := l.source.columns(f.Table) // with texts of its own
	if err != nil {
		return err
	}
	l.source.budget.left = l.source.unfolded()
	return l.source.readGroup(g, columns, f)
}

// EachText reads the column once more and keeps none of it. visit may ask for
// other columns.
func (l *lender) EachText(column int, visit func(row int, text string)) {
	row := 0
	for g := range l.source.meta.RowGroups {
		texts := l.textsOf(column, g)
		if texts == nil {
			return
		}
		for _, text := range texts {
			visit(row, text)
			row++
		}
	}
}

// EachNumbers reads the columns once more, a row group at a time, unless they take so
// little of the memory that they are kept for whoever asks again.
func (l *lender) EachNumbers(columns []int, visit func(first int, cells [][]float64)) {
	const kept = 4 // columns, at least, that have room
	cells := make([][]float64, len(columns))
	if l.memory/kept >= l.expected(columns[0]) {
		for i, column := range columns {
			cells[i] = l.Numbers(column)
		}
		visit(0, cells)
		return
	}
	first := 0
	for g := range l.source.meta.RowGroups {
		for i, column := range columns {
			if cells[i] = l.numbersOf(column, g, cells[i][:0]); cells[i] == nil {
				return
			}
		}
		visit(first, cells)
		first += len(cells[0])
	}
}

// numbersOf reads a row group of a numeric column into cells; nil where it cannot be
// read.
func (l *lender) numbersOf(column, g int, cells []float64) []float64 {
	l.mutex.Lock()
	defer l.mutex.Unlock()
	f := l.part(column, 0)
	if cells != nil {
		f.Cols[0].Num = cells
	}
	if err := l.group(g, f); err != nil {
		if l.err == nil {
			l.err = err
		}
		return nil
	}
	return f.Cols[0].Num
}

// textsOf reads a row group of a text column; nil where it cannot be read.
func (l *lender) textsOf(column, g int) []string {
	l.mutex.Lock()
	defer l.mutex.Unlock()
	f := l.part(column, 0)
	if err := l.group(g, f); err != nil {
		if l.err == nil {
			l.err = err
		}
		return nil
	}
	return f.Cols[0].Text
}

// part is an empty frame of one column.
func (l *lender) part(column, rows int) *schema.Frame {
	return schema.NewFrame(schema.Table{Name: l.table.Name, Columns: l.table.Columns[column : column+1]}, rows)
}

// missingCells stand for a column that could not be read.
func missingCells(c schema.Column, rows int) schema.Data {
	switch {
	case c.Numeric():
		d := schema.Data{Num: make([]float64, rows)}
		for i := range d.Num {
			d.Num[i] = math.NaN()
		}
		return d
	case c.Textual():
		b := schema.NewLabelsBuilder(rows)
		for range rows {
			b.Add("")
		}
		return schema.Data{Labels: b.Labels()}
	}
	return schema.Data{Wave: make([][]float32, rows)}
}
