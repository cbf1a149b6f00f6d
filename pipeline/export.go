package pipeline

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

const tablesFolder = "tables/"

// ExportOptions says which part of a table is printed, and for what.
type ExportOptions struct {
	Columns        []string // in this order; nil: all
	ForSpreadsheet bool     // text that a spreadsheet would run is made harmless
}

// UnknownNameError says that there is no table, or no column, of a name, and
// which there are.
type UnknownNameError struct {
	What  string // table or column
	Name  string
	Known []string
}

func (e *UnknownNameError) Error() string {
	return fmt.Sprintf("no %s %q: one of %s", e.What, e.Name, strings.Join(e.Known, ", "))
}

// Export writes one table of a results folder as CSV. A table or column that is
// not there is an *UnknownNameError.
func Export(dir, table string, out io.Writer, o ExportOptions) error {
	return withTable(dir, table, func(file *os.File, size int64, declared schema.Table) error {
		for _, name := range o.Columns {
			if declared.Index(name) < 0 {
				return &UnknownNameError{"column", name, columnNames(declared)}
			}
		}
		if o.Columns != nil {
			var err error
			if declared, err = parquet.Select(declared, o.Columns); err != nil {
				return err
			}
		}
		csv := parquet.NewCSVWriter(out, declared, parquet.CSVOptions{ForSpreadsheet: o.ForSpreadsheet})
		if err := parquet.ReadGroups(file, size, declared, csv.Append); err != nil {
			return fmt.Errorf("%s: %w", table, err)
		}
		return csv.Flush()
	})
}

// TableNames are the tables of a results folder.
func TableNames(dir string) ([]string, error) {
	root, err := openFolder(dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	return tableNames(root)
}

// ColumnNames are the columns of a table of a results folder.
func ColumnNames(dir, table string) (names []string, err error) {
	err = withTable(dir, table, func(_ *os.File, _ int64, declared schema.Table) error {
		names = columnNames(declared)
		return nil
	})
	return names, err
}

func columnNames(t schema.Table) []string {
	names := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		names[i] = c.Name
	}
	return names
}

// withTable opens a table of a results folder.
func withTable(dir, table string, do func(file *os.File, size int64, declared schema.Table) error) error {
	root, err := openFolder(dir)
	if err != nil {
		return err
	}
	defer root.Close()
	known, err := tableNames(root)
	if err != nil {
		return err
	}
	if !slices.Contains(known, table) {
		return &UnknownNameError{"table", table, known}
	}
	return withFile(root, tablePath(table), func(file *os.File, size int64) error {
		declared, err := parquet.TableOf(file, size)
		if err != nil {
			return fmt.Errorf("%s: %w", table, err)
		}
		return do(file, size, declared)
	})
}

// tableNames are the tables of an open results folder. A folder without its tables is no results
// folder.
func tableNames(root *store.Root) ([]string, error) {
	names, err := root.Names(strings.TrimSuffix(tablesFolder, "/"))
	if store.IsMissing(err) {
		return nil, errors.New("the folder holds no tables: is it a results folder?")
	}
	if err != nil {
		return nil, err
	}
	var tables []string
	for _, n := range names {
		if table, ok := strings.CutSuffix(n, ".parquet"); ok {
			tables = append(tables, table)
		}
	}
	return tables, nil
}
