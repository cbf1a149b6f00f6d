package pipeline

import (
	"errors"
	"iter"
	"math"
	"strconv"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// row is one row of a table that is being read.
type row struct {
	frame *schema.Frame
	at    int
}

// tableReader hands out the rows of a table a block at a time: those of one
// subject where the table is in the order of its subjects, else all of them. It
// holds one row group, and the rows of a block.
type tableReader struct {
	table   schema.Table
	keys    []int
	subject int // column of the subject; -1: the table is one block
	next    func() (*schema.Frame, error, bool)
	stop    func()
	frame   *schema.Frame
	at      int
	done    bool
	last    string // subject of the block before
}

// openRows opens a table of a results folder.
func openRows(root *store.Root, path string) (*tableReader, error) {
	file, err := root.Open(path)
	if err != nil {
		return nil, err
	}
	info, err := file.Stat()
	if err != nil {
		file.Close()
		return nil, err
	}
	table, err := parquet.TableOf(file, info.Size())
	if err != nil {
		file.Close()
		return nil, err
	}
	groups := func(yield func(*schema.Frame, error) bool) {
		err := parquet.ReadGroups(file, info.Size(), table, func(f *schema.Frame) error {
			if !yield(f, nil) {
				return errStopped
			}
			return nil
		})
		if err != nil && err != errStopped {
			yield(nil, err)
		}
	}
	r := &tableReader{table: table, keys: keyColumns(table), subject: -1}
	if bySubject(table) {
		r.subject = table.Index("subject_id")
	}
	next, stop := iter.Pull2(groups)
	r.next = next
	r.stop = func() {
		stop()
		file.Close()
	}
	return r, nil
}

var (
	errStopped    = errors.New("stopped")
	errNotInOrder = errors.New("the rows are not in the order of subject_id")
)

// fill makes sure that there is a row at hand; false at the end.
func (r *tableReader) fill() (bool, error) {
	for !r.done && (r.frame == nil || r.at == r.frame.N) {
		f, err, ok := r.next()
		if err != nil {
			return false, err
		}
		if r.frame, r.at = f, 0; !ok {
			r.done = true
		}
	}
	return !r.done, nil
}

// block returns the rows of the next subject, or all rows; none at the end.
func (r *tableReader) block() (subject string, rows []row, err error) {
	more, err := r.fill()
	if err != nil || !more {
		return "", nil, err
	}
	if r.subject >= 0 {
		subject = r.frame.Cols[r.subject].Text[r.at]
		if subject < r.last {
			return "", nil, errNotInOrder
		}
		r.last = subject
	}
	for more && (r.subject < 0 || r.frame.Cols[r.subject].Text[r.at] == subject) {
		rows = append(rows, row{r.frame, r.at})
		r.at++
		if more, err = r.fill(); err != nil {
			return "", nil, err
		}
	}
	return subject, rows, nil
}

// paired matches the rows of two blocks by key, rows of one key in their order.
// The pairs stand in the order of a; then come the rows of b alone.
func paired(a, b []row, keysA, keysB []int) (pairs [][2]*row, moved bool) {
	if samePlaces(a, b, keysA, keysB) {
		for i := range a {
			pairs = append(pairs, [2]*row{&a[i], &b[i]})
		}
		return pairs, false
	}
	waiting := make(map[string][]int, len(b))
	for j := range b {
		k := keyOf(b[j].frame, keysB, b[j].at)
		waiting[k] = append(waiting[k], j)
	}
	taken, last := make([]bool, len(b)), -1
	for i := range a {
		k := keyOf(a[i].frame, keysA, a[i].at)
		partners := waiting[k]
		if len(partners) == 0 {
			pairs = append(pairs, [2]*row{&a[i], nil})
			continue
		}
		j := partners[0]
		waiting[k], taken[j] = partners[1:], true
		moved = moved || j < last
		last = j
		pairs = append(pairs, [2]*row{&a[i], &b[j]})
	}
	for j := range b {
		if !taken[j] {
			pairs = append(pairs, [2]*row{nil, &b[j]})
		}
	}
	return pairs, moved
}

func samePlaces(a, b []row, keysA, keysB []int) bool {
	if len(a) != len(b) || len(keysA) != len(keysB) {
		return false
	}
	for i := range a {
		for k := range keysA {
			if !sameCell(a[i], b[i], keysA[k], keysB[k]) {
				return false
			}
		}
	}
	return true
}

// sameCell reports whether two cells are equal to the last bit; columns are of
// one kind, or the cells are not equal.
func sameCell(a, b row, i, j int) bool {
	c, d := a.frame.Table.Columns[i], b.frame.Table.Columns[j]
	x, y := &a.frame.Cols[i], &b.frame.Cols[j]
	switch {
	case c.Kind != d.Kind:
		return false
	case c.Textual():
		return x.Text[a.at] == y.Text[b.at]
	case c.Numeric():
		return sameBits(x.Num[a.at], y.Num[b.at])
	}
	v, w := x.Wave[a.at], y.Wave[b.at]
	if len(v) != len(w) || (v == nil) != (w == nil) {
		return false
	}
	for k := range v {
		if !sameBits(float64(v[k]), float64(w[k])) {
			return false
		}
	}
	return true
}

// sameBits takes every missing number for the same one.
func sameBits(a, b float64) bool {
	return math.Float64bits(a) == math.Float64bits(b) || math.IsNaN(a) && math.IsNaN(b)
}

// cellDifference describes two cells that are not equal; digits is how many are
// promised of the row.
func cellDifference(a, b row, i, j, digits int) (d CellDifference, toDigits bool) {
	c := a.frame.Table.Columns[i]
	d = CellDifference{Column: c.Name, Old: cellText(a.frame, i, a.at), New: cellText(b.frame, j, b.at)}
	x, y := &a.frame.Cols[i], &b.frame.Cols[j]
	switch {
	case c.Numeric():
		old, now := x.Num[a.at], y.Num[b.at]
		if by := now - old; !math.IsNaN(by) {
			d.Difference = &by
		}
		return d, schema.EqualToDigits(old, now, min(digits, schema.Digits(c.Name)))
	case c.Kind == schema.Wave:
		largest, equal := waveDifference(x.Wave[a.at], y.Wave[b.at])
		if !math.IsNaN(largest) {
			d.Difference = &largest
			d.New += ", largest difference " + strconv.FormatFloat(largest, 'g', 4, 64)
		}
		return d, equal
	}
	return d, false
}

func waveDifference(a, b []float32) (largest float64, toDigits bool) {
	if len(a) != len(b) || (a == nil) != (b == nil) {
		return math.NaN(), false
	}
	toDigits = true
	for k := range a {
		x, y := float64(a[k]), float64(b[k])
		toDigits = toDigits && schema.EqualToDigits(x, y, schema.WaveDigits)
		if d := math.Abs(x - y); d > largest {
			largest = d
		}
	}
	return largest, toDigits
}

// digitsOf is how many digits are promised of a row: a statistic of a column has
// no more than the column, be it the variable or a term of a model.
func digitsOf(x row, keys []int) int {
	digits := schema.DeclaredDigits
	for _, i := range keys {
		if x.frame.Table.Columns[i].Textual() {
			digits = min(digits, schema.Digits(x.frame.Cols[i].Text[x.at]))
		}
	}
	return digits
}
