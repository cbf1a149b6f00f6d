package parquet

import (
	"bytes"
	"errors"
	"math"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// Columns of other programs' files as series: as many values as the table has
// them, every digit kept (k/4 and i/7 are not all float32), lists by their ends.
func TestSeriesOfOtherPrograms(t *testing.T) {
	for _, name := range []string{"duckdb_snappy", "duckdb_v2_zstd", "duckdb_gzip", "arrow_rs_v1", "arrow_rs_v2_zstd"} {
		b := foreign(t, name+".parquet")
		rows, err := ReadAny(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		for _, column := range []string{"wave", "wave_double"} {
			s, err := ReadSeries(bytes.NewReader(b), int64(len(b)), column, 1e6)
			if err != nil || len(s.Ends) != rows.N {
				t.Fatalf("%s, %s: %v, %d ends", name, column, err, len(s.Ends))
			}
			from := 0
			for row, want := range rows.Waves(column) {
				got := s.Values[from:s.Ends[row]]
				from = s.Ends[row]
				if len(got) != len(want) {
					t.Fatalf("%s, %s, row %d: %d values, want %d", name, column, row, len(got), len(want))
				}
				for k := range got {
					if float32(got[k]) != want[k] && !(math.IsNaN(got[k]) && math.IsNaN(float64(want[k]))) {
						t.Fatalf("%s, %s, row %d: %v, want %v", name, column, row, got, want)
					}
				}
			}
		}
		s, err := ReadSeries(bytes.NewReader(b), int64(len(b)), "double", 1e6)
		if err != nil || s.Ends != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for row, want := range rows.Numbers("double") {
			if s.Values[row] != want && !(math.IsNaN(want) && math.IsNaN(s.Values[row])) {
				t.Fatalf("%s, row %d: %v, want %v", name, row, s.Values[row], want)
			}
		}
		var many *TooManyError
		if _, err := ReadSeries(bytes.NewReader(b), int64(len(b)), "wave", rows.N-1); !errors.As(err, &many) {
			t.Errorf("%s: above the limit: %v", name, err)
		}
		if _, err := ReadSeries(bytes.NewReader(b), int64(len(b)), "text", 1e6); err == nil {
			t.Errorf("%s: text was read as numbers", name)
		}
	}
}

// A file with a column that cannot be read is no obstacle to the others.
func TestColumnsListsWhatCannotBeRead(t *testing.T) {
	b := foreign(t, "duckdb_nested.parquet")
	columns, err := Columns(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[schema.Kind]int{}
	for _, c := range columns {
		kinds[c.Kind]++
	}
	if kinds[""] == 0 || kinds[""] == len(columns) {
		t.Errorf("%v in %s", kinds, testdata.Path(t, "parquet/duckdb_nested.parquet"))
	}
	for _, c := range columns {
		if c.Numeric() || c.Kind == schema.Wave {
			if _, err := ReadSeries(bytes.NewReader(b), int64(len(b)), c.Name, 1e6); err != nil {
				t.Errorf("%s: %v", c.Name, err)
			}
		}
	}
}
