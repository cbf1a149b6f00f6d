package recording

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"

	"tonocohort/schema"
)

// Columnar reads files of columns. It is guarded: whatever stands in the data,
// it returns, and takes no memory on the word of the file alone.
type Columnar interface {
	// Columns lists the columns in the order of the file; one that cannot be
	// read has no Kind.
	Columns(data []byte) ([]schema.Column, error)
	// Series reads a column of numbers or of lists of numbers, at most most
	// values: those of all rows one after the other, NaN where one is missing,
	// and, of a column of lists, where those of each row end.
	Series(data []byte, column string, most int) (values []float64, ends []int, err error)
	// Texts reads a column of text.
	Texts(data []byte, column string) ([]string, error)
}

// The names of the other columns that a Parquet recording may have.
const (
	recordingColumn = "recording_id"
	samplingColumn  = "sampling_hz"
)

// readParquet reads a recording from columns: long, a row a sample, or a list
// of samples in one row. The samples stand in the column pressure, or the one
// that channel names; time_s may stand beside them in the same form, sampling_hz
// beside a list. Where the file has a column recording_id, rows of others are
// left alone, so that one file can hold many recordings.
func (x *reading) readParquet() error {
	data, err := x.open(x.File, &x.raw, x.options.FileBytes)
	if err != nil {
		return err
	}
	c := &columns{reading: x, data: data, sum: x.rec.Inputs[0].SHA256}
	if err := c.list(); err != nil {
		return err
	}
	value, err := c.valueColumn()
	if err != nil {
		return err
	}
	rows, err := c.ownRows()
	if err != nil {
		return err
	}
	values, isList, err := c.samples(value, rows)
	if err != nil {
		return err
	}
	for i, v := range values {
		if math.IsInf(v, 0) {
			issue := fault(x.File, CodeNotNumber, "is infinite", "leave it null where a sample is missing")
			issue.Row, issue.Name = i+1, value
			return issue
		}
	}
	copy(room(&x.samples, len(values)), values)
	x.rec.Samples = x.samples[:len(values)]
	x.rec.SamplingHz = x.SamplingHz
	if err := c.setClock(value, rows, isList, len(values)); err != nil {
		return err
	}
	return x.setUnit("")
}

// columnarFault is the Issue of a file of columns that cannot be read.
func (x *reading) columnarFault(err error) error {
	i := fault(x.File, CodeReadFailed, "cannot be read: "+err.Error(), "write it as plain Parquet: not encrypted, packed by zstd, snappy, gzip or not at all; is it complete?")
	if bytes.HasPrefix(x.raw, []byte("ARROW1")) || bytes.HasPrefix(x.raw, []byte("FEA1")) {
		i.Hint = "is it an Arrow file (Feather)? write it as Parquet"
	}
	return i
}

// columns is a file of columns in progress.
type columns struct {
	*reading
	data  []byte
	sum   string
	all   []schema.Column
	names []string
}

func (c *columns) list() (err error) {
	if c.all, err = c.options.Parquet.Columns(c.data); err != nil {
		return c.columnarFault(err)
	}
	c.names = make([]string, len(c.all))
	for i := range c.all {
		c.names[i] = c.all[i].Name
	}
	return nil
}

// valueColumn finds the column that holds the samples.
func (c *columns) valueColumn() (string, error) {
	if c.Channel == "" {
		if !slices.Contains(c.names, pressureColumn) {
			return "", c.fault(CodeColumnMissing, "has no column "+pressureColumn, "name the column in channel")
		}
		if !isSeries(c.all[slices.Index(c.names, pressureColumn)]) {
			return "", c.fault(CodeChannelNotSignal, "its column "+pressureColumn+" holds no samples", "write numbers or lists of numbers, or name another column in channel")
		}
		return pressureColumn, nil
	}
	k, err := c.pick(c.names)
	if err != nil {
		return "", err
	}
	if !isSeries(c.all[k]) || c.names[k] == timeColumn {
		return "", c.channelFault(CodeChannelNotSignal, "holds no samples")
	}
	return c.names[k], nil
}

func isSeries(c schema.Column) bool {
	return c.Kind == schema.Number || c.Kind == schema.Integer || c.Kind == schema.Wave
}

