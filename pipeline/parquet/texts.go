package parquet

import (
	"fmt"
	"slices"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"
	pq "github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/metadata"
	"tonocohort/schema"
)

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
	for from < to {
		text, end := d.Text[from], from+1
		for end < to && d.Text[end] == text {
			end++
		}
		if err := c.level(text != "", end-from); err != nil {
			return inRow(from, err)
		}
		if text != "" {
			c.addTexts(cleanText(text), end-from)
		}
		from = end
	}
	return nil
}

// addTexts adds a text that stands n times running.
func (c *textColumn) addTexts(text string, n int) {
	c.n += n
	if last := len(c.ends) - 1; last >= 0 && string(c.run(last)) == text {
		c.times[last] += uint32(n)
		return
	}
	c.bytes = append(doubled(c.bytes, len(text)), text...)
	c.ends, c.times = append(c.ends, len(c.bytes)), append(c.times, uint32(n))
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
func (c *textColumn) repetitive(h *handover) bool {
	const look = 4096
	d := &h.texts
	d.clear()
	before := 0
	for i, times := range c.times {
		d.add(c.run(i))
		if len(d.bytes)+4*len(d.numbers) > maxDictionary || before == look && 4*len(d.numbers) > 3*look {
			return false
		}
		before += int(times)
	}
	return 2*len(d.numbers) <= c.n
}

func (c *textColumn) write(w file.ColumnChunkWriter, h *handover) (err error) {
	if w.Properties().DictionaryEnabled() {
		err = h.texts.write(w, c, h)
	} else {
		err = c.writePlain(w, h)
	}
	c.levels.clear()
	c.bytes, c.ends, c.times, c.n = c.bytes[:0], c.ends[:0], c.times[:0], 0
	return err
}

func (c *textColumn) writePlain(w file.ColumnChunkWriter, h *handover) error {
	h.plain = slices.Grow(h.plain[:0], c.n)
	for i, times := range c.times {
		text := c.run(i)
		for range times {
			h.plain = append(h.plain, text)
		}
	}
	c.values = h.plain
	err := c.cells.write(w, h)
	c.values = nil
	clear(h.plain) // the room holds on to no text of a column
	return err
}

// textDictionary has the texts of a column chunk once each, in the order in which they
// come, and the number of each run's. Handed over as texts, the library would look
// every single cell up, with a piece of memory for each.
type textDictionary struct {
	numbers map[string]int32
	bytes   []byte
	offsets []int32 // in bytes, of each text, and the end
	runs    []int32 // the number of the text of each run

	texts []pq.ByteArray
	cells []int32 // of each row
	there []byte  // a bit for each row
}

func (d *textDictionary) clear() {
	clear(d.numbers)
	d.bytes, d.offsets, d.runs = d.bytes[:0], append(d.offsets[:0], 0), d.runs[:0]
}

// add notes the text of the next run.
func (d *textDictionary) add(text []byte) {
	number, known := d.numbers[string(text)]
	if !known {
		number = int32(len(d.numbers))
		d.numbers[string(text)] = number
		d.bytes = append(d.bytes, text...)
		d.offsets = append(d.offsets, int32(len(d.bytes)))
	}
	d.runs = append(d.runs, number)
}

// write hands the dictionary and the number of each cell to the column writer: as
// one batch and so one page, which they are far too small to outgrow.
func (d *textDictionary) write(w file.ColumnChunkWriter, c *textColumn, h *handover) error {
	encoder, ok := w.CurrentEncoder().(interface{ PutDictionary(arrow.Array) error })
	known, counted := w.PageStatistics().(*metadata.ByteArrayStatistics)
	if !ok || !counted {
		return fmt.Errorf("column of texts is written by %T", w)
	}
	var def []int16
	rows := c.n
	if !c.key {
		rows = c.levels.n
		h.def, _ = c.levels.write(h.def, 0, rows)
		def = h.def
	}
	d.place(c, def)
	if len(d.numbers) > 0 {
		texts := array.NewBinaryData(array.NewData(arrow.BinaryTypes.Binary, len(d.numbers),
			[]*memory.Buffer{nil, memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(d.offsets)), memory.NewBufferBytes(d.bytes)}, nil, 0, 0))
		if err := encoder.PutDictionary(texts); err != nil {
			return err
		}
	}
	nulls := rows - c.n
	known.Update(d.each(), int64(nulls)) // each once: of texts the least and the greatest count
	var there *memory.Buffer
	if nulls > 0 {
		there = memory.NewBufferBytes(d.there)
	}
	cells := array.NewInt32Data(array.NewData(arrow.PrimitiveTypes.Int32, len(d.cells),
		[]*memory.Buffer{there, memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(d.cells))}, nil, nulls, 0))
	return w.WriteDictIndices(cells, def, nil)
}

// each lists the texts.
func (d *textDictionary) each() []pq.ByteArray {
	d.texts = d.texts[:0]
	for i := range len(d.offsets) - 1 {
		d.texts = append(d.texts, d.bytes[d.offsets[i]:d.offsets[i+1]])
	}
	return d.texts
}

// place puts the number of its text in the cell of each row and says which are there:
// all, unless the levels say otherwise.
func (d *textDictionary) place(c *textColumn, def []int16) {
	d.cells = slices.Grow(d.cells[:0], max(c.n, len(def)))
	for i, times := range c.times {
		for range times {
			d.cells = append(d.cells, d.runs[i])
		}
	}
	if c.n >= len(def) {
		return
	}
	next := c.n - 1
	d.cells, d.there = d.cells[:len(def)], slices.Grow(d.there[:0], len(def)/8+1)[:len(def)/8+1]
	clear(d.there)
	for row, level := range slices.Backward(def) { // from the end, so that no number is written over before it is moved
		number := int32(0)
		if level == isThere {
			number = d.cells[next]
			next--
			d.there[row/8] |= 1 << (row % 8)
		}
		d.cells[row] = number
	}
}
