package parquet

import (
	"cmp"
	"fmt"
	"math"
	"math/big"

	pq "github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/file"
	pqschema "github.com/apache/arrow/go/v17/parquet/schema"
	"tonocohort/schema"
)

// cellReader appends the cells of one column chunk to d.
type cellReader func(c chunk, d *schema.Data) error

// chunk is a column chunk with the sizes that the file claims for it.
type chunk struct {
	file.ColumnChunkReader
	rows   int
	levels int64 // rows, or samples and empty rows of a wave
}

type batchReader[T any] interface {
	ReadBatch(batch int64, values []T, def, rep []int16) (levels int64, read int, err error)
}

// reader returns the cellReader for the field's type in the file.
func (f *field) reader(texts *interner) (cellReader, error) {
	c := f.column
	switch t := c.LogicalType().(type) {
	case pqschema.DateLogicalType:
		return textCells(f, dateOf), nil
	case pqschema.UUIDLogicalType:
		return textCells(f, uuidText), nil
	case pqschema.Float16LogicalType:
		return numberCells(f, fromHalf), nil
	case *pqschema.DecimalLogicalType:
		return decimalCells(f, t.Scale())
	case *pqschema.TimestampLogicalType:
		layout := localLayout
		if t.IsAdjustedToUTC() {
			layout = utcLayout
		}
		return timeCells(f, t, layout)
	case *pqschema.TimeLogicalType:
		return timeCells(f, t, clockLayout)
	case *pqschema.IntLogicalType:
		if !t.IsSigned() {
			if c.PhysicalType() == pq.Types.Int32 {
				return numberCells(f, fromUint32), nil
			}
			return numberCells(f, fromUint64), nil
		}
	}
	switch t := c.PhysicalType(); t {
	case pq.Types.Double:
		return numberCells(f, fromFloat64), nil
	case pq.Types.Float:
		return numberCells(f, fromFloat32), nil
	case pq.Types.Int32:
		return numberCells(f, fromInt32), nil
	case pq.Types.Int64:
		return numberCells(f, fromInt64), nil
	case pq.Types.Boolean:
		return numberCells(f, fromBool), nil
	case pq.Types.ByteArray:
		return textCells(f, texts.text), nil
	case pq.Types.Int96:
		return textCells(f, oldTime), nil
	default:
		return nil, fmt.Errorf("type %s is not supported", t)
	}
}

func decimalCells(f *field, scale int32) (cellReader, error) {
	convert, err := decimal(scale)
	if err != nil {
		return nil, err
	}
	switch f.column.PhysicalType() {
	case pq.Types.Int32:
		return numberCells(f, func(v int32) (float64, error) { return convert(big.NewInt(int64(v))) }), nil
	case pq.Types.Int64:
		return numberCells(f, func(v int64) (float64, error) { return convert(big.NewInt(v)) }), nil
	case pq.Types.ByteArray:
		return numberCells(f, func(v pq.ByteArray) (float64, error) { return convert(bigEndian(v)) }), nil
	}
	return numberCells(f, func(v pq.FixedLenByteArray) (float64, error) { return convert(bigEndian(v)) }), nil
}

func timeCells(f *field, t pqschema.TemporalLogicalType, layout string) (cellReader, error) {
	convert, err := timeText(t, layout)
	if err != nil {
		return nil, err
	}
	if f.column.PhysicalType() == pq.Types.Int32 {
		return textCells(f, func(v int32) (string, error) { return convert(int64(v)) }), nil
	}
	return textCells(f, convert), nil
}

func numberCells[T any](f *field, convert func(T) (float64, error)) cellReader {
	switch {
	case f.kind == schema.Wave && f.series != nil:
		return waveCells(f, convert, f.series.add)
	case f.kind == schema.Wave:
		return waveCells(f, convert, appendWaves)
	}
	return flatCells(f, math.NaN(), convert, func(d *schema.Data) *[]float64 { return &d.Num })
}

func textCells[T any](f *field, convert func(T) (string, error)) cellReader {
	return flatCells(f, "", convert, func(d *schema.Data) *[]string { return &d.Text })
}

// batch is how many levels are read at most at once.
const batch = 8192

// buffers are used again for each chunk of a column.
type buffers[T any] struct {
	values   []T
	def, rep []int16
}

// grow makes room for one batch of a chunk with the given number of levels.
func (b *buffers[T]) grow(levels int64) {
	if n := int(max(1, min(batch, levels))); len(b.def) < n {
		b.values, b.def, b.rep = make([]T, n), make([]int16, n), make([]int16, n)
	}
}