// ownRows lists the rows of this recording; nil: all of them are.
func (c *columns) ownRows() ([]int, error) {
	k := slices.Index(c.names, recordingColumn)
	if k < 0 {
		return nil, nil
	}
	var ids []string
	if kept, ok := c.cache.get(c.sum, recordingColumn); ok {
		ids = kept.texts
	} else {
		var err error
		if ids, err = c.options.Parquet.Texts(c.data, recordingColumn); err != nil {
			return nil, c.columnarFault(err)
		}
		c.cache.put(c.sum, recordingColumn, cached{texts: ids})
	}
	rows := []int{}
	for row, id := range ids {
		if id == c.RecordingID {
			rows = append(rows, row)
		}
	}
	if len(rows) == 0 {
		i := fault(c.File, CodeRecordingNotInFile, "has a column "+recordingColumn+", and none of its rows is of this recording", "write the recording_id of the recordings table there")
		i.Name = recordingColumn
		return nil, i
	}
	return rows, nil
}

// series reads a column, once for all recordings that stand in the file.
func (c *columns) series(name string) (cached, error) {
	if kept, ok := c.cache.get(c.sum, name); ok {
		return kept, nil
	}
	values, ends, err := c.options.Parquet.Series(c.data, name, c.options.Samples)
	if err != nil {
		return cached{}, c.columnarFault(err)
	}
	kept := cached{values: values, ends: ends}
	c.cache.put(c.sum, name, kept)
	return kept, nil
}

// samples gives the values of a column in the given rows, and whether they
// stood there as one list.
func (c *columns) samples(name string, rows []int) ([]float64, bool, error) {
	s, err := c.series(name)
	switch {
	case err != nil:
		return nil, false, err
	case s.ends == nil && rows == nil:
		return s.values, false, nil
	case s.ends == nil:
		picked := make([]float64, len(rows))
		for i, row := range rows {
			picked[i] = s.values[row]
		}
		return picked, false, nil
	}
	row, n := 0, len(s.ends)
	if rows != nil {
		row, n = rows[0], len(rows)
	}
	if n != 1 {
		i := fault(c.File, CodeSeveralRecordings, "holds "+plural(n, "row")+" with a list of samples, where a recording is one", "a file of several recordings needs a column "+recordingColumn)
		i.Name = name
		return nil, true, i
	}
	from := 0
	if row > 0 {
		from = s.ends[row-1]
	}
	return s.values[from:s.ends[row]], true, nil
}

// setClock sets the rate from time_s, else from sampling_hz beside a list, else
// from the table.
func (c *columns) setClock(value string, rows []int, isList bool, n int) error {
	if slices.Contains(c.names, timeColumn) && value != timeColumn {
		times, timesAreList, err := c.samples(timeColumn, rows)
		if err != nil {
			return err
		}
		if timesAreList != isList || len(times) != n {
			return c.fault(CodeRowRagged, timeColumn+" and "+value+" differ in number", "give each sample its time, in the same form")
		}
		return c.reading.setClock(slices.Clone(times), func(i int) *schema.Issue { return &schema.Issue{Row: i + 1, Name: timeColumn} })
	}
	if isList && slices.Contains(c.names, samplingColumn) {
		hz, _, err := c.samples(samplingColumn, rows)
		if err != nil {
			return err
		}
		if len(hz) == 1 && !math.IsNaN(hz[0]) {
			return c.setRate(hz[0])
		}
	}
	if c.SamplingHz == 0 {
		return c.fault(CodeSamplingMissing, "has no "+timeColumn+", and no sampling rate is declared", "give sampling_hz in the recordings table")
	}
	return nil
}

// cached is a column of a file that was read before.
type cached struct {
	values []float64
	ends   []int
	texts  []string
}

// columnCache keeps the columns of the last file: a file of many recordings is
// then decoded once and not once for each.
type columnCache struct {
	sum     string
	columns map[string]cached
}

func (k *columnCache) get(sum, column string) (cached, bool) {
	if k.sum != sum {
		return cached{}, false
	}
	c, ok := k.columns[column]
	return c, ok
}

func (k *columnCache) put(sum, column string, c cached) {
	if k.sum != sum {
		k.sum, k.columns = sum, map[string]cached{}
	}
	k.columns[column] = c
}

// parquetContents says what a file of columns holds.
func (x *reading) parquetContents(c *Contents) error {
	data, err := x.open(x.File, &x.raw, x.options.FileBytes)
	if err != nil {
		return err
	}
	all, err := x.options.Parquet.Columns(data)
	if err != nil {
		return x.columnarFault(err)
	}
	for i, column := range all {
		switch {
		case column.Name == timeColumn:
			c.Timed = true
		case isSeries(column) && column.Name != samplingColumn:
			c.Channels = append(c.Channels, Channel{Name: column.Name, Position: strconv.Itoa(i + 1), Unit: unitArbitrary})
		}
	}
	if len(c.Channels) == 0 {
		return x.fault(CodeColumnMissing, fmt.Sprintf("none of its %d columns holds samples", len(all)), "samples stand in a column of numbers, or of lists of numbers")
	}
	return nil
}
