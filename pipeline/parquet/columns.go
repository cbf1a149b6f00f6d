package parquet

import (
	"errors"
	"fmt"
	"slices"

	pq "github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/file"
	"tonocohort/schema"
)

// columnBuffer holds the cells of one column of the row group being filled,
// in the form in which they are written.
type columnBuffer interface {
	// add takes the cells from ≤ row < to.
	add(d *schema.Data, from, to int) error
	// repetitive reports whether a dictionary pays, and if so leaves it in h until
	// the cells are written.
	repetitive(h *handover) bool
	// write hands all cells to the column writer and empties the buffer.
	write(w file.ColumnChunkWriter, h *handover) error
}

// The levels of Parquet's nesting (Dremel) for our columns. A flat cell is
// null (0) or there (1). A wave is null (0) or empty (1); its samples are null
// (2) or there (3), and all but the first of a row repeat (1).
const (
	isNull     = 0
	isThere    = 1
	waveEmpty  = 1
	sampleNull = 2
	sampleIs   = 3
)

// cells are the levels and the values that are not null. A key column has no levels.
type cells[T any] struct {
	key    bool
	levels levels
	values []T
}

// levels are those of flat cells. Most columns have no null, or nothing else: they
// need no more than their number.
type levels struct {
	n     int
	first uint8
	each  []uint8 // in the place of first once they differ
}

// add notes n cells of one level.
func (l *levels) add(level uint8, n int) {
	if l.n == 0 {
		l.first = level
	}
	if len(l.each) == 0 && level != l.first {
		l.each = doubled(l.each, l.n+n)
		for range l.n {
			l.each = append(l.each, l.first)
		}
	}
	if len(l.each) > 0 {
		for range n {
			l.each = append(l.each, level)
		}
	}
	l.n += n
}

// write puts the levels from ≤ i < to in out, as the library wants them, and returns
// how many are there.
func (l *levels) write(out []int16, from, to int) (_ []int16, there int) {
	out = out[:0]
	for i := from; i < to; i++ {
		level := l.first
		if len(l.each) > 0 {
			level = l.each[i]
		}
		out = append(out, int16(level))
		there += int(level)
	}
	return out, there
}

func (l *levels) clear() { l.n, l.each = 0, l.each[:0] }

var errKeyMissing = errors.New("a key is missing")

// level notes whether n cells that follow one another are there.
func (c *cells[T]) level(there bool, n int) error {
	switch {
	case c.key && !there:
		return errKeyMissing
	case c.key:
	case there:
		c.levels.add(isThere, n)
	default:
		c.levels.add(isNull, n)
	}
	return nil
}

func (c *cells[T]) repetitive(*handover) bool { return false }

// levelsPerBatch is how many levels are handed over at once; the library ends
// a page, of about a MiB, between batches only.
const levelsPerBatch = 8192

type batchWriter[T any] interface {
	WriteBatch(values []T, def, rep []int16) (int64, error)
}

func (c *cells[T]) write(w file.ColumnChunkWriter, h *handover) error {
	batches, ok := w.(batchWriter[T])
	if !ok {
		return fmt.Errorf("column of %T is written by %T", c.values, w)
	}
	n := c.levels.n
	if c.key {
		n = len(c.values)
	}
	var def []int16
	for from, used := 0, 0; from < n; from += levelsPerBatch {
		to := min(from+levelsPerBatch, n)
		values := to - from
		if !c.key {
			h.def, values = c.levels.write(h.def, from, to)
			def = h.def
		}
		if _, err := batches.WriteBatch(c.values[used:used+values], def, nil); err != nil {
			return err
		}
		used += values
	}
	c.values = c.values[:0]
	c.levels.clear()
	return nil
}

// inRow names the row of a frame in an error.
func inRow(row int, err error) error { return fmt.Errorf("row %d: %w", row+1, err) }

// flatColumn holds a column whose cells convert one by one.
type flatColumn[S, T any] struct {
	cells[T]
	pick    func(*schema.Data) []S
	there   func(S) bool
	convert func(S) (T, error)
}

