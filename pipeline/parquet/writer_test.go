package parquet

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"

	pq "github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/apache/arrow/go/v17/parquet/file"
	"tonocohort/schema"
)

func TestWhatIsWrittenReadsBack(t *testing.T) {
	for _, c := range []struct {
		rows, group int
		gaps        float64
	}{
		{0, 10, 0}, {1, 10, 0}, {10, 10, 0.3}, {11, 10, 0.3}, {1, 10, 1}, {25, 10, 1},
		{700, 100, 0.2}, {3000, 4096, 0}, {9000, 131072, 0.1},
	} {
		t.Run(fmt.Sprintf("%d rows, %.1f missing", c.rows, c.gaps), func(t *testing.T) {
			want := randomFrame(uint64(c.rows), c.rows, c.gaps)
			b := write(t, want, 97, c.group)
			sameFrames(t, read(t, b, want.Table), want)
			groups := 0
			all := schema.NewFrame(want.Table, 0)
			err := ReadGroups(bytes.NewReader(b), int64(len(b)), want.Table, func(part *schema.Frame) error {
				all.Append(part)
				groups++
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			sameFrames(t, all, want)
			if n := (c.rows + c.group - 1) / c.group; groups != n {
				t.Errorf("%d row groups, want %d", groups, n)
			}
		})
	}
}

func TestBytesDoNotDependOnPortions(t *testing.T) {
	f := randomFrame(7, 1500, 0.2)
	want := write(t, f, f.N, 400)
	for _, portion := range []int{1, 7, 400, 401} {
		if got := write(t, f, portion, 400); !bytes.Equal(got, want) {
			t.Errorf("portions of %d rows change the file", portion)
		}
	}
}

func TestRowGroupsOfTables(t *testing.T) {
	flat := schema.Table{Name: "flat", Columns: []schema.Column{{Name: "x", Kind: schema.Number}}}
	wide := schema.Table{Name: "wide"}
	for i := range 100 {
		wide.Columns = append(wide.Columns, schema.Column{Name: fmt.Sprintf("x%d", i), Kind: schema.Number})
	}
	waves := schema.Table{Name: "waves", Columns: []schema.Column{{Name: "x", Kind: schema.Wave}}}
	for _, c := range []struct {
		table schema.Table
		rows  int
		want  []int64
	}{{flat, 32769, []int64{32768, 1}}, {wide, 4097, []int64{4096, 1}}, {waves, 2049, []int64{1024, 1024, 1}}} {
		f := schema.NewFrame(c.table, c.rows)
		for range c.rows {
			f.AddRow()
		}
		var b bytes.Buffer
		w := NewWriter(&b, c.table, nil)
		if err := errors.Join(w.Append(f), w.Close()); err != nil {
			t.Fatal(err)
		}
		opened := openWithLibrary(t, b.Bytes())
		var got []int64
		for g := range opened.NumRowGroups() {
			got = append(got, opened.RowGroup(g).NumRows())
		}
		if fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s: row groups of %v rows, want %v", c.table.Name, got, c.want)
		}
	}
}

func openWithLibrary(t *testing.T, b []byte) *file.Reader {
	t.Helper()
	r, err := file.NewParquetReader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The settings come from reports of what other readers refuse or misread: a
// repeated root (apache/arrow-go#722), a distinct count of 0 that nobody
// counted (apache/arrow-go#806).
func TestSettings(t *testing.T) {
	b := write(t, randomFrame(3, 500, 0.2), 500, 400)
	r := openWithLibrary(t, b)
	if got := r.MetaData().Schema.Root().RepetitionType(); got != pq.Repetitions.Required {
		t.Errorf("the root is %v", got)
	}
	if got := r.MetaData().GetCreatedBy(); got != "tonocohort" {
		t.Errorf("created by %q", got)
	}
	for g := range r.NumRowGroups() {
		for i := range r.MetaData().Schema.NumColumns() {
			about, err := r.RowGroup(g).MetaData().ColumnChunk(i)
			if err != nil {
				t.Fatal(err)
			}
			name := about.PathInSchema()[0]
			if about.Compression() != compress.Codecs.Zstd {
				t.Errorf("%s: compressed by %v", name, about.Compression())
			}
			text := name == "note" || name == "artery"
			if about.HasDictionaryPage() != text {
				t.Errorf("%s: dictionary %v, want %v", name, about.HasDictionaryPage(), text)
			}
			s := r.MetaData().RowGroups[g].Columns[i].MetaData.Statistics
			if s == nil || s.NullCount == nil || s.MinValue == nil || s.MaxValue == nil {
				t.Errorf("%s: statistics %v", name, s)
			} else if s.DistinctCount != nil {
				t.Errorf("%s: claims %d distinct values", name, *s.DistinctCount)
			}
		}
	}
	if got := r.MetaData().Schema.Column(8).Path(); got != "radial_mmhg.list.element" {
		t.Errorf("the samples stand at %s", got)
	}
}

func TestNoNaNIsWritten(t *testing.T) {
	f := randomFrame(5, 600, 0.3)
	for row := 0; row < f.N; row += 3 { // past SetNumber, which would clean them
		f.Numbers("central_pp_mmhg")[row] = math.Inf(1 - row%2*2)
	}
	f.Waves("radial_mmhg")[0] = []float32{1, float32(math.Inf(-1)), float32(math.NaN())}
	r := openWithLibrary(t, write(t, f, 600, 200))
	seen := 0
	for g := range r.NumRowGroups() {
		for i := range r.MetaData().Schema.NumColumns() {
			c, err := r.RowGroup(g).Column(i)
			if err != nil {
				t.Fatal(err)
			}
			def, rep := make([]int16, 1<<20), make([]int16, 1<<20)
			switch c := c.(type) {
			case *file.Float64ColumnChunkReader:
				values := make([]float64, 1<<20)
				_, n, _ := c.ReadBatch(int64(len(values)), values, def, rep)
				for _, v := range values[:n] {
					if seen++; math.IsNaN(v) || math.IsInf(v, 0) {
						t.Fatalf("column %d holds %v", i, v)
					}
				}
			case *file.Float32ColumnChunkReader:
				values := make([]float32, 1<<20)
				_, n, _ := c.ReadBatch(int64(len(values)), values, def, rep)
				for _, v := range values[:n] {
					if seen++; v != v || math.IsInf(float64(v), 0) {
						t.Fatalf("column %d holds %v", i, v)
					}
				}
			}
		}
	}
	if seen < 1000 {
		t.Fatalf("only %d values were looked at", seen)
	}
}

func TestCellsThatCannotBeWritten(t *testing.T) {
	for name, spoil := range map[string]func(*schema.Frame){
		"a key is missing":                     func(f *schema.Frame) { f.SetText(3, "subject_id", "") },
		"1.5 is not an integer":                func(f *schema.Frame) { f.SetNumber(3, "beats", 1.5) },
		"is not an integer within ±2^53":       func(f *schema.Frame) { f.SetNumber(3, "beats", 1e17) },
		"2 is neither 0 nor 1":                 func(f *schema.Frame) { f.SetNumber(3, "treated", 2) },
		`"3.4.2020" is not a date`:             func(f *schema.Frame) { f.SetText(3, "visit_date", "3.4.2020") },
		"has 4 cells in a frame of 5 rows":     func(f *schema.Frame) { f.Cols[2].Num = f.Cols[2].Num[:4] },
		"column 3 of table every_kind is cent": func(f *schema.Frame) { f.Table.Columns[2].Name = "other" },
	} {
		f := randomFrame(1, 5, 0)
		spoil(f)
		w := NewWriter(&bytes.Buffer{}, everyKind(), nil)
		err := w.Append(f)
		if err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
		if again := w.Close(); again == nil || again.Error() != err.Error() {
			t.Errorf("%s: Close says %v", name, again)
		}
	}
}

func TestTextThatIsNotUTF8(t *testing.T) {
	f := randomFrame(1, 1, 0)
	f.SetText(0, "note", "a\xffb")
	if got := read(t, write(t, f, 1, 10), f.Table).TextAt(0, "note"); got != "a\uFFFDb" {
		t.Errorf("%q", got)
	}
}

func TestTablesThatCannotBeWritten(t *testing.T) {
	for _, c := range []schema.Column{{Name: "x", Kind: "colour"}, {Name: "x", Kind: schema.Wave, Key: true}} {
		w := NewWriter(&bytes.Buffer{}, schema.Table{Name: "t", Columns: []schema.Column{c}}, nil)
		if err := w.Close(); err == nil {
			t.Errorf("%v was accepted", c)
		}
	}
	w := NewWriter(&bytes.Buffer{}, everyKind(), map[string]string{"ARROW:schema": "x"})
	if err := w.Close(); err == nil {
		t.Error("a key of ours could be replaced")
	}
}

// full is a disk with room for some bytes.
type full struct{ room int }

func (f *full) Write(p []byte) (int, error) {
	if len(p) > f.room {
		n := f.room
		f.room = 0
		return n, errors.New("no space left")
	}
	f.room -= len(p)
	return len(p), nil
}

func TestNoErrorOfTheDiskIsLost(t *testing.T) {
	f := randomFrame(9, 3000, 0.1)
	size := len(write(t, f, f.N, 1000))
	for _, room := range []int{0, 3, 1000, size / 2, size - 5000, size - 9, size - 1} {
		w := newWriter(&full{room}, f.Table, map[string]string{"study": "lantern-bay"}, 1000)
		if err := errors.Join(w.Append(f), w.Close()); err == nil {
			t.Errorf("room for %d of %d bytes: no error", room, size)
		}
	}
	w := newWriter(&full{size}, f.Table, map[string]string{"study": "lantern-bay"}, 1000)
	if err := errors.Join(w.Append(f), w.Close()); err != nil {
		t.Error(err)
	}
}

// TestMemoryIsBoundedByTheRowGroup writes 150 row groups: what stays in memory
// is the footer, about 0.8 kB for each column of each row group.
func TestMemoryIsBoundedByTheRowGroup(t *testing.T) {
	f := randomFrame(1, 500, 0.1)
	w := newWriter(io.Discard, f.Table, nil, 500)
	live := func() uint64 {
		var m runtime.MemStats
		for range 3 { // what a pool holds outlives one or two
			runtime.GC()
		}
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	var early uint64
	for i := range 150 {
		if err := w.Append(f); err != nil {
			t.Fatal(err)
		}
		if i == 20 {
			early = live()
		}
	}
	if late := live(); late > early && late-early > 130*9*2000 {
		t.Errorf("%d bytes in memory after 20 row groups, %d after 150", early, late)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}
