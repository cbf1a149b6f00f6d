package pipeline

import (
	"encoding/binary"
	"errors"
	"math"
	"slices"

	"tonocohort/schema"
)

// frames lists the tables of a chunk in the order in which they are written.
func (c *chunkRows) frames() []*schema.Frame {
	return []*schema.Frame{c.recordings, c.visits, c.beats, c.waveforms, c.estimates, c.uncertainty, c.reviews, c.readings, c.exclusions}
}

// marks says how many rows each table has.
func (c *chunkRows) marks() []int {
	frames := c.frames()
	marks := make([]int, len(frames))
	for i, f := range frames {
		marks[i] = f.N
	}
	return marks
}

// appendRows adds the rows from the marks on to out, table by table and column by
// column. Numbers keep their bits; what the columns are, the reader must know.
func appendRows(out []byte, frames []*schema.Frame, from []int) []byte {
	for i, f := range frames {
		out = binary.AppendUvarint(out, uint64(f.N-from[i]))
		if f.N == from[i] {
			continue
		}
		for k := range f.Cols {
			d := &f.Cols[k]
			switch c := &f.Table.Columns[k]; {
			case c.Numeric():
				numbers := d.Num[from[i]:]
				out = slices.Grow(out, 8*len(numbers))
				for _, v := range numbers {
					out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
				}
			case c.Textual():
				out = appendTexts(out, d.Text[from[i]:])
			default:
				for _, w := range d.Wave[from[i]:] {
					out = appendWave(out, w)
				}
			}
		}
	}
	return out
}

// appendTexts writes each text behind its length and one; 0 stands for the text before,
// since a person's id stands in many rows running.
func appendTexts(out []byte, texts []string) []byte {
	before := ""
	for _, text := range texts {
		if text == before {
			out = append(out, 0)
			continue
		}
		out = append(binary.AppendUvarint(out, uint64(len(text))+1), text...)
		before = text
	}
	return out
}

// appendWave writes a wave; a missing one has length 0, an empty one 1.
func appendWave(out []byte, w []float32) []byte {
	if w == nil {
		return append(out, 0)
	}
	out = slices.Grow(binary.AppendUvarint(out, uint64(len(w))+1), 4*len(w))
	for _, v := range w {
		out = binary.LittleEndian.AppendUint32(out, math.Float32bits(v))
	}
	return out
}

var errRows = errors.New("rows that do not fit the tables")

// readRows adds the rows that appendRows wrote to the frames.
func readRows(data []byte, frames []*schema.Frame) error {
	b := rowBytes{left: data}
	for _, f := range frames {
		n := b.count(1)
		if b.bad {
			return errRows
		}
		for k, c := range f.Table.Columns {
			d, text := &f.Cols[k], ""
			for range n {
				switch {
				case c.Numeric():
					d.Num = append(d.Num, math.Float64frombits(binary.LittleEndian.Uint64(b.take(8))))
				case c.Textual():
					if length := b.count(1); length > 0 {
						text = string(b.take(length - 1))
					}
					d.Text = append(d.Text, text)
				default:
					d.Wave = append(d.Wave, b.wave())
				}
				if b.bad {
					return errRows
				}
			}
		}
		f.N += n
	}
	if len(b.left) > 0 {
		return errRows
	}
	return nil
}

// rowBytes hands out bytes and remembers whether they ran short.
type rowBytes struct {
	left []byte
	bad  bool
	zero [8]byte
}

func (b *rowBytes) take(n int) []byte {
	if n > len(b.left) {
		b.bad = true
		return b.zero[:min(n, len(b.zero))]
	}
	out := b.left[:n]
	b.left = b.left[n:]
	return out
}

// count reads a number of things that take at least size bytes each; more than
// there is room for cannot be.
func (b *rowBytes) count(size int) int {
	n, used := binary.Uvarint(b.left)
	if used <= 0 || n > uint64(len(b.left)-used)/uint64(size)+1 {
		b.bad = true
		return 0
	}
	b.left = b.left[used:]
	return int(n)
}

func (b *rowBytes) wave() []float32 {
	n := b.count(1)
	if n == 0 || b.bad {
		return nil
	}
	samples := b.take(4 * (n - 1))
	if b.bad {
		return nil
	}
	w := make([]float32, n-1)
	for i := range w {
		w[i] = math.Float32frombits(binary.LittleEndian.Uint32(samples[4*i:]))
	}
	return w
}
