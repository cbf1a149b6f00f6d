package parquet

import (
	"fmt"
	"io"

	"tonocohort/schema"
)

// Read reads the columns that t declares from a Parquet file of size bytes;
// columns that t does not declare are left alone. A column that is absent or
// holds another kind of cell is an error.
//
// The file may come from anyone. Sizes that it claims are checked before
// memory is taken, at most 1 GiB + 4096 times its size is unfolded, checksums
// are verified where there are any, a column shorter or longer than its row
// group is refused, and whatever goes wrong, a panic of the library included,
// is returned as an error that names row group and column. Everything happens
// in the calling goroutine, and Arrow's own schema entry is never decoded.
func Read(r io.ReaderAt, size int64, t schema.Table) (*schema.Frame, error) {
	return readFrame(r, size, func(*source) (schema.Table, error) { return t, nil })
}

// ReadColumns is Read for some of the columns of t, in the order of names.
func ReadColumns(r io.ReaderAt, size int64, t schema.Table, names []string) (*schema.Frame, error) {
	part, err := Select(t, names)
	if err != nil {
		return nil, err
	}
	return Read(r, size, part)
}

// ReadGroups is Read a row group at a time: memory is bounded by the largest
// row group. The frame is new for each call of visit; an error of visit ends
// the reading and is returned.
func ReadGroups(r io.ReaderAt, size int64, t schema.Table, visit func(*schema.Frame) error) error {
	s, err := open(r, size)
	if err != nil {
		return err
	}
	return s.eachGroup(t, visit)
}

// ReadAny reads every column of a file that need not be ours: see TableOf.
func ReadAny(r io.ReaderAt, size int64) (*schema.Frame, error) {
	return readFrame(r, size, (*source).table)
}

func readFrame(r io.ReaderAt, size int64, table func(*source) (schema.Table, error)) (*schema.Frame, error) {
	s, err := open(r, size)
	if err != nil {
		return nil, err
	}
	t, err := table(s)
	if err != nil {
		return nil, err
	}
	rows := schema.NewFrame(t, 0)
	if err := s.readAll(rows); err != nil {
		return nil, err
	}
	return rows, nil
}

// TableOf returns the table of a file. Where the file carries our data
// dictionary, its declarations are used for the columns that they fit. Other
// kinds follow from the file: floating-point and decimal numbers are numbers
// (the nearest float64), integers integers (beyond ±2^53 reading them is an
// error), text text, lists of numbers waves, and times text in ISO 8601, with
// Z where the file says that they are UTC. A column that cannot be read is an
// error that names it.
func TableOf(r io.ReaderAt, size int64) (schema.Table, error) {
	s, err := open(r, size)
	if err != nil {
		return schema.Table{}, err
	}
	return s.table()
}

// Metadata returns the file-level keys, without Arrow's own entry.
func Metadata(r io.ReaderAt, size int64) (map[string]string, error) {
	s, err := open(r, size)
	if err != nil {
		return nil, err
	}
	meta := make(map[string]string)
	for _, kv := range s.meta.KeyValueMetadata() {
		if kv.GetKey() != arrowKey {
			meta[kv.GetKey()] = kv.GetValue()
		}
	}
	return meta, nil
}

// Dictionary returns the data dictionary, as JSON, of a file that we wrote.
func Dictionary(r io.ReaderAt, size int64) (string, error) {
	meta, err := Metadata(r, size)
	if err != nil {
		return "", err
	}
	about, ok := meta[dictionaryKey]
	if !ok {
		return "", fmt.Errorf("parquet: the file has no key %s: it was not written by us", dictionaryKey)
	}
	return about, nil
}

// Select returns t with the named columns alone, in the order of names.
func Select(t schema.Table, names []string) (schema.Table, error) {
	columns := make([]schema.Column, len(names))
	for i, name := range names {
		at := t.Index(name)
		if at < 0 {
			return schema.Table{}, fmt.Errorf("parquet: table %s has no column %s", t.Name, name)
		}
		columns[i] = t.Columns[at]
	}
	t.Columns = columns
	return t, nil
}
