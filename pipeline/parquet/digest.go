package parquet

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash"
	"math"

	"tonocohort/schema"
)

// Digester computes the logical digest of a table: a SHA-256 of its cells, row
// by row, that depends neither on the Parquet bytes nor on how the rows were
// handed over. A frame has the same digest before it is written and after it
// was read back.
//
// What is hashed: a head, then the rows in order, then their number. The head
// is the text "tonocohort rows 1", the name of the table, the number of its
// columns, and name, kind and unit of each. A cell is one byte for its kind
// (0 where it is missing) followed by its value: numbers as 8 bytes (IEEE 754,
// little-endian), integers as 8 bytes, booleans as one, texts and dates as
// length and bytes, waves as length and 4 bytes a sample, with the pattern
// 7fc00000 for a missing one. Lengths and counts are unsigned varints, texts
// are preceded by their length, so that no two tables run into one another.
// It is not goroutine-safe.
type Digester struct {
	table  schema.Table
	marks  []byte // of each column
	hash   hash.Hash
	rows   uint64
	buffer []byte
}

// The bytes that stand before a cell.
const (
	cellMissing = iota
	cellNumber
	cellInteger
	cellBoolean
	cellText
	cellDate
	cellWave
)

// markOf is the byte of a column's cells: a kind is a text, and too slow to tell from
// the others in every cell.
func markOf(k schema.Kind) byte {
	switch k {
	case schema.Number:
		return cellNumber
	case schema.Integer:
		return cellInteger
	case schema.Boolean:
		return cellBoolean
	case schema.Date:
		return cellDate
	case schema.Wave:
		return cellWave
	}
	return cellText
}

const digestFlush = 1 << 16

// NewDigester starts the digest of a table.
func NewDigester(t schema.Table) *Digester {
	d := &Digester{table: t, hash: sha256.New()}
	d.text("tonocohort rows 1")
	d.text(t.Name)
	d.buffer = binary.AppendUvarint(d.buffer, uint64(len(t.Columns)))
	for _, c := range t.Columns {
		d.text(c.Name)
		d.text(string(c.Kind))
		d.text(c.Unit)
		d.marks = append(d.marks, markOf(c.Kind))
	}
	return d
}

func (d *Digester) text(s string) {
	d.buffer = appendText(d.buffer, s)
}

func appendText(out []byte, s string) []byte {
	return append(binary.AppendUvarint(out, uint64(len(s))), s...)
}

// Add takes the rows of f, whose table must have the digest's columns. A cell
// that its column cannot hold is an error.
func (d *Digester) Add(f *schema.Frame) error {
	if err := sameLayout(d.table, f.Table); err != nil {
		return fmt.Errorf("parquet: digest: %w", err)
	}
	if err := checkCells(f); err != nil {
		return fmt.Errorf("parquet: digest of %s: %w", d.table.Name, err)
	}
	for row := range f.N {
		out := d.buffer
		for i, mark := range d.marks {
			if mark == cellNumber { // as most are
				if v := f.Cols[i].Num[row]; finite(v) {
					out = binary.LittleEndian.AppendUint64(append(out, cellNumber), math.Float64bits(v))
				} else {
					out = append(out, cellMissing)
				}
				continue
			}
			var err error
			if out, err = appendCell(out, mark, &f.Cols[i], row); err != nil {
				return fmt.Errorf("parquet: digest of %s, column %s, after %d rows: %w", d.table.Name, d.table.Columns[i].Name, d.rows, err)
			}
		}
		d.buffer = out
		d.rows++
		if len(d.buffer) > digestFlush {
			d.flush()
		}
	}
	return nil
}

func (d *Digester) flush() {
	d.hash.Write(d.buffer) // a hash returns no error
	d.buffer = d.buffer[:0]
}

// appendCell adds a cell of any kind but number.
func appendCell(out []byte, mark byte, data *schema.Data, row int) ([]byte, error) {
	switch mark {
	case cellInteger:
		if v := data.Num[row]; finite(v) {
			n, err := wholeNumber(v)
			return binary.LittleEndian.AppendUint64(append(out, mark), uint64(n)), err
		}
	case cellBoolean:
		if v := data.Num[row]; finite(v) {
			is, err := truth(v)
			if is {
				return append(out, mark, 1), err
			}
			return append(out, mark, 0), err
		}
	case cellText:
		if s := data.Text[row]; s != "" {
			return appendText(append(out, mark), cleanText(s)), nil
		}
	case cellDate:
		if s := data.Text[row]; s != "" {
			_, err := dayNumber(s)
			return appendText(append(out, mark), cleanText(s)), err
		}
	case cellWave:
		if samples := data.Wave[row]; samples != nil {
			return appendSamples(append(out, mark), samples), nil
		}
	}
	return append(out, cellMissing), nil
}

func appendSamples(out []byte, samples []float32) []byte {
	const missing = 0x7fc00000
	out = binary.AppendUvarint(out, uint64(len(samples)))
	for _, v := range samples {
		bits := math.Float32bits(v)
		if !finite(float64(v)) {
			bits = missing
		}
		out = binary.LittleEndian.AppendUint32(out, bits)
	}
	return out
}

// Rows returns the number of rows taken.
func (d *Digester) Rows() int { return int(d.rows) }

// Sum returns the digest in hexadecimal; nothing may be added after it.
func (d *Digester) Sum() string {
	d.buffer = binary.AppendUvarint(d.buffer, d.rows)
	d.flush()
	return hex.EncodeToString(d.hash.Sum(nil))
}
