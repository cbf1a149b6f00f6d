package pipeline

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/store"
)

const tablesFolder = "tables/"

// unknownTableError says which tables there are.
type unknownTableError struct {
	name  string
	known []string
}

func (e *unknownTableError) Error() string {
	return fmt.Sprintf("no table %q: one of %s", e.name, strings.Join(e.known, ", "))
}

// UnknownTable reports whether err says that a results folder lacks a table,
// and which tables it has.
func UnknownTable(err error) (known []string, ok bool) {
	var unknown *unknownTableError
	if errors.As(err, &unknown) {
		return unknown.known, true
	}
	return nil, false
}

// Export writes one table of a results folder as CSV.
func Export(dir, table string, out io.Writer, forSpreadsheet bool) error {
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
		return &unknownTableError{table, known}
	}
	file, err := root.Open(tablesFolder + table + ".parquet")
	if err != nil {
		return err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return err
	}
	declared, err := parquet.TableOf(file, info.Size())
	if err != nil {
		return fmt.Errorf("%s: %w", table, err)
	}
	csv := parquet.NewCSVWriter(out, declared, parquet.CSVOptions{ForSpreadsheet: forSpreadsheet})
	if err := parquet.ReadGroups(file, info.Size(), declared, csv.Append); err != nil {
		return fmt.Errorf("%s: %w", table, err)
	}
	return csv.Flush()
}

// tableNames lists the tables of a results folder, sorted.
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