func reads[T any](c chunk) (batchReader[T], error) {
	r, ok := c.ColumnChunkReader.(batchReader[T])
	if !ok {
		return nil, fmt.Errorf("the values are of another type than the schema says: %T", c.ColumnChunkReader)
	}
	return r, nil
}

// flatCells reads a column with one cell a row.
func flatCells[T, C any](f *field, missing C, convert func(T) (C, error), pick func(*schema.Data) *[]C) cellReader {
	var b buffers[T]
	most := f.column.MaxDefinitionLevel()
	return func(c chunk, d *schema.Data) error {
		r, err := reads[T](c)
		if err != nil {
			return err
		}
		b.grow(int64(c.rows))
		out := pick(d)
		for done := 0; done < c.rows; {
			n := min(len(b.def), c.rows-done)
			values, def := b.values[:n], b.def[:n]
			levels, read, err := r.ReadBatch(int64(n), values, def, nil)
			if err != nil {
				return err
			}
			if levels == 0 {
				return cmp.Or(c.Err(), fmt.Errorf("the column has %d of %d rows", done, c.rows))
			}
			used := 0
			for i := range int(levels) {
				if most > 0 && def[i] < most {
					*out = append(*out, missing)
					continue
				}
				if used == read || most > 0 && def[i] > most {
					return fmt.Errorf("levels and values do not match")
				}
				cell, err := convert(values[used])
				if err != nil {
					return inRow(done+i, err)
				}
				*out = append(*out, cell)
				used++
			}
			if used != read {
				return fmt.Errorf("levels and values do not match")
			}
			done += int(levels)
		}
		if c.HasNext() {
			return fmt.Errorf("the column has more rows than its row group")
		}
		return c.Err()
	}
}

// sample is a number of a list as it is kept.
type sample interface{ float32 | float64 }

// waveCells reads a column of lists of numbers and hands the samples of a chunk
// to put, with the bounds of each row's.
func waveCells[T any, S sample](f *field, convert func(T) (float64, error), put func(d *schema.Data, samples []S, bounds [][2]int)) cellReader {
	var b buffers[T]
	return func(c chunk, d *schema.Data) error {
		r, err := reads[T](c)
		if err != nil {
			return err
		}
		b.grow(c.levels)
		values, def, rep := b.values, b.def, b.rep
		waves := waveBuilder[S]{rows: c.rows, samples: make([]S, 0, len(def)), there: f.list, most: f.column.MaxDefinitionLevel()}
		for c.HasNext() {
			levels, read, err := r.ReadBatch(int64(len(def)), values, def, rep)
			if err != nil {
				return err
			}
			if levels == 0 {
				break
			}
			used := 0
			for i := range int(levels) {
				v := math.NaN()
				if def[i] == waves.most {
					if used == read {
						return fmt.Errorf("levels and values do not match")
					}
					if v, err = convert(values[used]); err != nil {
						return inRow(len(waves.bounds), err)
					}
					used++
				}
				if err := waves.add(def[i], rep[i], S(v)); err != nil {
					return err
				}
			}
			if used != read {
				return fmt.Errorf("levels and values do not match")
			}
		}
		if err := c.Err(); err != nil {
			return err
		}
		if len(waves.bounds) != c.rows {
			return fmt.Errorf("the column has %d of %d rows", len(waves.bounds), c.rows)
		}
		put(d, waves.samples, waves.bounds)
		return nil
	}
}

// waveBuilder puts rows together from levels and samples.
type waveBuilder[S sample] struct {
	rows        int
	there, most int16 // definition levels: from there on a sample, most: not null
	samples     []S
	bounds      [][2]int // of each row in samples; -1 where there is no wave
}

func (w *waveBuilder[S]) add(def, rep int16, v S) error {
	at := len(w.samples)
	switch {
	case def > w.most || rep > 1 || rep < 0 || rep == 1 && (len(w.bounds) == 0 || def < w.there):
		return fmt.Errorf("the levels of a list are damaged")
	case rep == 0 && len(w.bounds) == w.rows:
		return fmt.Errorf("the column has more rows than its row group")
	case def < w.there-1:
		w.bounds = append(w.bounds, [2]int{-1, -1})
		return nil
	case rep == 0:
		w.bounds = append(w.bounds, [2]int{at, at})
	}
	if def >= w.there {
		w.samples = append(w.samples, v)
		w.bounds[len(w.bounds)-1][1] = at + 1
	}
	return nil
}

// appendWaves keeps the samples as the cells of a wave column.
func appendWaves(d *schema.Data, samples []float32, bounds [][2]int) {
	for _, b := range bounds {
		var wave []float32
		if b[0] >= 0 {
			wave = samples[b[0]:b[1]:b[1]]
		}
		d.Wave = append(d.Wave, wave)
	}
}
