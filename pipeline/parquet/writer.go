package parquet

import (
	"bufio"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash"
	"io"
	"math"

	pq "github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/metadata"
	"tonocohort/schema"
)

const (
	createdBy = "tonocohort"
	magic     = "PAR1"

	// A full row group has some hundred thousand cells, or a few MB of waves: a
	// run holds one of every table, however many rows they get.
	groupCells    = 1 << 19
	mostGroupRows = 1 << 15
	groupWaveRows = 1 << 10
)

// rowsOfGroup is how many rows a full row group of a table has, a power of two.
func rowsOfGroup(t schema.Table) int {
	rows := mostGroupRows
	for rows > groupWaveRows && rows*len(t.Columns) > groupCells {
		rows /= 2
	}
	for _, c := range t.Columns {
		if c.Kind == schema.Wave {
			rows = groupWaveRows
		}
	}
	return rows
}

// Writer writes one table as a Parquet file. It holds at most one row group;
// where row groups end depends on the table alone, so that the bytes do not
// depend on how many rows came with each Append. It is not goroutine-safe.
// After an error every later call returns that error.
type Writer struct {
	table       schema.Table
	out         *sink
	file        *metadata.FileMetaDataBuilder
	plain, dict *pq.WriterProperties
	pages       *pageWriter
	columns     []columnBuffer

	groupRows int // rows of a full row group
	buffered  int // rows in columns
	groups    int // row groups written
	written   []schema.RowGroup
	rows      int // rows taken
	closed    bool
	err       error
}

// NewWriter starts a file for t on w. meta are further file-level keys; the
// data dictionary and the Arrow schema are added. What is wrong with the
// table or with w is returned by Append or Close.
func NewWriter(w io.Writer, t schema.Table, meta map[string]string) *Writer {
	return newWriter(w, t, meta, rowsOfGroup(t))
}

func newWriter(w io.Writer, t schema.Table, meta map[string]string, rows int) *Writer {
	out := &Writer{table: t, out: &sink{w: bufio.NewWriterSize(w, 1<<15)}, groupRows: rows}
	out.err = out.start(meta)
	return out
}

func (w *Writer) start(meta map[string]string) (err error) {
	defer recovered(&err)
	sc, err := layout(w.table)
	if err != nil {
		return err
	}
	keys, err := keyValues(w.table, meta)
	if err != nil {
		return err
	}
	for _, c := range w.table.Columns {
		w.columns = append(w.columns, newColumn(c))
	}
	w.plain, w.dict = properties(false), properties(true)
	w.file = metadata.NewFileMetadataBuilder(sc, w.plain, keys)
	w.pages = newPageWriter(w.out)
	_, err = io.WriteString(w.out, magic)
	return err
}

// properties are the library's settings. Data pages are of version 1: in
// version 2 the library loops for ever on a row with more values than a batch,
// and level bytes stand outside the checksum of zstd.
func properties(dictionary bool) *pq.WriterProperties {
	return pq.NewWriterProperties(
		pq.WithVersion(pq.V2_LATEST),
		pq.WithDataPageVersion(pq.DataPageV1),
		pq.WithCreatedBy(createdBy),
		pq.WithCompression(compress.Codecs.Zstd),
		pq.WithRootRepetition(pq.Repetitions.Required),
		pq.WithDictionaryDefault(dictionary),
		pq.WithDictionaryPageSizeLimit(math.MaxInt32), // textColumn.repetitive has the limit
		pq.WithBatchSize(math.MaxInt64),               // cells.write makes the batches
	)
}

// Append adds the rows of f, whose table must have the writer's columns. Cells
// are copied. A cell that its column cannot hold is an error that names column
// and row: a missing key, a fraction in an integer column, a malformed date.
func (w *Writer) Append(f *schema.Frame) (err error) {
	if w.err == nil && w.closed {
		w.err = fmt.Errorf("parquet: table %s: Append after Close", w.table.Name)
	}
	if w.err != nil {
		return w.err
	}
	defer func() { w.err = err }()
	defer recovered(&err)
	if err := sameLayout(w.table, f.Table); err != nil {
		return fmt.Errorf("parquet: %w", err)
	}
	if err := checkCells(f); err != nil {
		return fmt.Errorf("parquet: table %s: %w", w.table.Name, err)
	}
	for from := 0; from < f.N; {
		to := min(f.N, from+w.groupRows-w.buffered)
		for i, c := range w.columns {
			if err := c.add(&f.Cols[i], from, to); err != nil {
				return fmt.Errorf("parquet: table %s, column %s, after %d rows: %w", w.table.Name, w.table.Columns[i].Name, w.rows, err)
			}
		}
		w.buffered += to - from
		from = to
		if w.buffered == w.groupRows {
			if err := w.flush(); err != nil {
				return err
			}
		}
	}
	w.rows += f.N
	return nil
}

