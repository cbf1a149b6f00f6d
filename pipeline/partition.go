package pipeline

import (
	"context"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

const (
	// partRows is how many rows a part takes where no column divides the table.
	partRows = 1 << 20
	// mostParts bounds the values by which a table is divided: each is a folder.
	mostParts = 1000
	// partsAtOnce are written in one pass over the table: each holds a row group.
	partsAtOnce = 16
	// noValue is the folder of rows without a value, as Hive, Spark and DuckDB have it.
	noValue = "__HIVE_DEFAULT_PARTITION__"
)

// Partitioned says what came of a table.
type Partitioned struct {
	Files int
	Rows  int64
}

// Partition writes a table of sealed results as a data set of several Parquet
// files in folders COLUMN=VALUE, which DuckDB, Spark and Arrow read as one table:
// a folder for each value of a column, which then stands in the folder's name
// alone, or with by "" the folders part=1, part=2 and so on, of about a million
// rows each. The table is read a row group at a time, and outDir appears whole or
// not at all. A table or column that is not there is an *UnknownNameError.
func Partition(ctx context.Context, dir, table, outDir, by string) (Partitioned, error) {
	s, err := openSource(dir)
	if err != nil {
		return Partitioned{}, err
	}
	defer s.root.Close()
	if known, err := tableNames(s.root); err != nil || !slices.Contains(known, table) {
		return Partitioned{}, orElseUnknown(err, "table", table, known)
	}
	if err := s.check(tablePath(table)); err != nil {
		return Partitioned{}, err
	}
	if _, err := os.Lstat(outDir); err == nil {
		return Partitioned{}, fmt.Errorf("%s: %w", outDir, ErrBundleExists)
	}
	parent := filepath.Dir(filepath.Clean(outDir))
	if err := os.MkdirAll(parent, 0o777); err != nil {
		return Partitioned{}, err
	}
	stage, err := os.MkdirTemp(parent, "."+filepath.Base(outDir)+".partial-")
	if err != nil {
		return Partitioned{}, err
	}
	defer os.RemoveAll(stage)
	if err := os.Chmod(stage, 0o755); err != nil {
		return Partitioned{}, err
	}
	folder, err := store.OpenFolder(stage)
	if err != nil {
		return Partitioned{}, err
	}
	defer folder.Close()
	p := &partitioning{folder: folder, table: table, by: by, meta: map[string]string{
		"study": s.manifest.Study.ID, "caution": schema.Caution, "access": accessRestricted}}
	err = withFile(s.root, tablePath(table), func(file *os.File, size int64) error {
		p.file, p.size = file, size
		return p.write(ctx)
	})
	if err != nil {
		return Partitioned{}, err
	}
	return p.done, os.Rename(stage, outDir)
}

func orElseUnknown(err error, what, name string, known []string) error {
	if err != nil {
		return err
	}
	return &UnknownNameError{what, name, known}
}

// partitioning is a data set on its way.
type partitioning struct {
	folder    *store.Folder
	file      *os.File
	size      int64
	table, by string
	declared  schema.Table // as it stands in the file
	left      schema.Table // as it stands in a part
	from      []int        // the columns of left, in declared
	meta      map[string]string
	done      Partitioned
}

func (p *partitioning) write(ctx context.Context) (err error) {
	if p.declared, err = parquet.TableOf(p.file, p.size); err != nil {
		return fmt.Errorf("%s: %w", p.table, err)
	}
	p.declared.Restricted = true
	names := columnNames(p.declared)
	if p.by != "" {
		at := p.declared.Index(p.by)
		if at < 0 {
			return &UnknownNameError{"column", p.by, names}
		}
		if c := p.declared.Columns[at]; !c.Textual() && c.Kind != schema.Integer && c.Kind != schema.Boolean {
			return fmt.Errorf("column %s holds numbers or waves: a table is divided by text, category, date, integer or boolean", p.by)
		}
		names = slices.DeleteFunc(names, func(name string) bool { return name == p.by })
	}
	if p.left, err = parquet.Select(p.declared, names); err != nil {
		return err
	}
	for _, name := range names {
		p.from = append(p.from, p.declared.Index(name))
	}
	if p.by == "" {
		return p.inParts(ctx)
	}
	values, err := p.values(ctx)
	if err != nil {
		return err
	}
	for some := range slices.Chunk(values, partsAtOnce) {
		if err := p.byValue(ctx, some); err != nil {
			return err
		}
	}
	return nil
}

// values lists what the column holds, sorted.
func (p *partitioning) values(ctx context.Context) ([]string, error) {
	alone, err := parquet.Select(p.declared, []string{p.by})
	if err != nil {
		return nil, err
	}
	found := map[string]bool{}
	err = parquet.ReadGroups(p.file, p.size, alone, func(f *schema.Frame) error {
		for row := range f.N {
			found[partValue(f, 0, row)] = true
		}
		if len(found) > mostParts {
			return fmt.Errorf("column %s has more than %d values: divide the table by another, or by none", p.by, mostParts)
		}
		return ctx.Err()
	})
	return slices.Sorted(maps.Keys(found)), err
}

// byValue writes the parts of some values in one pass.
func (p *partitioning) byValue(ctx context.Context, values []string) error {
	parts := map[string]*openPart{}
	defer func() {
		for _, part := range parts {
			part.pending.Abort()
		}
	}()
	for _, value := range values {
		part, err := p.create(p.by + "=" + pathText(value))
		if err != nil {
			return err
		}
		parts[value] = part
	}
	at := p.declared.Index(p.by)
	err := parquet.ReadGroups(p.file, p.size, p.declared, func(f *schema.Frame) error {
		rows := map[string][]int{}
		for row := range f.N {
			if value := partValue(f, at, row); parts[value] != nil {
				rows[value] = append(rows[value], row)
			}
		}
		for value, of := range rows {
			if err := parts[value].writer.Append(p.rows(f, of)); err != nil {
				return err
			}
			p.done.Rows += int64(len(of))
		}
		return ctx.Err()
	})
	if err != nil {
		return err
	}
	for _, part := range parts {
		if err := p.close(part); err != nil {
			return err
		}
	}
	return nil
}

// inParts writes one part after the other.
func (p *partitioning) inParts(ctx context.Context) error {
	var part *openPart
	number, room := 0, 0
	defer func() {
		if part != nil {
			part.pending.Abort()
		}
	}()
	next := func() (err error) {
		if part != nil {
			err = p.close(part)
			part = nil
		}
		if err == nil {
			number, room = number+1, partRows
			part, err = p.create(fmt.Sprintf("part=%d", number))
		}
		return err
	}
	if err := next(); err != nil { // a table without rows is a part without any
		return err
	}
	err := parquet.ReadGroups(p.file, p.size, p.declared, func(f *schema.Frame) error {
		if room == 0 {
			if err := next(); err != nil {
				return err
			}
		}
		// A part ends between row groups, whose rows are a power of two.
		room = max(room-f.N, 0)
		p.done.Rows += int64(f.N)
		if err := part.writer.Append(f); err != nil {
			return err
		}
		return ctx.Err()
	})
	if err != nil {
		return err
	}
	err = p.close(part)
	part = nil
	return err
}

// rows takes some rows of a frame, without the column that divides it.
func (p *partitioning) rows(f *schema.Frame, rows []int) *schema.Frame {
	out := schema.NewFrame(p.left, len(rows))
	out.AddRows(len(rows))
	for i, from := range p.from {
		to, source := &out.Cols[i], &f.Cols[from]
		for k, row := range rows {
			switch {
			case source.Num != nil:
				to.Num[k] = source.Num[row]
			case source.Text != nil:
				to.Text[k] = source.Text[row]
			default:
				to.Wave[k] = source.Wave[row]
			}
		}
	}
	return out
}

// openPart is a file of the data set being written.
type openPart struct {
	pending *store.Pending
	writer  *parquet.Writer
}

// create starts the file of a folder.
func (p *partitioning) create(folder string) (*openPart, error) {
	pending, err := p.folder.Create(folder + "/" + p.table + ".parquet")
	if err != nil {
		return nil, err
	}
	return &openPart{pending, parquet.NewWriter(pending, p.left, p.meta)}, nil
}

func (p *partitioning) close(part *openPart) error {
	defer part.pending.Abort()
	if err := part.writer.Close(); err != nil {
		return err
	}
	p.done.Files++
	_, err := part.pending.Commit()
	return err
}

// partValue is a cell as text; noValue where it is missing.
func partValue(f *schema.Frame, column, row int) string {
	cells := &f.Cols[column]
	switch c := f.Table.Columns[column]; {
	case c.Textual():
		if cells.Text[row] == "" {
			return noValue
		}
		return cells.Text[row]
	case math.IsNaN(cells.Num[row]):
		return noValue
	case c.Kind == schema.Boolean:
		return strconv.FormatBool(cells.Num[row] != 0)
	}
	return strconv.FormatFloat(cells.Num[row], 'f', -1, 64)
}

// pathText escapes what Hive and Spark escape in the name of a partition: control
// characters and those that a path or a pattern gives a meaning, as % and two
// hexadecimal digits.
func pathText(value string) string {
	var b strings.Builder
	for i := range len(value) {
		if c := value[i]; c < 0x20 || c == 0x7f || strings.IndexByte(`"#%'*/:=?\{[]^`, c) >= 0 {
			fmt.Fprintf(&b, "%%%02X", c)
		} else {
			b.WriteByte(c)
		}
	}
	return b.String()
}
