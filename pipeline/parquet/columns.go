package parquet

import (
	"errors"
	"fmt"
	"slices"
	"sync"

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

func (l *levels) add(level uint8) {
	switch {
	case l.n == 0:
		l.first = level
	case len(l.each) > 0:
		l.each = append(l.each, level)
	case level != l.first:
		l.each = doubled(l.each, l.n+1)
		for range l.n {
			l.each = append(l.each, l.first)
		}
		l.each = append(l.each, level)
	}
	l.n++
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

// put adds a flat cell.
func (c *cells[T]) put(v T, there bool) error {
	if err := c.level(there); err != nil {
		return err
	}
	if there {
		c.values = append(c.values, v)
	}
	return nil
}

// level notes whether a flat cell is there.
func (c *cells[T]) level(there bool) error {
	switch {
	case c.key && !there:
		return errKeyMissing
	case c.key:
	case there:
		c.levels.add(isThere)
	default:
		c.levels.add(isNull)
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
	n := c.levels.n
	if c.key {
		n = len(c.values)
	}
	var def []int16
	for from, used := 0, 0; from < n; from += levelsPerBatch {
		to := min(from+levelsPerBatch, n)
		values := to - from
		if !c.key {
			def, values = c.levels.write(def, from, to)
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
// strings need not live until the row group is full. One that stands in many rows
// running, as a person's id does, is held once.
type textColumn struct {
	cells[pq.ByteArray]
	bytes []byte
	ends  []int    // in bytes, of each run of equal texts
	times []uint32 // how often each stands
	n     int      // texts, each as often as it stands
}

func (c *textColumn) add(d *schema.Data, from, to int) error {
	for row, s := range d.Text[from:to] {
		if err := c.level(s != ""); err != nil {
			return inRow(from+row, err)
		}
		if s != "" {
			c.addText(cleanText(s))
		}
	}
	return nil
}

func (c *textColumn) addText(text string) {
	c.n++
	if last := len(c.ends) - 1; last >= 0 && string(c.run(last)) == text {
		c.times[last]++
		return
	}
	c.bytes = append(doubled(c.bytes, len(text)), text...)
	c.ends, c.times = append(c.ends, len(c.bytes)), append(c.times, 1)
}

// run is the text of a run.
func (c *textColumn) run(i int) []byte {
	start := 0
	if i > 0 {
		start = c.ends[i-1]
	}
	return c.bytes[start:c.ends[i]:c.ends[i]]
}

// maxDictionary is the largest dictionary, in bytes, that a column chunk gets.
const maxDictionary = 1 << 20

// repetitive reports whether the values occur twice on average. Deciding
// beforehand, for the row group as a whole, keeps the library from giving up
// on a dictionary midway, where what it writes depends on the order of a map.
func (c *textColumn) repetitive() bool {
	const look = 4096
	seen, size, before := make(map[string]struct{}), 0, 0
	for i, times := range c.times {
		text := c.run(i)
		if _, ok := seen[string(text)]; !ok {
			seen[string(text)] = struct{}{}
			size += len(text) + 4
		}
		if size > maxDictionary || before == look && 4*len(seen) > 3*look {
			return false
		}
		before += int(times)
	}
	return 2*len(seen) <= c.n
}

// handed are the texts of a column while they are handed over; one column is at a
// time, so that a writer needs no room for this in each.
var handed = sync.Pool{New: func() any { return new([]pq.ByteArray) }}

func (c *textColumn) write(w file.ColumnChunkWriter) error {
	values := handed.Get().(*[]pq.ByteArray)
	c.values = slices.Grow((*values)[:0], c.n)
	for i, times := range c.times {
		text := c.run(i)
		for range times {
			c.values = append(c.values, text)
		}
	}
	all := c.values
	err := c.cells.write(w)
	clear(all) // the pool holds on to no text
	*values = all
	handed.Put(values)
	c.bytes, c.ends, c.times, c.n, c.values = c.bytes[:0], c.ends[:0], c.times[:0], 0, nil
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
