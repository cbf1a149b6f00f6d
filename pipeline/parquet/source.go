package parquet

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"sync"

	"github.com/apache/arrow/go/v17/arrow/memory"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/metadata"
	"tonocohort/schema"
)

// source is an open file.
type source struct {
	r       io.ReaderAt
	size    int64
	meta    *metadata.FileMetaData
	fields  []field
	budget  *budget
	scratch *scratch
}

// maxFooter is the largest footer that is read. A footer takes about 0.3 kB
// for each column of each row group.
const maxFooter = 1 << 26

func open(r io.ReaderAt, size int64) (s *source, err error) {
	defer damaged(&err)
	footer, err := readFooter(r, size)
	if err != nil {
		return nil, err
	}
	if err := checkFooter(footer); err != nil {
		return nil, fmt.Errorf("parquet: %w", err)
	}
	s = &source{r: r, size: size, budget: &budget{}}
	if s.meta, err = metadata.NewFileMetaData(footer, nil); err != nil {
		return nil, fmt.Errorf("parquet: footer: %w", err)
	}
	if s.meta.IsSetEncryptionAlgorithm() {
		return nil, fmt.Errorf("parquet: the file is encrypted")
	}
	if s.fields, err = fieldsOf(s.meta.Schema); err != nil {
		return nil, fmt.Errorf("parquet: %w", err)
	}
	s.scratch, err = newScratch()
	return s, err
}

func readFooter(r io.ReaderAt, size int64) ([]byte, error) {
	const tail = 8
	end := make([]byte, tail)
	if size < int64(len(magic))+tail {
		return nil, fmt.Errorf("parquet: a file of %d bytes is too short", size)
	}
	if err := readAt(r, end, size-tail); err != nil {
		return nil, fmt.Errorf("parquet: %w", err)
	}
	switch string(end[4:]) {
	case magic:
	case "PARE":
		return nil, fmt.Errorf("parquet: the file is encrypted")
	default:
		return nil, fmt.Errorf("parquet: the file does not end as a Parquet file does")
	}
	n := int64(binary.LittleEndian.Uint32(end))
	if n > maxFooter || n > size-tail-int64(len(magic)) {
		return nil, fmt.Errorf("parquet: a footer of %d bytes in a file of %d", n, size)
	}
	footer := make([]byte, n)
	if err := readAt(r, footer, size-tail-n); err != nil {
		return nil, fmt.Errorf("parquet: footer: %w", err)
	}
	return footer, nil
}

// readAll appends all rows to f.
func (s *source) readAll(f *schema.Frame) error {
	s.budget.left = s.unfolded()
	columns, err := s.columns(f.Table)
	if err != nil {
		return err
	}
	for g := range s.meta.RowGroups {
		if err := s.readGroup(g, columns, f); err != nil {
			return err
		}
	}
	return s.complete(int64(f.N))
}

// eachGroup hands over a frame of table t for each row group.
func (s *source) eachGroup(t schema.Table, visit func(*schema.Frame) error) error {
	columns, err := s.columns(t)
	if err != nil {
		return err
	}
	rows := int64(0)
	for g := range s.meta.RowGroups {
		s.budget.left = s.unfolded()
		f := schema.NewFrame(t, 0)
		if err := s.readGroup(g, columns, f); err != nil {
			return err
		}
		rows += int64(f.N)
		if err := visit(f); err != nil {
			return err
		}
	}
	return s.complete(rows)
}

func (s *source) complete(rows int64) error {
	if rows != s.meta.NumRows {
		return fmt.Errorf("parquet: %d of %d rows", rows, s.meta.NumRows)
	}
	return nil
}

// table is what TableOf returns.
func (s *source) table() (t schema.Table, err error) {
	defer damaged(&err)
	declared := make(map[string]schema.Column)
	if about := s.meta.KeyValueMetadata().FindValue(dictionaryKey); about != nil {
		var d dictionary
		if err := json.Unmarshal([]byte(*about), &d); err != nil {
			return t, fmt.Errorf("parquet: data dictionary: %w", err)
		}
		t = d.Table
		for _, c := range d.Table.Columns {
			declared[c.Name] = c
		}
	}
	t.Columns = make([]schema.Column, len(s.fields))
	for i, f := range s.fields {
		if f.kind == "" {
			return t, fmt.Errorf("parquet: column %q cannot be read: %s", f.name, f.why)
		}
		c, ok := declared[f.name]
		if !ok || !fits(f.kind, c.Kind) {
			c = schema.Column{Name: f.name, Kind: f.kind}
		}
		t.Columns[i] = c
	}
	return t, nil
}

// column is a declared column with the field that holds it.
type column struct {
	schema.Column
	field *field
	read  cellReader
}

