package parquet

import (
	"fmt"
	"io"

	"tonocohort/schema"
)

// Series is a column of numbers or of lists of numbers with every digit that
// the file holds.
type Series struct {
	Values []float64 // of all rows one after the other; NaN where a value is missing
	Ends   []int     // of a list column: where the values of each row end; nil: a row is one value
}

// Columns lists the columns of a file with their kinds, as TableOf gives them;
// one that cannot be read has no kind, so that it is in nobody's way.
func Columns(r io.ReaderAt, size int64) ([]schema.Column, error) {
	s, err := open(r, size)
	if err != nil {
		return nil, err
	}
	columns := make([]schema.Column, len(s.fields))
	for i, f := range s.fields {
		columns[i] = schema.Column{Name: f.name, Kind: f.kind}
	}
	return columns, nil
}

// ReadSeries reads one column of numbers or of lists of them, guarded as Read
// is. More than most values in the whole column are an error before memory is
// taken for them. Work is bounded by what the file claims and may claim, not by
// a clock: a recording that is left out must not depend on the machine's speed.
func ReadSeries(r io.ReaderAt, size int64, name string, most int) (Series, error) {
	s, err := open(r, size)
	if err != nil {
		return Series{}, err
	}
	return s.series(name, int64(most))
}

func (s *source) series(name string, most int64) (series Series, err error) {
	defer damaged(&err)
	c := schema.Column{Name: name, Kind: schema.Number}
	isList := false
	for i := range s.fields {
		if f := &s.fields[i]; f.name == name && f.kind == schema.Wave {
			c.Kind, f.series, isList = schema.Wave, &series, true
		}
	}
	s.budget.left = budgetBase + budgetFactor*s.size
	columns, err := s.columns(schema.Table{Columns: []schema.Column{c}})
	if err != nil {
		return Series{}, err
	}
	if isList {
		series.Ends = []int{}
	}
	var cells schema.Data
	rows := int64(0)
	for g := range s.meta.RowGroups {
		group := s.meta.RowGroup(g)
		about, err := group.ColumnChunk(columns[0].field.leaf)
		if err != nil {
			return Series{}, fmt.Errorf("parquet: row group %d: %w", g, err)
		}
		n := group.NumRows()
		if most -= max(n, about.NumValues()); n < 0 || most < 0 {
			return Series{}, &TooManyError{}
		}
		if err := s.readChunk(group, columns[0], int(n), &cells); err != nil {
			return Series{}, fmt.Errorf("parquet: row group %d, column %q: %w", g, name, err)
		}
		rows += n
	}
	if !isList {
		series.Values = cells.Num
		if int64(len(cells.Num)) != rows {
			return Series{}, fmt.Errorf("parquet: column %q has %d of %d rows", name, len(cells.Num), rows)
		}
	}
	return series, s.complete(rows)
}

// TooManyError says that a column holds more values than the caller takes.
type TooManyError struct{}

func (*TooManyError) Error() string { return "parquet: the column holds more values than the limit" }

// add is what a list column gives chunk by chunk.
func (s *Series) add(_ *schema.Data, samples []float64, bounds [][2]int) {
	from := len(s.Values)
	s.Values = append(s.Values, samples...)
	for _, b := range bounds {
		end := from
		if len(s.Ends) > 0 {
			end = max(from, s.Ends[len(s.Ends)-1])
		}
		if b[0] >= 0 {
			end = from + b[1]
		}
		s.Ends = append(s.Ends, end)
	}
}
