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
	}
	return d
}

func (d *Digester) text(s string) {
	d.buffer = append(binary.AppendUvarint(d.buffer, uint64(len(s))), s...)
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
		for i := range d.table.Columns {
			c := &d.table.Columns[i] // no copy of a whole declaration for a cell
			if err := d.cell(c.Kind, &f.Cols[i], row); err != nil {
				return fmt.Errorf("parquet: digest of %s, column %s, after %d rows: %w", d.table.Name, c.Name, d.rows, err)
			}
		}
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

func (d *Digester) cell(k schema.Kind, data *schema.Data, row int) error {
	switch k {
	case schema.Number, schema.Integer, schema.Boolean:
		return d.number(k, data.Num[row])
	case schema.Wave:
		d.wave(data.Wave[row])
		return nil
	}
	s := data.Text[row]
	if s == "" {
		d.buffer = append(d.buffer, cellMissing)
		return nil
	}
	mark := byte(cellText)
	if k == schema.Date {
		mark = cellDate
		if _, err := dayNumber(s); err != nil {
			return err
		}
	}
	d.buffer = append(d.buffer, mark)
	d.text(cleanText(s))
	return nil
}

func (d *Digester) number(k schema.Kind, v float64) error {
	if !finite(v) {
		d.buffer = append(d.buffer, cellMissing)
		return nil
	}
	switch k {
	case schema.Integer:
		n, err := wholeNumber(v)
		d.buffer = binary.LittleEndian.AppendUint64(append(d.buffer, cellInteger), uint64(n))
		return err
	case schema.Boolean:
		is, err := truth(v)
		d.buffer = append(d.buffer, cellBoolean, 0)
		if is {
			d.buffer[len(d.buffer)-1] = 1
		}
		return err
	}
	d.buffer = binary.LittleEndian.AppendUint64(append(d.buffer, cellNumber), math.Float64bits(v))
	return nil
}

func (d *Digester) wave(samples []float32) {
	if samples == nil {
		d.buffer = append(d.buffer, cellMissing)
		return
	}
	const missing = 0x7fc00000
	d.buffer = binary.AppendUvarint(append(d.buffer, cellWave), uint64(len(samples)))
	for _, v := range samples {
		bits := math.Float32bits(v)
		if !finite(float64(v)) {
			bits = missing
		}
		d.buffer = binary.LittleEndian.AppendUint32(d.buffer, bits)
	}
}

// Rows returns the number of rows taken.
func (d *Digester) Rows() int { return int(d.rows) }

// Sum returns the digest in hexadecimal; nothing may be added after it.
func (d *Digester) Sum() string {
	d.buffer = binary.AppendUvarint(d.buffer, d.rows)
	d.flush()
	return hex.EncodeToString(d.hash.Sum(nil))
}
