package parquet

import (
	"bytes"
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
	// repetitive reports whether a dictionary pays.
	repetitive() bool
	// write hands all cells to the column writer and empties the buffer.
	write(w file.ColumnChunkWriter) error
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

// cells are the levels and the values that are not null. def is nil for a
// key column, rep for a flat one.
type cells[T any] struct {
	key      bool
	def, rep []int16
	values   []T
}

var errKeyMissing = errors.New("a key is missing")

// put adds a flat cell.
func (c *cells[T]) put(v T, there bool) error {
	switch {
	case there:
		c.values = append(c.values, v)
		if !c.key {
			c.def = append(c.def, isThere)
		}
	case c.key:
		return errKeyMissing
	default:
		c.def = append(c.def, isNull)
	}
	return nil
}

func (c *cells[T]) repetitive() bool { return false }

// levelsPerBatch is how many levels are handed over at once; the library ends
// a page, of about a MiB, between batches only.
const levelsPerBatch = 8192

type batchWriter[T any] interface {
	WriteBatch(values []T, def, rep []int16) (int64, error)
}

func (c *cells[T]) write(w file.ColumnChunkWriter) error {
	batches, ok := w.(batchWriter[T])
	if !ok {
		return fmt.Errorf("column of %T is written by %T", c.values, w)
	}
	n := len(c.def)
	if c.def == nil {
		n = len(c.values)
	}
	used := 0
	for from := 0; from < n; {
		to := min(from+levelsPerBatch, n)
		for c.rep != nil && to < n && c.rep[to] != 0 {
			to++ // a row does not span pages
		}
		values, def, rep := c.values[used:], slice(c.def, from, to), slice(c.rep, from, to)
		if def == nil {
			values = values[:to-from]
		}
		wrote, err := batches.WriteBatch(values, def, rep)
		if err != nil {
			return err
		}
		used += int(wrote)
		from = to
	}
	c.values, c.def, c.rep = c.values[:0], c.def[:0], c.rep[:0]
	return nil
}

// slice is s[from:to], nil where there are no levels.
func slice(s []int16, from, to int) []int16 {
	if len(s) == 0 {
		return nil
	}
	return s[from:to]
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
	if !c.key {
		c.def = doubled(c.def, to-from)
	}
	for row, cell := range c.pick(d)[from:to] {
		var v T
		var err error
		there := c.there(cell)
		if there {
			v, err = c.convert(cell)
		}
		if err == nil {
			err = c.put(v, there)
		}
		if err != nil {
			return inRow(from+row, err)
		}
	}
	return nil
}

func numbers(d *schema.Data) []float64 { return d.Num }
func texts(d *schema.Data) []string    { return d.Text }

func numeric[T any](key bool, convert func(float64) (T, error)) columnBuffer {
	return &flatColumn[float64, T]{cells[T]{key: key}, numbers, finite, convert}
}

// textColumn copies its texts into one piece of memory, so that the caller's
// strings need not live until the row group is full; ends says where each ends.
type textColumn struct {
	cells[pq.ByteArray]
	bytes []byte
	ends  []int
}

func (c *textColumn) add(d *schema.Data, from, to int) error {
	if !c.key {
		c.def = doubled(c.def, to-from)
	}
	for row, s := range d.Text[from:to] {
		switch {
		case s != "":
			clean := cleanText(s)
			c.bytes = append(doubled(c.bytes, len(clean)), clean...)
			c.ends = append(c.ends, len(c.bytes))
			if !c.key {
				c.def = append(c.def, isThere)
			}
		case c.key:
			return inRow(from+row, errKeyMissing)
		default:
			c.def = append(c.def, isNull)
		}
	}
	return nil
}

// each visits the texts in order until visit returns false.
func (c *textColumn) each(visit func(i int, text []byte) bool) {
	start := 0
	for i, end := range c.ends {
		if !visit(i, c.bytes[start:end:end]) {
			return
		}
		start = end
	}
}

// maxDictionary is the largest dictionary, in bytes, that a column chunk gets.
const maxDictionary = 1 << 20

// repetitive reports whether the values occur twice on average. Deciding
// beforehand, for the row group as a whole, keeps the library from giving up
// on a dictionary midway, where what it writes depends on the order of a map.
func (c *textColumn) repetitive() bool {
	const look = 4096
	seen, size := make(map[string]struct{}), 0
	pays := true
	var last []byte
	c.each(func(i int, v []byte) bool {
		if i > 0 && bytes.Equal(v, last) {
			return true
		}
		last = v
		if _, ok := seen[string(v)]; !ok {
			seen[string(v)] = struct{}{}
			size += len(v) + 4
		}
		pays = size <= maxDictionary && !(i == look && 4*len(seen) > 3*look)
		return pays
	})
	return pays && 2*len(seen) <= len(c.ends)
}

func (c *textColumn) write(w file.ColumnChunkWriter) error {
	c.values = slices.Grow(c.values[:0], len(c.ends))
	c.each(func(_ int, text []byte) bool {
		c.values = append(c.values, text)
		return true
	})
	err := c.cells.write(w)
	c.bytes, c.ends, c.values = c.bytes[:0], c.ends[:0], nil
	return err
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

func (c *waveColumn) repetitive() bool { return false }

func (c *waveColumn) write(w file.ColumnChunkWriter) error {
	batches, ok := w.(batchWriter[float32])
	if !ok {
		return fmt.Errorf("column of waves is written by %T", w)
	}
	var def, rep []int16
	var values []float32
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
		return numeric(c.Key, func(v float64) (float64, error) { return v, nil })
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
