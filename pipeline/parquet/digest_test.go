package parquet

import (
	"crypto/sha256"
	"encoding/hex"
	"math"
	"strings"
	"testing"

	"tonocohort/schema"
)

func digest(t *testing.T, f *schema.Frame, portion int) string {
	t.Helper()
	d := NewDigester(f.Table)
	for from := 0; from < f.N; from += portion {
		if err := d.Add(rows(f, from, min(f.N, from+portion))); err != nil {
			t.Fatal(err)
		}
	}
	if d.Rows() != f.N {
		t.Errorf("%d rows, want %d", d.Rows(), f.N)
	}
	return d.Sum()
}

func TestDigestDependsOnTheRowsAlone(t *testing.T) {
	f := randomFrame(6, 900, 0.2)
	f.Numbers("central_pp_mmhg")[3] = math.Inf(1) // missing, as it is written
	f.SetText(4, "note", "a\xffb")
	want := digest(t, f, f.N)
	for _, portion := range []int{1, 7, 500} {
		if got := digest(t, f, portion); got != want {
			t.Errorf("portions of %d rows change the digest", portion)
		}
	}
	for _, group := range []int{100, 1000} {
		if got := digest(t, read(t, write(t, f, 900, group), f.Table), 900); got != want {
			t.Errorf("row groups of %d change the digest", group)
		}
	}
}

func TestDigestSeesEveryChange(t *testing.T) {
	seen := map[string]string{digest(t, randomFrame(6, 50, 0), 50): "nothing"}
	for name, change := range map[string]func(*schema.Frame){
		"number": func(f *schema.Frame) {
			f.Numbers("central_pp_mmhg")[7] = math.Nextafter(f.Numbers("central_pp_mmhg")[7], 99)
		},
		"missing":       func(f *schema.Frame) { f.SetNumber(7, "central_pp_mmhg", math.NaN()) },
		"integer":       func(f *schema.Frame) { f.Numbers("beats")[7] = 8 },
		"boolean":       func(f *schema.Frame) { f.Numbers("treated")[7] = 1 - f.Numbers("treated")[7] },
		"text":          func(f *schema.Frame) { f.SetText(7, "note", "x") },
		"text moved":    func(f *schema.Frame) { f.SetText(7, "note", "ab"); f.SetText(7, "artery", "c") },
		"text moved on": func(f *schema.Frame) { f.SetText(7, "note", "a"); f.SetText(7, "artery", "bc") },
		"date":          func(f *schema.Frame) { f.SetText(7, "visit_date", "2020-02-29") },
		"sample":        func(f *schema.Frame) { f.SetWave(7, "radial_mmhg", []float32{1, 2}) },
		"samples":       func(f *schema.Frame) { f.SetWave(7, "radial_mmhg", []float32{1, 2, 3}) },
		"gap":           func(f *schema.Frame) { f.SetWave(7, "radial_mmhg", []float32{1, float32(math.NaN())}) },
		"empty wave":    func(f *schema.Frame) { f.SetWave(7, "radial_mmhg", []float32{}) },
		"no wave":       func(f *schema.Frame) { f.SetWave(7, "radial_mmhg", nil) },
		"row":           func(f *schema.Frame) { f.SetText(f.AddRow(), "subject_id", "S") },
		"table":         func(f *schema.Frame) { f.Table.Name = "other" },
		"unit":          func(f *schema.Frame) { f.Table.Columns[2].Unit = "kPa" },
		"column":        func(f *schema.Frame) { f.Table.Columns[2].Name = "other" },
	} {
		f := randomFrame(6, 50, 0)
		change(f)
		sum := digest(t, f, f.N)
		if other, twice := seen[sum]; twice {
			t.Errorf("%s and %s have one digest", name, other)
		}
		seen[sum] = name
	}
}

// TestDigestEncoding spells the documented encoding out for one row.
func TestDigestEncoding(t *testing.T) {
	table := schema.Table{Name: "t", Columns: []schema.Column{
		{Name: "n", Kind: schema.Number, Unit: "mmHg"}, {Name: "i", Kind: schema.Integer}, {Name: "b", Kind: schema.Boolean},
		{Name: "s", Kind: schema.Text}, {Name: "d", Kind: schema.Date}, {Name: "w", Kind: schema.Wave}, {Name: "m", Kind: schema.Number},
	}}
	f := schema.NewFrame(table, 1)
	f.AddRow()
	f.SetNumber(0, "n", 1.5)
	f.SetNumber(0, "i", -2)
	f.SetBool(0, "b", true)
	f.SetText(0, "s", "é")
	f.SetText(0, "d", "2020-02-29")
	f.SetWave(0, "w", []float32{1, float32(math.NaN())})
	head := "\x11tonocohort rows 1\x01t\x07" +
		"\x01n\x06number\x04mmHg" + "\x01i\x07integer\x00" + "\x01b\x07boolean\x00" +
		"\x01s\x04text\x00" + "\x01d\x04date\x00" + "\x01w\x04wave\x00" + "\x01m\x06number\x00"
	row := "\x01\x00\x00\x00\x00\x00\x00\xf8\x3f" + "\x02\xfe\xff\xff\xff\xff\xff\xff\xff" + "\x03\x01" +
		"\x04\x02\xc3\xa9" + "\x05\x0a2020-02-29" + "\x06\x02\x00\x00\x80\x3f\x00\x00\xc0\x7f" + "\x00"
	sum := sha256.Sum256([]byte(head + row + "\x01"))
	if got, want := digest(t, f, 1), hex.EncodeToString(sum[:]); got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

func TestDigestRefusesWhatCannotBeWritten(t *testing.T) {
	for name, spoil := range map[string]func(*schema.Frame){
		"is not an integer":        func(f *schema.Frame) { f.SetNumber(3, "beats", 1.5) },
		"is neither 0 nor 1":       func(f *schema.Frame) { f.SetNumber(3, "treated", 2) },
		"is not a date":            func(f *schema.Frame) { f.SetText(3, "visit_date", "soon") },
		"in a frame of 5 rows":     func(f *schema.Frame) { f.Cols[2].Num = nil },
		"is visit (integer), not ": func(f *schema.Frame) { f.Table.Columns[1].Name = "other" },
	} {
		f := randomFrame(1, 5, 0)
		spoil(f)
		if err := NewDigester(everyKind()).Add(f); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