// flush writes the row group.
func (w *Writer) flush() error {
	if w.groups > math.MaxInt16 {
		return fmt.Errorf("parquet: table %s: more than %d row groups", w.table.Name, w.groups)
	}
	group, ordinal, start := w.file.AppendRowGroup(), int16(w.groups), w.out.n
	w.out.digest = sha256.New()
	room := handovers.Get().(*handover)
	defer handovers.Put(room)
	for i, c := range w.columns {
		props := w.plain
		if c.repetitive(room) {
			props = w.dict
		}
		about := group.NextColumnChunk()
		w.pages.begin(about)
		column := file.NewColumnChunkWriter(about, w.pages, props)
		if err := c.write(column, room); err != nil {
			return w.failed(i, err)
		}
		if err := column.Close(); err != nil {
			return w.failed(i, err)
		}
	}
	group.SetNumRows(w.buffered)
	if err := group.Finish(w.out.n-start, ordinal); err != nil {
		return fmt.Errorf("parquet: table %s: %w", w.table.Name, err)
	}
	w.written = append(w.written, schema.RowGroup{
		Rows: int64(w.buffered), Offset: start, Bytes: w.out.n - start, SHA256: hex.EncodeToString(w.out.digest.Sum(nil)),
	})
	w.out.digest = nil
	w.groups++
	w.buffered = 0
	return nil
}

// RowGroups lists the row groups that have been written, each with the place and
// digest of its bytes.
func (w *Writer) RowGroups() []schema.RowGroup { return w.written }

func (w *Writer) failed(column int, err error) error {
	return fmt.Errorf("parquet: table %s, column %s, row group %d: %w", w.table.Name, w.table.Columns[column].Name, w.groups, err)
}

// Close writes what is buffered and the footer; it does not close the
// underlying writer. Without it the file is no Parquet file.
func (w *Writer) Close() error {
	if w.err != nil || w.closed {
		return w.err
	}
	w.closed = true
	w.err = w.finish()
	return w.err
}

func (w *Writer) finish() (err error) {
	defer recovered(&err)
	if w.buffered > 0 {
		if err := w.flush(); err != nil {
			return err
		}
	}
	footer, err := w.file.Finish()
	if err != nil {
		return fmt.Errorf("parquet: table %s: footer: %w", w.table.Name, err)
	}
	for _, group := range footer.RowGroups {
		group.TotalByteSize = 0 // the format wants it uncompressed
		for _, column := range group.Columns {
			group.TotalByteSize += column.MetaData.TotalUncompressedSize
			if s := column.MetaData.Statistics; s != nil {
				s.DistinctCount = nil // the library claims 0 without having counted
			}
		}
	}
	n, err := footer.WriteTo(w.out, nil)
	if err != nil {
		return fmt.Errorf("parquet: table %s: footer: %w", w.table.Name, err)
	}
	end := binary.LittleEndian.AppendUint32(nil, uint32(n))
	if _, err := w.out.Write(append(end, magic...)); err != nil {
		return err
	}
	return w.out.w.Flush()
}

// sink counts what is written and takes the digest of each row group.
type sink struct {
	w      *bufio.Writer
	n      int64
	digest hash.Hash // of the row group that is being written; nil: none is
}

func (s *sink) Write(p []byte) (int, error) {
	n, err := s.w.Write(p)
	s.n += int64(n)
	if s.digest != nil {
		s.digest.Write(p[:n])
	}
	return n, err
}

func (s *sink) Tell() int64 { return s.n }

// recovered makes a panic of the library an error.
func recovered(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("parquet: %v", p)
	}
}
