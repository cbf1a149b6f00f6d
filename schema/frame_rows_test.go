package schema

import (
	"math"
	"testing"
)

func TestRowsComeEmptyAndNumbersStandBesideOneAnother(t *testing.T) {
	columns := []Column{{Name: "a", Kind: Number}, {Name: "b", Kind: Number}}
	f := NewFrame(Table{Name: "t", Columns: append([]Column{{Name: "id", Kind: Text}}, columns...)}, 1)
	for range 2 {
		first := f.AddRows(3)
		if f.N != first+3 || len(f.Texts("id")) != f.N || len(f.Numbers("a")) != f.N {
			t.Fatalf("%d rows with %d texts and %d numbers, the first of the new is %d", f.N, len(f.Texts("id")), len(f.Numbers("a")), first)
		}
		for row := first; row < f.N; row++ {
			if !f.Missing(row, "id") || !f.Missing(row, "a") {
				t.Errorf("row %d is not empty", row)
			}
			f.SetText(row, "id", "x")
			f.SetNumbers(row, columns, []float64{float64(row), math.Inf(1)})
			if f.Number(row, "a") != float64(row) || !f.Missing(row, "b") {
				t.Errorf("row %d has %v and %v, want its number and nothing, since no infinity is written", row, f.Number(row, "a"), f.Number(row, "b"))
			}
		}
		if first > 0 {
			f.Clear() // memory that has been used comes empty too
			first = f.AddRows(1)
			if !f.Missing(first, "id") || !f.Missing(first, "a") {
				t.Error("a row of a cleared frame is not empty")
			}
		}
	}
	defer func() {
		if recover() == nil {
			t.Error("numbers went into columns that are not theirs")
		}
	}()
	f.SetNumbers(0, []Column{{Name: "b"}, {Name: "a"}}, []float64{1, 2})
}

func TestRowsAreAppendedByColumnName(t *testing.T) {
	from := NewFrame(Table{Name: "from", Columns: []Column{{Name: "n", Kind: Number}, {Name: "id", Kind: Text}, {Name: "w", Kind: Wave}, {Name: "other", Kind: Text}}}, 0)
	for row, id := range []string{"a", "b", "c", ""} {
		from.AddRow()
		from.SetNumber(row, "n", float64(row))
		from.SetText(row, "id", id)
		from.SetWave(row, "w", []float32{float32(row)})
		from.SetText(row, "other", "x")
	}
	f := NewFrame(Table{Name: "to", Columns: []Column{{Name: "w", Kind: Wave}, {Name: "id", Kind: Text}, {Name: "other", Kind: Number}, {Name: "n", Kind: Number}, {Name: "own", Kind: Text}}}, 0)
	f.AppendRows(from, 0, 1)
	f.AppendRows(from, 2, 4)
	for row, was := range []int{0, 2, 3} {
		if f.Number(row, "n") != float64(was) || f.TextAt(row, "id") != from.TextAt(was, "id") || f.Waves("w")[row][0] != float32(was) || !f.Missing(row, "other") || !f.Missing(row, "own") {
			t.Errorf("row %d is not row %d: %v, %q, %v", row, was, f.Number(row, "n"), f.TextAt(row, "id"), f.Waves("w")[row])
		}
	}
	if f.N != 3 {
		t.Errorf("%d rows", f.N)
	}
}
