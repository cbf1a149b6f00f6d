package pipeline

import (
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"
)

// noRow stands for a row that has no partner.
const noRow = "no row"

// tableComparison carries the comparison of one table.
type tableComparison struct {
	into    *Comparison
	file    *FileComparison
	name    string
	a, b    *tableReader
	columns [][2]int
	differ  []bool // by pair of columns
	options CompareOptions
	listed  int
	digits  bool // every difference so far lies within the declared digits
	moved   bool
}

// tables compares two tables and fills in f: a subject at a time, or whole where
// their rows are not in the order of the subjects.
func (c *Comparison) tables(f *FileComparison, a, b *sealedFolder, o CompareOptions) {
	listed := len(c.Differences)
	t, err := c.table(f, a, b, o, false)
	if errors.Is(err, errNotInOrder) {
		*f, c.Differences = FileComparison{Path: f.Path}, c.Differences[:listed]
		t, err = c.table(f, a, b, o, true)
	}
	if err != nil {
		f.Verdict, f.Note = Unreadable, err.Error()
		return
	}
	for i, pair := range t.columns {
		if t.differ[i] {
			f.Columns = append(f.Columns, t.a.table.Columns[pair[0]].Name)
		}
	}
	f.Verdict = t.verdict()
	if t.moved {
		f.Note = "rows stand in another order"
	}
}

func (c *Comparison) table(f *FileComparison, a, b *sealedFolder, o CompareOptions, whole bool) (*tableComparison, error) {
	t := &tableComparison{into: c, file: f, name: strings.TrimSuffix(path.Base(f.Path), ".parquet"), options: o, digits: true}
	if strings.HasPrefix(f.Path, releaseFolder) {
		t.name = releaseFolder + t.name
	}
	var err error
	if t.a, err = openRows(a.root, f.Path); err != nil {
		return nil, inFolder("first", err)
	}
	defer t.a.stop()
	if t.b, err = openRows(b.root, f.Path); err != nil {
		return nil, inFolder("second", err)
	}
	defer t.b.stop()
	if whole || (t.a.subject < 0) != (t.b.subject < 0) {
		t.a.subject, t.b.subject = -1, -1
	}
	t.columns, f.ColumnsOnlyA, f.ColumnsOnlyB = sharedColumns(t.a.table, t.b.table)
	t.differ = make([]bool, len(t.columns))
	return t, t.walk()
}

func inFolder(which string, err error) error { return fmt.Errorf("%s folder: %w", which, err) }

func (t *tableComparison) verdict() string {
	f := t.file
	switch {
	case f.RowsOnlyA+f.RowsOnlyB > 0 || len(f.ColumnsOnlyA)+len(f.ColumnsOnlyB) > 0:
		return Differs
	case f.Cells == 0 && f.Within == 0:
		return SameValues
	case t.digits:
		return SameDigits
	}
	return Differs
}

// walk merges the blocks of the two tables.
func (t *tableComparison) walk() error {
	subjectA, rowsA, err := t.a.block()
	if err != nil {
		return inFolder("first", err)
	}
	subjectB, rowsB, err := t.b.block()
	if err != nil {
		return inFolder("second", err)
	}
	for len(rowsA) > 0 || len(rowsB) > 0 {
		takeA := len(rowsA) > 0 && (len(rowsB) == 0 || subjectA <= subjectB)
		takeB := len(rowsB) > 0 && (len(rowsA) == 0 || subjectB <= subjectA)
		var left, right []row
		if takeA {
			left = rowsA
			if subjectA, rowsA, err = t.a.block(); err != nil {
				return inFolder("first", err)
			}
		}
		if takeB {
			right = rowsB
			if subjectB, rowsB, err = t.b.block(); err != nil {
				return inFolder("second", err)
			}
		}
		t.block(t.kept(left, t.a), t.kept(right, t.b))
	}
	return nil
}

// kept takes the rows of the wanted subjects; a row of nobody is not wanted then.
func (t *tableComparison) kept(rows []row, r *tableReader) []row {
	at := r.table.Index("subject_id")
	if t.options.Subject == nil || at < 0 {
		return rows
	}
	return slices.DeleteFunc(rows, func(x row) bool { return !t.options.Subject(x.frame.Cols[at].Text[x.at]) })
}

func (t *tableComparison) block(a, b []row) {
	t.file.RowsA += len(a)
	t.file.RowsB += len(b)
	pairs, moved := paired(a, b, t.a.keys, t.b.keys)
	t.moved = t.moved || moved
	for _, p := range pairs {
		switch {
		case p[1] == nil:
			t.file.RowsOnlyA++
			t.list(*p[0], t.a.keys, CellDifference{New: noRow})
		case p[0] == nil:
			t.file.RowsOnlyB++
			t.list(*p[1], t.b.keys, CellDifference{Old: noRow})
		default:
			t.cells(*p[0], *p[1])
		}
	}
}

func (t *tableComparison) cells(a, b row) {
	digits := 0
	for i, pair := range t.columns {
		if sameCell(a, b, pair[0], pair[1]) {
			continue
		}
		if digits == 0 {
			digits = digitsOf(a, t.a.keys)
		}
		d, toDigits := cellDifference(a, b, pair[0], pair[1], digits)
		if toDigits && !t.into.SameBuild {
			t.file.Within++
			continue
		}
		t.differ[i] = true
		t.digits = t.digits && toDigits
		t.file.Cells++
		t.list(a, t.a.keys, d)
	}
}

func (t *tableComparison) list(at row, keys []int, d CellDifference) {
	if t.options.Limit > 0 && t.listed >= t.options.Limit {
		return
	}
	t.listed++
	d.File, d.Table, d.Key = t.file.Path, t.name, keyParts(at.frame, keys, at.at)
	t.into.Differences = append(t.into.Differences, d)
}
