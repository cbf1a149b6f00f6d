package parquet

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// The files of testdata/parquet were written by DuckDB (C++) and arrow-rs
// (Rust) with .ci/readers/foreign.mjs; the formulas for row i are repeated here.

func foreign(t *testing.T, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(testdata.Path(t, "parquet/"+name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// foreignKinds are the kinds that TableOf derives, in the order of the file.
var foreignKinds = []string{
	"i integer", "tiny integer", "big integer", "wide integer", "single number", "double number", "price number",
	"long number", "yes boolean", "text text", "own text", "day date", "moment text", "utc text", "clock text",
	"colour text", "wave wave", "wave_double wave",
}

func foreignRow(i int) []string {
	clock := time.Date(2020, 2, 28, 23, 59, 58, 5e8, time.UTC).Add(time.Duration(i) * time.Second)
	x := float64(i)
	var wave, double []float32
	for k := range i % 7 {
		v := float32(x + float64(k)/4)
		if k == 3 {
			v = float32(math.NaN())
		}
		wave = append(wave, v)
	}
	for k := range i % 3 {
		double = append(double, float32(x+float64(k)/4))
	}
	row := []string{
		fmt.Sprint(i % 100), fmt.Sprint(i*1000000007 - 5), fmt.Sprint(i + 4000000000),
		fmt.Sprint(x / 8), fmt.Sprint(x / 7), fmt.Sprint(x*0.25 - 3), fmt.Sprint(x*3.125 - 9),
		fmt.Sprint(map[bool]int{true: 1}[i%3 == 0]), fmt.Sprint("S", i%50), fmt.Sprint("id-", i),
		time.Date(1999, 12, 30+i%400, 0, 0, 0, 0, time.UTC).Format("2006-01-02"),
		clock.Format("2006-01-02T15:04:05.999"), clock.Format("2006-01-02T15:04:05.999Z"),
		time.Date(0, 1, 1, 10, 0, i%3600, 0, time.UTC).Format("15:04:05"),
		[]string{"red", "blue"}[i%2], fmt.Sprint(wave), fmt.Sprint(double),
	}
	if i%5 == 4 {
		for k, kind := range foreignKinds[1:] {
			row[k] = map[string]string{"text": "", "date": "", "wave": "nil"}[strings.Fields(kind)[1]]
			if row[k] == "" && !strings.HasSuffix(kind, "text") && !strings.HasSuffix(kind, "date") {
				row[k] = "NaN"
			}
		}
	}
	return append([]string{fmt.Sprint(i)}, row...)
}

func shown(f *schema.Frame, column, row int) string {
	switch c, d := f.Table.Columns[column], f.Cols[column]; {
	case c.Kind == schema.Integer && finite(d.Num[row]):
		return fmt.Sprint(int64(d.Num[row]))
	case c.Numeric():
		return fmt.Sprint(d.Num[row])
	case c.Textual():
		return d.Text[row]
	case d.Wave[row] == nil:
		return "nil"
	default:
		return fmt.Sprint(d.Wave[row])
	}
}

func TestFilesOfOtherPrograms(t *testing.T) {
	for name, n := range map[string]int{
		"duckdb_snappy": 2100, "duckdb_v2_zstd": 2100, "duckdb_gzip": 300, "arrow_rs_v1": 100, "arrow_rs_v2_zstd": 100,
	} {
		t.Run(name, func(t *testing.T) {
			b := foreign(t, name+".parquet")
			f, err := ReadAny(bytes.NewReader(b), int64(len(b)))
			if err != nil {
				t.Fatal(err)
			}
			if f.N != n {
				t.Fatalf("%d rows, want %d", f.N, n)
			}
			for i, c := range f.Table.Columns {
				kind := fmt.Sprintf("%s %s", c.Name, c.Kind)
				if kind != foreignKinds[i] {
					t.Errorf("column %s, want %s", kind, foreignKinds[i])
				}
			}
			for i := range n {
				for k, want := range foreignRow(i) {
					if got := shown(f, k, i); got != want {
						t.Fatalf("row %d, %s: %q, want %q", i, foreignKinds[k], got, want)
					}
				}
			}
		})
	}
}

func TestFilesThatCannotBeRead(t *testing.T) {
	b := foreign(t, "duckdb_nested.parquet")
	_, err := ReadAny(bytes.NewReader(b), int64(len(b)))
	if err == nil || !strings.Contains(err.Error(), `column "pair" cannot be read: it is nested`) {
		t.Errorf("nested: %v", err)
	}
	if f := read(t, b, schema.Table{Columns: []schema.Column{{Name: "a", Kind: schema.Number}}}); f.Number(0, "a") != 1 {
		t.Errorf("the column beside it: %v", f.Cols)
	}
	b = foreign(t, "arrow_rs_v2_delta.parquet")
	_, err = ReadAny(bytes.NewReader(b), int64(len(b)))
	if err == nil || !strings.Contains(err.Error(), "encoding DELTA_BYTE_ARRAY is not supported") {
		t.Errorf("delta byte arrays: %v", err)
	}
}

func TestColumnsThatDoNotFit(t *testing.T) {
	b := foreign(t, "duckdb_gzip.parquet")
	for name, c := range map[string]schema.Column{
		`there is no column "absent"`:                 {Name: "absent", Kind: schema.Number},
		`column "text" holds text, not number`:        {Name: "text", Kind: schema.Number},
		`column "double" holds number, not boolean`:   {Name: "double", Kind: schema.Boolean},
		`column "double": row 2: 0.14285714285714285`: {Name: "double", Kind: schema.Integer},
		`column "text" holds text, not date`:          {Name: "text", Kind: schema.Date},
	} {
		_, err := Read(bytes.NewReader(b), int64(len(b)), schema.Table{Columns: []schema.Column{c}})
		if err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestReadColumns(t *testing.T) {
	want := randomFrame(4, 300, 0.2)
	b := write(t, want, 300, 100)
	got, err := ReadColumns(bytes.NewReader(b), int64(len(b)), want.Table, []string{"artery", "central_pp_mmhg"})
	if err != nil {
		t.Fatal(err)
	}
	if names := got.Table.Names(); fmt.Sprint(names) != "[artery central_pp_mmhg]" {
		t.Fatalf("columns %v", names)
	}
	for row := range want.N {
		if g, w := cellString(got, 1, row), cellString(want, 2, row); g != w || got.TextAt(row, "artery") != want.TextAt(row, "artery") {
			t.Fatalf("row %d: %s, want %s", row, g, w)
		}
	}
	if _, err := ReadColumns(bytes.NewReader(b), int64(len(b)), want.Table, []string{"heigth"}); err == nil {
		t.Error("an unknown column was accepted")
	}
}

func TestOurFilesKeepTheirDeclarations(t *testing.T) {
	want := randomFrame(4, 10, 0.2)
	b := write(t, want, 10, 100)
	got, err := TableOf(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	if fmt.Sprintf("%+v", plain(got)) != fmt.Sprintf("%+v", plain(want.Table)) {
		t.Errorf("got  %+v\nwant %+v", plain(got), plain(want.Table))
	}
	f, err := ReadAny(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	sameFrames(t, f, want)
}

// plain follows the pointers of a table, for comparison.
func plain(t schema.Table) []string {
	out := []string{t.Name, t.RowPer, t.Meaning, fmt.Sprint(t.Restricted)}
	for _, c := range t.Columns {
		low := "none"
		if c.Low != nil {
			low = fmt.Sprint(*c.Low)
		}
		c.Low, c.High = nil, nil
		out = append(out, fmt.Sprintf("%+v low %s", c, low))
	}
	return out
}
