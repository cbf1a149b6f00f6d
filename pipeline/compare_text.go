package pipeline

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
)

// Key is the key of a row: its columns in the order of the table.
type Key []KeyPart

// MarshalJSON writes the key as an object.
func (k Key) MarshalJSON() ([]byte, error) {
	object := make(map[string]string, len(k))
	for _, p := range k {
		object[p.Column] = p.Value
	}
	return json.Marshal(object)
}

// String is the key for a person: name=value, blanks between.
func (k Key) String() string {
	parts := make([]string, len(k))
	for i, p := range k {
		value := p.Value
		if value == "" || strings.ContainsAny(value, " =\"") {
			value = strconv.Quote(value)
		}
		parts[i] = p.Column + "=" + value
	}
	return strings.Join(parts, " ")
}

// String is the line that a person reads: table, key, column, old, new,
// difference.
func (d CellDifference) String() string {
	shown := func(s string) string {
		if s == "" {
			return "missing"
		}
		return s
	}
	switch {
	case d.Column == "" && d.New == noRow:
		return fmt.Sprintf("%s  %s  only in A", d.Table, d.Key)
	case d.Column == "":
		return fmt.Sprintf("%s  %s  only in B", d.Table, d.Key)
	}
	line := fmt.Sprintf("%s  %s  %s  %s → %s", d.Table, d.Key, d.Column, shown(d.Old), shown(d.New))
	if d.Difference != nil {
		line += "  (" + strconv.FormatFloat(*d.Difference, 'g', 4, 64) + ")"
	}
	return line
}

// String is the line of one file.
func (f FileComparison) String() string {
	line := f.Path + ": " + f.Verdict
	var in []string
	count := func(n int, one, many string) {
		if n == 1 {
			in = append(in, "1 "+one)
		} else if n > 1 {
			in = append(in, fmt.Sprintf("%d %s", n, many))
		}
	}
	count(f.Cells, "cell", "cells")
	count(f.Within, "cell within the digits", "cells within the digits")
	count(f.RowsOnlyA, "row only in A", "rows only in A")
	count(f.RowsOnlyB, "row only in B", "rows only in B")
	if len(f.Columns) > 0 {
		in = append(in, "in "+firstOf(f.Columns))
	}
	for _, side := range []struct {
		name    string
		columns []string
	}{{"A", f.ColumnsOnlyA}, {"B", f.ColumnsOnlyB}} {
		if len(side.columns) > 0 {
			in = append(in, "columns only in "+side.name+": "+strings.Join(side.columns, ", "))
		}
	}
	if f.Note != "" {
		in = append(in, f.Note)
	}
	if len(in) == 0 {
		return line
	}
	return line + " (" + strings.Join(in, "; ") + ")"
}

// firstOf names the first of many.
func firstOf(names []string) string {
	const shown = 6
	if len(names) <= shown {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:shown], ", "), len(names)-shown)
}
