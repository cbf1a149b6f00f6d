package parquet

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"tonocohort/schema"
)

// everyKind declares one column of each kind, keys first.
func everyKind() schema.Table {
	low := 0.0
	return schema.Table{Name: "every_kind", RowPer: "row", Meaning: "one column of each kind", Restricted: true, Columns: []schema.Column{
		{Name: "subject_id", Kind: schema.Text, Key: true, Required: true, Meaning: "the person"},
		{Name: "visit", Kind: schema.Integer, Key: true, Required: true, Meaning: "number of the visit"},
		{Name: "central_pp_mmhg", Kind: schema.Number, Unit: "mmHg", Low: &low, Meaning: "central SBP − central DBP", Source: "declared here"},
		{Name: "beats", Kind: schema.Integer, Meaning: "beats found"},
		{Name: "treated", Kind: schema.Boolean, Meaning: "takes tablets for blood pressure"},
		{Name: "note", Kind: schema.Text, Meaning: "for a person to read"},
		{Name: "artery", Kind: schema.Category, Levels: []string{"radial", "brachial"}, Meaning: "where the sensor lay"},
		{Name: "visit_date", Kind: schema.Date, Meaning: "day of the visit"},
		{Name: "radial_mmhg", Kind: schema.Wave, Unit: "mmHg", Meaning: "average beat"},
	}}
}

// randomFrame fills n rows; a cell is missing with probability gaps.
func randomFrame(seed uint64, n int, gaps float64) *schema.Frame {
	r := rand.New(rand.NewPCG(seed, 1))
	f := schema.NewFrame(everyKind(), n)
	missing := func() bool { return r.Float64() < gaps }
	odd := []float64{0, math.Copysign(0, -1), math.MaxFloat64, math.SmallestNonzeroFloat64, -1e-300, 0.1}
	notes := []string{"quotes \" and, commas", "two\nlines", "ünïcode 脉搏", " blank ends ", "-1", "=1+1"}
	for i := range n {
		row := f.AddRow()
		f.SetText(row, "subject_id", fmt.Sprintf("S%07d", i))
		f.SetNumber(row, "visit", float64(r.IntN(4)))
		if !missing() {
			v := 40 + 20*r.NormFloat64()
			if r.IntN(8) == 0 {
				v = odd[r.IntN(len(odd))]
			}
			f.SetNumber(row, "central_pp_mmhg", v)
		}
		if !missing() {
			f.SetNumber(row, "beats", float64(r.Int64N(1<<54)-1<<53))
		}
		if !missing() {
			f.SetBool(row, "treated", r.IntN(2) == 0)
		}
		if !missing() {
			f.SetText(row, "note", notes[r.IntN(len(notes))])
		}
		if !missing() {
			f.SetText(row, "artery", []string{"radial", "brachial"}[r.IntN(2)])
		}
		if !missing() {
			f.SetText(row, "visit_date", fmt.Sprintf("%04d-%02d-%02d", r.IntN(2200), 1+r.IntN(12), 1+r.IntN(28)))
		}
		if !missing() {
			f.SetWave(row, "radial_mmhg", randomWave(r, gaps))
		}
	}
	return f
}

func randomWave(r *rand.Rand, gaps float64) []float32 {
	lengths := []int{0, 1, 2, 12, 40, 40, 40, 40, 40, 1500}
	wave := make([]float32, lengths[r.IntN(len(lengths))])
	for i := range wave {
		if wave[i] = 80 + 40*r.Float32(); r.Float64() < gaps/20 {
			wave[i] = float32(math.NaN())
		}
	}
	return wave
}

// rows returns a part of f.
func rows(f *schema.Frame, from, to int) *schema.Frame {
	part := schema.NewFrame(f.Table, 0)
	part.N = to - from
	for i, c := range f.Table.Columns {
		switch d := f.Cols[i]; {
		case c.Numeric():
			part.Cols[i].Num = d.Num[from:to]
		case c.Textual():
			part.Cols[i].Text = d.Text[from:to]
		default:
			part.Cols[i].Wave = d.Wave[from:to]
		}
	}
	return part
}

// write writes f by portions of the given number of rows, with row groups of
// group rows.
func write(t testing.TB, f *schema.Frame, portion, group int) []byte {
	t.Helper()
	var b bytes.Buffer
	w := newWriter(&b, f.Table, map[string]string{"study": "lantern-bay"}, group)
	for from := 0; from < f.N; from += portion {
		if err := w.Append(rows(f, from, min(f.N, from+portion))); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func read(t testing.TB, b []byte, table schema.Table) *schema.Frame {
	t.Helper()
	f, err := Read(bytes.NewReader(b), int64(len(b)), table)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// sameFrames compares every cell by its bits; NaN equals NaN, and a nil wave
// is not an empty one.
func sameFrames(t testing.TB, got, want *schema.Frame) {
	t.Helper()
	if got.N != want.N {
		t.Fatalf("%d rows, want %d", got.N, want.N)
	}
	for i, c := range want.Table.Columns {
		for row := range want.N {
			if g, w := cellString(got, i, row), cellString(want, i, row); g != w {
				t.Fatalf("row %d, column %s: %s, want %s", row, c.Name, g, w)
			}
		}
	}
}

func cellString(f *schema.Frame, i, row int) string {
	switch c, d := f.Table.Columns[i], f.Cols[i]; {
	case c.Numeric():
		if math.IsNaN(d.Num[row]) {
			return "NaN"
		}
		return fmt.Sprintf("%x", math.Float64bits(d.Num[row]))
	case c.Textual():
		return fmt.Sprintf("%q", d.Text[row])
	case d.Wave[row] == nil:
		return "nil"
	default:
		var b []byte
		for _, v := range d.Wave[row] {
			b = strconv.AppendUint(append(b, ' '), uint64(math.Float32bits(v)), 16)
		}
		return string(b)
	}
}
