package pipeline

import (
	"fmt"
	"io"
	"maps"
	"os"
	"strings"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// File-level key of every table, so that a copy says where it may go.
const (
	accessRestricted = "restricted: stays with the study"
	accessReleased   = "released: checked for disclosure"
)

// openTable is one Parquet table being written: rows go in as frames, and on
// seal the file takes its place with its digests.
type openTable struct {
	path    string
	table   schema.Table
	pending *store.Pending
	writer  *parquet.Writer
	rows    *parquet.Digester
}

func createTable(results *store.Folder, path string, t schema.Table, meta map[string]string) (*openTable, error) {
	// What stands in tables/ stays with the study, whatever the table holds.
	t.Restricted = strings.HasPrefix(path, tablesFolder)
	meta = maps.Clone(meta)
	meta["access"] = accessReleased
	if t.Restricted {
		meta["access"] = accessRestricted
	}
	pending, err := results.Create(path)
	if err != nil {
		return nil, err
	}
	return &openTable{
		path: path, table: t, pending: pending,
		writer: parquet.NewWriter(pending, t, meta),
		rows:   parquet.NewDigester(t),
	}, nil
}

func (t *openTable) append(f *schema.Frame) error {
	if err := t.rows.Add(f); err != nil {
		return err
	}
	return t.writer.Append(f)
}

func (t *openTable) seal() (schema.Output, error) {
	defer t.pending.Abort()
	if err := t.writer.Close(); err != nil {
		return schema.Output{}, fmt.Errorf("%s: %w", t.path, err)
	}
	digest, err := t.pending.Commit()
	if err != nil {
		return schema.Output{}, err
	}
	rows := int64(t.rows.Rows())
	return schema.Output{
		File: schema.File{Path: t.path, Bytes: digest.Bytes, SHA256: digest.SHA256},
		Rows: &rows, RowDigest: t.rows.Sum(), RowGroups: t.writer.RowGroups(), Restricted: t.table.Restricted,
	}, nil
}

func (t *openTable) abandon() { t.pending.Abort() }

// writeTable writes a whole frame as one table.
func writeTable(results *store.Folder, path string, f *schema.Frame, meta map[string]string) (schema.Output, error) {
	return writePieces(results, path, f.Table, func(append func(*schema.Frame) error) error { return append(f) }, meta)
}

// writePieces writes a table whose rows come some at a time.
func writePieces(results *store.Folder, path string, table schema.Table, each func(append func(*schema.Frame) error) error, meta map[string]string) (schema.Output, error) {
	t, err := createTable(results, path, table, meta)
	if err != nil {
		return schema.Output{}, err
	}
	defer t.abandon()
	if err := each(t.append); err != nil {
		return schema.Output{}, fmt.Errorf("%s: %w", path, err)
	}
	return t.seal()
}

// writeFile writes a file that is not a table.
func writeFile(results *store.Folder, path string, restricted bool, write func(io.Writer) error) (schema.Output, error) {
	digest, err := results.WriteAtomic(path, write)
	if err != nil {
		return schema.Output{}, err
	}
	return schema.Output{
		File:       schema.File{Path: path, Bytes: digest.Bytes, SHA256: digest.SHA256},
		Restricted: restricted,
	}, nil
}

// readTable reads a table of a results folder back; the restriction to t's
// columns is the reader's guard against a file that is not what it says.
func readTable(results *store.Root, path string, t schema.Table) (f *schema.Frame, err error) {
	err = withFile(results, path, func(file *os.File, size int64) error {
		if f, err = parquet.Read(file, size, t); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		return nil
	})
	return f, err
}

// withFile opens a file of a folder for as long as do works on it.
func withFile(root *store.Root, path string, do func(file *os.File, size int64) error) error {
	file, err := root.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return err
	}
	return do(file, info.Size())
}

// readGroups reads a table of a folder a row group at a time.
func readGroups(root *store.Root, path string, table schema.Table, visit func(*schema.Frame) error) error {
	return withFile(root, path, func(file *os.File, size int64) error {
		return parquet.ReadGroups(file, size, table, visit)
	})
}

// lentMemory is what the columns of a lent table may take that are kept for whoever
// asks for them again: all of 30,000 rows, and one of 3 million.
const lentMemory = 24 << 20

// lendTable opens a table of a folder whose columns are read when they are asked
// for: those of t, or of nil those that the table itself declares. memory is that of
// parquet.Lend. done closes it.
func lendTable(root *store.Root, path string, t *schema.Table, memory int64) (f *schema.Frame, done func(), err error) {
	file, err := root.Open(path)
	if err != nil {
		return nil, nil, err
	}
	info, err := file.Stat()
	if err == nil && t != nil {
		f, err = parquet.Lend(file, info.Size(), *t, memory)
	} else if err == nil {
		f, err = parquet.LendAny(file, info.Size(), memory)
	}
	if err != nil {
		file.Close()
		return nil, nil, fmt.Errorf("%s: %w", path, err)
	}
	return f, func() { file.Close() }, nil
}