func (c *flatColumn[S, T]) add(d *schema.Data, from, to int) error {
	c.values = doubled(c.values, to-from)
	for row, cell := range c.pick(d)[from:to] {
		there := c.there(cell)
		if there {
			v, err := c.convert(cell)
			if err != nil {
				return inRow(from+row, err)
			}
			c.values = append(c.values, v)
		}
		if err := c.level(there, 1); err != nil {
			return inRow(from+row, err)
		}
	}
	return nil
}

// numberColumn holds a column of doubles, which most columns are: its cells are taken
// as they are, as many at once as are there.
type numberColumn struct{ cells[float64] }

func (c *numberColumn) add(d *schema.Data, from, to int) error {
	c.values = doubled(c.values, to-from)
	for from < to {
		there, end := finite(d.Num[from]), from+1
		for end < to && finite(d.Num[end]) == there {
			end++
		}
		if err := c.level(there, end-from); err != nil {
			return inRow(from, err)
		}
		if there {
			c.values = append(c.values, d.Num[from:end]...)
		}
		from = end
	}
	return nil
}

func numbers(d *schema.Data) []float64 { return d.Num }
func texts(d *schema.Data) []string    { return d.Text }

func numeric[T any](key bool, convert func(float64) (T, error)) columnBuffer {
	return &flatColumn[float64, T]{cells[T]{key: key}, numbers, finite, convert}
}

// waveColumn copies the samples: the caller's slices may be scratch. Levels are
// made as they are written: kept beside each sample they were half the memory.
type waveColumn struct {
	samples []float32
	lengths []int32 // of each row; −1: null
}

func (c *waveColumn) add(d *schema.Data, from, to int) error {
	for _, wave := range d.Wave[from:to] {
		if wave == nil {
			c.lengths = append(c.lengths, -1)
			continue
		}
		c.lengths = append(c.lengths, int32(len(wave)))
		c.samples = append(doubled(c.samples, len(wave)), wave...)
	}
	return nil
}

func (c *waveColumn) repetitive(*handover) bool { return false }

func (c *waveColumn) write(w file.ColumnChunkWriter, h *handover) error {
	batches, ok := w.(batchWriter[float32])
	if !ok {
		return fmt.Errorf("column of waves is written by %T", w)
	}
	def, rep, values := h.def[:0], h.rep[:0], h.samples[:0]
	flush := func() error {
		_, err := batches.WriteBatch(values, def, rep)
		def, rep, values = def[:0], rep[:0], values[:0]
		return err
	}
	samples := c.samples
	for _, n := range c.lengths {
		if len(def) >= levelsPerBatch { // a row does not span pages
			if err := flush(); err != nil {
				return err
			}
		}
		if n <= 0 {
			def, rep = append(def, waveEmpty+int16(n)), append(rep, 0)
			continue
		}
		first := len(rep)
		for _, v := range samples[:n] {
			rep = append(rep, 1)
			if finite(float64(v)) {
				def, values = append(def, sampleIs), append(values, v)
			} else {
				def = append(def, sampleNull)
			}
		}
		rep[first] = 0
		samples = samples[n:]
	}
	if len(def) > 0 {
		if err := flush(); err != nil {
			return err
		}
	}
	h.def, h.rep, h.samples = def, rep, values
	c.samples, c.lengths = c.samples[:0], c.lengths[:0]
	return nil
}

// doubled gives s room for n more, doubling what it has: append alone grows long
// slices by a quarter and copies each piece some five times.
func doubled[T any](s []T, n int) []T {
	if cap(s)-len(s) >= n {
		return s
	}
	return slices.Grow(s, max(n, len(s)))
}

// newColumn returns the buffer for a column.
func newColumn(c schema.Column) columnBuffer {
	switch c.Kind {
	case schema.Number:
		return &numberColumn{cells[float64]{key: c.Key}}
	case schema.Integer:
		return numeric(c.Key, wholeNumber)
	case schema.Boolean:
		return numeric(c.Key, truth)
	case schema.Date:
		present := func(s string) bool { return s != "" }
		return &flatColumn[string, int32]{cells[int32]{key: c.Key}, texts, present, dayNumber}
	case schema.Wave:
		return &waveColumn{}
	}
	return &textColumn{cells: cells[pq.ByteArray]{key: c.Key}}
}
