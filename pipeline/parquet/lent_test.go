package parquet

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"testing"

	"tonocohort/schema"
)

// lent writes a frame in row groups of 100 and lends it back with room for so many
// bytes.
func lent(t *testing.T, f *schema.Frame, memory int64, damage func(b []byte)) *schema.Frame {
	t.Helper()
	b := write(t, f, 37, 100)
	damage(b)
	out, err := Lend(bytes.NewReader(b), int64(len(b)), f.Table, memory)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func sameNumbers(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool { return math.Float64bits(x) == math.Float64bits(y) || x != x && y != y })
}

// What is lent is what Read reads, whatever little memory columns may take, and a
// column that was handed out stays as it is when others take its place.
func TestLentColumnsAreThoseRead(t *testing.T) {
	f := randomFrame(11, 1234, 0.2)
	b := write(t, f, 37, 100)
	want, err := Read(bytes.NewReader(b), int64(len(b)), f.Table)
	if err != nil {
		t.Fatal(err)
	}
	for _, memory := range []int64{0, 20_000, 1 << 30} {
		got := lent(t, f, memory, func([]byte) {})
		if got.N != want.N {
			t.Fatalf("%d rows", got.N)
		}
		handed := map[string][]float64{}
		for range 2 {
			for _, c := range f.Table.Columns {
				switch {
				case c.Numeric():
					x := got.Numbers(c.Name)
					handed[c.Name] = x
					if !sameNumbers(x, want.Numbers(c.Name)) {
						t.Errorf("memory %d: other numbers in %s", memory, c.Name)
					}
				case c.Textual():
					labels := got.Labels(c.Name)
					rows := 0
					got.EachText(c.Name, func(row int, text string) {
						rows++
						// Other columns may be asked for in between.
						if w := want.TextAt(row, c.Name); text != w || labels.At(row) != w || row%100 == 0 && got.TextAt(row, c.Name) != w {
							t.Fatalf("memory %d, %s, row %d: %q", memory, c.Name, row, text)
						}
					})
					if rows != want.N || !slices.Equal(got.Texts(c.Name), want.Texts(c.Name)) {
						t.Errorf("memory %d: %d texts in %s", memory, rows, c.Name)
					}
				default:
					for row, wave := range got.Waves(c.Name) {
						if len(wave) != len(want.Waves(c.Name)[row]) {
							t.Errorf("memory %d, %s, row %d: %d samples", memory, c.Name, row, len(wave))
						}
					}
				}
			}
		}
		for name, x := range handed {
			if !sameNumbers(x, want.Numbers(name)) {
				t.Errorf("memory %d: %s changed after it was handed out", memory, name)
			}
		}
		if err := got.Err(); err != nil {
			t.Error(err)
		}
	}
}

// Numbers that are visited a row group at a time are those that Numbers gives, and a
// column that cannot be read ends the visit with an error.
func TestNumbersVisited(t *testing.T) {
	f := randomFrame(13, 1234, 0.2)
	var names []string
	for _, c := range f.Table.Columns {
		if c.Numeric() {
			names = append(names, c.Name)
		}
	}
	names = names[:2]
	for _, memory := range []int64{0, 1 << 30} {
		got := lent(t, f, memory, func([]byte) {})
		visited := make([][]float64, len(names))
		portions := 0
		got.EachNumbers(func(first int, cells [][]float64) {
			portions++
			for i := range cells {
				if first != len(visited[i]) {
					t.Errorf("memory %d: row %d after %d rows", memory, first, len(visited[i]))
				}
				visited[i] = append(visited[i], cells[i]...)
			}
		}, names...)
		for i, name := range names {
			if !sameNumbers(visited[i], f.Numbers(name)) {
				t.Errorf("memory %d: other numbers in %s", memory, name)
			}
		}
		if (portions > 1) != (memory == 0) || got.Err() != nil {
			t.Errorf("memory %d: %d portions, error %v", memory, portions, got.Err())
		}
	}
	faults := 0
	for at := 50; at < 4000; at += 150 {
		got := lent(t, f, 0, func(b []byte) { b[at] ^= 0xff })
		rows := 0
		got.EachNumbers(func(_ int, cells [][]float64) { rows += len(cells[0]) }, names...)
		if (rows < f.N) != (got.Err() != nil) {
			t.Errorf("byte %d: %d rows of %d, error %v", at, rows, f.N, got.Err())
		}
		if got.Err() != nil {
			faults++
		}
	}
	if faults == 0 {
		t.Error("no damage was found")
	}
}

// Texts are held once each up to 65,535 different ones, and written out beyond.
func TestLabelsOfManyTexts(t *testing.T) {
	for _, n := range []int{70, math.MaxUint16, math.MaxUint16 + 1, 70_000} {
		b := schema.NewLabelsBuilder(0)
		for i := range n {
			b.Add(fmt.Sprint("id ", i))
		}
		b.Add("")
		labels := b.Labels()
		for i := range n {
			if labels.At(i) != fmt.Sprint("id ", i) {
				t.Fatalf("of %d texts number %d is %q", n, i, labels.At(i))
			}
		}
		if labels.At(n) != "" || labels.Len() != n+1 {
			t.Errorf("of %d texts: %d rows, the last %q", n, labels.Len(), labels.At(n))
		}
	}
}

// A column that is damaged is handed out as missing, and the frame says so; the
// others are not touched by it.
func TestLentDamage(t *testing.T) {
	f := randomFrame(12, 500, 0)
	faults := 0
	for at := 50; at < 4000; at += 150 {
		got := lent(t, f, 0, func(b []byte) { b[at] ^= 0xff })
		for _, c := range f.Table.Columns {
			before := got.Err()
			if !c.Numeric() {
				continue
			}
			x := got.Numbers(c.Name)
			switch failed := before == nil && got.Err() != nil; {
			case failed:
				faults++
				if len(x) != f.N || slices.ContainsFunc(x, func(v float64) bool { return !math.IsNaN(v) }) {
					t.Errorf("byte %d: a damaged column has values", at)
				}
			case before == nil && !sameNumbers(x, f.Numbers(c.Name)):
				t.Errorf("byte %d: other numbers in %s, and no error", at, c.Name)
			}
		}
	}
	if faults == 0 {
		t.Error("no damage was found")
	}
}
