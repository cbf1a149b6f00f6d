package pipeline

import (
	"bytes"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// Every field that a subject has moves its key, but for where its rows stand.
func TestSubjectKeyCoversEveryField(t *testing.T) {
	whole := func() *study.Subject {
		return &study.Subject{ID: "S", Visits: []study.Visit{{ID: "v", Cells: []study.Cell{{}}, Cuff: []study.Reading{{}},
			Recordings: []study.Recording{{Setup: &study.Setup{}, Reviews: []study.Review{{}}}}, Departures: []string{""}}}}
	}
	before := subjectKey(whole())
	changed := 0
	s := whole()
	walkFields(t, reflect.ValueOf(s).Elem(), func(name string) {
		changed++
		if same := subjectKey(s) == before; same != strings.HasSuffix(name, ".Line") {
			t.Errorf("%s: the key stays: %v", name, same)
		}
	})
	if changed < 25 {
		t.Errorf("only %d fields", changed)
	}
}

// walkFields changes each exported field below v in turn, calls look, and puts
// it back.
func walkFields(t *testing.T, v reflect.Value, look func(name string)) {
	t.Helper()
	for i := range v.NumField() {
		f, field := v.Type().Field(i), v.Field(i)
		if !f.IsExported() {
			continue
		}
		name := v.Type().Name() + "." + f.Name
		if field.Kind() == reflect.Slice {
			if field = field.Index(0); field.Kind() == reflect.Struct {
				walkFields(t, field, look)
				continue
			}
		}
		if field.Kind() == reflect.Pointer {
			walkFields(t, field.Elem(), look)
			continue
		}
		before := reflect.New(field.Type()).Elem()
		before.Set(field)
		switch field.Kind() {
		case reflect.String:
			field.SetString(field.String() + "x")
		case reflect.Float64:
			field.SetFloat(field.Float() + 1)
		case reflect.Int:
			field.SetInt(field.Int() + 1)
		default:
			t.Fatalf("%s of kind %s", name, field.Kind())
		}
		look(name)
		field.Set(before)
	}
}

// Rows come back from a sealed file with the bits that went in.
func TestRowsKeepTheirBits(t *testing.T) {
	carried := []schema.Column{{Name: "smoker", Kind: schema.Text}}
	c := newChunkRows(carried)
	for range 6 {
		for _, f := range c.frames() {
			row := f.AddRow() / 2 // each text stands twice running
			for i, column := range f.Table.Columns {
				switch {
				case column.Numeric():
					f.Cols[i].Num[f.N-1] = []float64{math.Pi, math.Copysign(0, -1), math.Float64frombits(0x7ff8000000000abc), 5e-324}[(row+i)%4]
				case column.Textual():
					f.Cols[i].Text[f.N-1] = []string{"", "naïve, \"quoted\"\n", strings.Repeat("x", 300)}[(row+i)%3]
				default:
					f.Cols[i].Wave[f.N-1] = [][]float32{nil, {}, {1.5, float32(math.NaN())}}[(row+i)%3]
				}
			}
		}
	}
	for _, from := range []int{0, 3} {
		marks := make([]int, len(c.frames()))
		for i := range marks {
			marks[i] = from
		}
		data := appendRows(nil, c.frames(), marks)
		back := newChunkRows(carried)
		if err := readRows(data, back.frames()); err != nil {
			t.Fatal(err)
		}
		if again := appendRows(nil, back.frames(), make([]int, len(marks))); !bytes.Equal(again, data) {
			t.Error("the rows have changed")
		}
		for i, f := range back.frames() {
			for k, d := range f.Cols {
				if want := c.frames()[i].Cols[k].Text; len(want) > 0 && !slices.Equal(d.Text, want[from:]) {
					t.Errorf("%s, %s: %q, want %q", f.Table.Name, f.Table.Columns[k].Name, d.Text, want[from:])
				}
			}
		}
		for cut := range len(data) {
			if cut%37 == 0 && readRows(data[:cut], newChunkRows(carried).frames()) == nil {
				t.Errorf("%d of %d bytes were taken for rows", cut, len(data))
			}
		}
	}
}
