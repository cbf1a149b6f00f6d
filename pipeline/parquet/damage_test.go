package parquet

import (
	"bytes"
	"encoding/binary"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"tonocohort/schema"
)

// damage is a way to spoil a file.
type damage struct {
	name  string
	spoil func(*rand.Rand, []byte) []byte
}

func damages() []damage {
	footer := func(b []byte) int {
		return max(4, len(b)-8-int(min(uint32(len(b)), binary.LittleEndian.Uint32(b[len(b)-8:]))))
	}
	change := func(r *rand.Rand, b []byte, from, to int) []byte {
		b[from+r.IntN(to-from)] ^= byte(1 + r.IntN(255))
		return b
	}
	return []damage{
		{"a byte of the footer", func(r *rand.Rand, b []byte) []byte { return change(r, b, footer(b), len(b)) }},
		{"a byte of the pages", func(r *rand.Rand, b []byte) []byte { return change(r, b, 4, footer(b)) }},
		{"bytes near the start of a page", func(r *rand.Rand, b []byte) []byte {
			return change(r, change(r, b, 4, 40), 4, 40)
		}},
		{"many bytes", func(r *rand.Rand, b []byte) []byte {
			for range 1 + r.IntN(30) {
				b = change(r, b, 4, len(b))
			}
			return b
		}},
		{"a range of zeros", func(r *rand.Rand, b []byte) []byte {
			at := r.IntN(len(b))
			clear(b[at:min(len(b), at+r.IntN(200))])
			return b
		}},
		{"bytes left out", func(r *rand.Rand, b []byte) []byte {
			at := r.IntN(len(b))
			return append(b[:at], b[min(len(b), at+1+r.IntN(50)):]...)
		}},
		{"bytes put in", func(r *rand.Rand, b []byte) []byte {
			at := 4 + r.IntN(len(b)-12)
			return append(b[:at:at], append([]byte{byte(r.Uint32()), 255, 255, 255, 127}, b[at:]...)...)
		}},
		{"the end cut off", func(r *rand.Rand, b []byte) []byte { return b[:r.IntN(len(b))] }},
	}
}

// TestDamagedFiles spoils files of ours and of others in thousands of ways.
// Reading must return, and return either an error or whole columns.
func TestDamagedFiles(t *testing.T) {
	files := map[string][]byte{"ours": write(t, randomFrame(2, 60, 0.3), 60, 25)}
	for _, name := range []string{"arrow_rs_v1", "arrow_rs_v2_zstd", "duckdb_v2_zstd", "duckdb_gzip"} {
		files[name] = foreign(t, name+".parquet")
	}
	tried, refused := 0, 0
	for round := range uint64(50) {
		for name, whole := range files {
			for _, d := range damages() {
				b := d.spoil(rand.New(rand.NewPCG(round, 9)), bytes.Clone(whole))
				f, err := ReadAny(bytes.NewReader(b), int64(len(b)))
				tried++
				if err != nil {
					refused++
					continue
				}
				if err := checkCells(f); err != nil {
					t.Fatalf("%s, %s, round %d: %v", name, d.name, round, err)
				}
			}
		}
	}
	t.Logf("%d damaged files, %d refused", tried, refused)
	if refused < tried/2 {
		t.Errorf("%d damaged files, %d refused", tried, refused)
	}
}

// TestDamagedPagesAreSeen: zstd carries a checksum of its content, so that a
// changed byte in a page of ours is never read as a value.
func TestDamagedPagesAreSeen(t *testing.T) {
	whole := write(t, randomFrame(2, 300, 0.3), 300, 300)
	want := read(t, whole, everyKind())
	r := rand.New(rand.NewPCG(1, 1))
	footer := len(whole) - 8 - int(binary.LittleEndian.Uint32(whole[len(whole)-8:]))
	refused := 0
	for range 400 {
		b := bytes.Clone(whole)
		b[4+r.IntN(footer-4)] ^= byte(1 + r.IntN(255))
		f, err := Read(bytes.NewReader(b), int64(len(b)), everyKind())
		if err != nil {
			refused++
			continue
		}
		sameFrames(t, f, want) // the byte stood where nothing is read
	}
	if refused < 300 {
		t.Errorf("%d of 400 changed bytes were seen", refused)
	}
}

// TestNullsUnfoldWithinTheBudget: a column of nulls takes a few bytes for any
// number of rows, so that the claim alone must be judged.
func TestNullsUnfoldWithinTheBudget(t *testing.T) {
	b := write(t, randomFrame(1, 20, 1), 20, 20)
	s, err := open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	s.budget.left = budgetBase
	columns, err := s.columns(everyKind())
	if err != nil {
		t.Fatal(err)
	}
	s.meta.RowGroups[0].NumRows = 1 << 40
	err = s.readGroup(0, columns, schema.NewFrame(everyKind(), 0))
	if err == nil || !strings.Contains(err.Error(), "rows") {
		t.Error(err)
	}
	s.meta.RowGroups[0].NumRows = 1 << 29
	err = s.readGroup(0, columns, schema.NewFrame(everyKind(), 0))
	if err == nil || !strings.Contains(err.Error(), "more data than a file of its size") {
		t.Error(err)
	}
}

func TestNoParquetAtAll(t *testing.T) {
	for _, b := range [][]byte{nil, []byte("PAR1"), []byte("PAR1PAR1PAR1"), []byte("a,b\n1,2\n3,4\n5,6\n"), append(bytes.Repeat([]byte{0}, 20), "PARE"...)} {
		if f, err := ReadAny(bytes.NewReader(b), int64(len(b))); err == nil {
			t.Errorf("%q was read: %d rows", b, f.N)
		}
	}
	if _, err := Read(bytes.NewReader(nil), 1000, everyKind()); err == nil || !strings.Contains(err.Error(), "EOF") {
		t.Errorf("a file shorter than its size: %v", err)
	}
}

func FuzzReadAny(f *testing.F) {
	for _, name := range []string{"arrow_rs_v1", "arrow_rs_v2_zstd", "duckdb_gzip", "duckdb_nested"} {
		b, err := os.ReadFile("../../testdata/parquet/" + name + ".parquet")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add(write(f, randomFrame(2, 20, 0.3), 20, 20))
	f.Fuzz(func(t *testing.T, b []byte) {
		frame, err := ReadAny(bytes.NewReader(b), int64(len(b)))
		if err == nil {
			err = checkCells(frame)
			if err != nil {
				t.Error(err)
			}
		}
		columns, err := Columns(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			return
		}
		for _, c := range columns {
			const most = 1 << 16
			s, err := ReadSeries(bytes.NewReader(b), int64(len(b)), c.Name, most)
			if err == nil && (len(s.Values) > most || len(s.Ends) > 0 && s.Ends[len(s.Ends)-1] != len(s.Values)) {
				t.Errorf("%q: %d values, rows end at %v", c.Name, len(s.Values), s.Ends)
			}
		}
	})
}