func (s *source) columns(t schema.Table) (columns []column, err error) {
	defer damaged(&err)
	at := make(map[string]*field, len(s.fields))
	for i := range s.fields {
		at[s.fields[i].name] = &s.fields[i]
	}
	texts := &interner{seen: make(map[string]string), budget: s.budget}
	columns = make([]column, len(t.Columns))
	for i, c := range t.Columns {
		f := at[c.Name]
		switch {
		case f == nil:
			return nil, fmt.Errorf("parquet: there is no column %q", c.Name)
		case f.kind == "":
			return nil, fmt.Errorf("parquet: column %q cannot be read: %s", c.Name, f.why)
		case !fits(f.kind, c.Kind):
			return nil, fmt.Errorf("parquet: column %q holds %s, not %s", c.Name, f.kind, c.Kind)
		}
		read, err := f.reader(texts)
		if err != nil {
			return nil, fmt.Errorf("parquet: column %q: %w", c.Name, err)
		}
		columns[i] = column{c, f, read}
	}
	return columns, nil
}

// readGroup appends the rows of a row group to f.
func (s *source) readGroup(g int, columns []column, f *schema.Frame) (err error) {
	defer damaged(&err)
	group := s.meta.RowGroup(g)
	rows := group.NumRows()
	if rows < 0 || rows > s.budget.left {
		return fmt.Errorf("parquet: row group %d claims %d rows", g, rows)
	}
	if group.NumColumns() != s.meta.Schema.NumColumns() {
		return fmt.Errorf("parquet: row group %d has %d columns, the schema %d", g, group.NumColumns(), s.meta.Schema.NumColumns())
	}
	for i, c := range columns {
		err := s.budget.take(rows * cellBytes(c.Column))
		if err == nil {
			err = s.readChunk(group, c, int(rows), &f.Cols[i])
		}
		if err != nil {
			return fmt.Errorf("parquet: row group %d, column %q: %w", g, c.Name, err)
		}
	}
	f.N += int(rows)
	if err := checkCells(f); err != nil {
		return fmt.Errorf("parquet: row group %d: %w", g, err)
	}
	return nil
}

// cellBytes is the memory that one cell takes at least.
func cellBytes(c schema.Column) int64 {
	switch {
	case c.Numeric():
		return 8
	case c.Textual():
		return 16
	}
	return 24
}

func (s *source) readChunk(group *metadata.RowGroupMetaData, c column, rows int, d *schema.Data) error {
	about, err := group.ColumnChunk(c.field.leaf)
	if err != nil {
		return err
	}
	if about.CryptoMetadata() != nil || about.FilePath() != "" {
		return fmt.Errorf("the column is encrypted or stands in another file")
	}
	bytes, err := s.bytesOf(about)
	if err != nil {
		return err
	}
	switch {
	case c.Numeric():
		d.Num = slices.Grow(d.Num, rows)
	case c.Textual():
		d.Text = slices.Grow(d.Text, rows)
	default:
		d.Wave = slices.Grow(d.Wave, rows)
	}
	p := &pages{chunk: bytes, column: c.field.column, codec: about.Compression(), left: about.NumValues(), budget: s.budget, scratch: s.scratch}
	before := len(d.Num)
	r := file.NewColumnReader(c.field.column, p, memory.DefaultAllocator, &sync.Pool{})
	if err := c.read(chunk{r, rows, about.NumValues()}, d); err != nil {
		return err
	}
	if c.Kind == schema.Integer && c.field.kind == schema.Number {
		for i, v := range d.Num[before:] {
			if _, err := wholeNumber(v); finite(v) && err != nil {
				return inRow(i, err)
			}
		}
	}
	return nil
}

// bytesOf reads a column chunk; the bytes are good until the next call.
func (s *source) bytesOf(about *metadata.ColumnChunkMetaData) ([]byte, error) {
	start, size := about.DataPageOffset(), about.TotalCompressedSize()
	if at := about.DictionaryPageOffset(); about.HasDictionaryPage() && at > 0 {
		start = min(start, at)
	}
	if start < 0 || size < 0 || start > s.size || size > s.size-start {
		return nil, fmt.Errorf("it claims %d bytes at %d of %d", size, start, s.size)
	}
	if int64(cap(s.scratch.chunk)) < size {
		s.scratch.chunk = make([]byte, size)
	}
	chunk := s.scratch.chunk[:size]
	return chunk, readAt(s.r, chunk, start)
}

// readAt fills b from off.
func readAt(r io.ReaderAt, b []byte, off int64) error {
	n, err := r.ReadAt(b, off)
	if n == len(b) {
		return nil
	}
	return fmt.Errorf("%d of %d bytes at %d: %w", n, len(b), off, err)
}

// damaged makes a panic of the library an error.
func damaged(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("parquet: the file is damaged: %v", p)
	}
}
