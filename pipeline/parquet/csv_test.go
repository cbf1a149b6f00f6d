package parquet

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"testing"

	"tonocohort/schema"
)

func csvText(t *testing.T, f *schema.Frame, o CSVOptions) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteCSV(&b, f, o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestCSVReadsBack parses with the standard library's reader.
func TestCSVReadsBack(t *testing.T) {
	f := randomFrame(8, 400, 0.2)
	records, err := csv.NewReader(strings.NewReader(csvText(t, f, CSVOptions{}))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(records) != f.N+1 || strings.Join(records[0], " ") != strings.Join(f.Table.Names(), " ") {
		t.Fatalf("%d records, header %v", len(records), records[0])
	}
	for row := range f.N {
		for i, c := range f.Table.Columns {
			field, d := records[row+1][i], f.Cols[i]
			ok := false
			switch {
			case c.Kind == schema.Boolean:
				ok = field == map[float64]string{0: "false", 1: "true"}[d.Num[row]]
			case c.Numeric():
				v, err := strconv.ParseFloat(field, 64)
				ok = err == nil && math.Float64bits(v) == math.Float64bits(d.Num[row]) || field == "" && math.IsNaN(d.Num[row])
			case c.Textual():
				ok = field == d.Text[row]
			default:
				ok = field == samplesText(d.Wave[row])
			}
			if !ok {
				t.Fatalf("row %d, %s: %q", row, c.Name, field)
			}
		}
	}
}

func samplesText(wave []float32) string {
	parts := make([]string, len(wave))
	for i, v := range wave {
		parts[i] = strconv.FormatFloat(float64(v), 'f', -1, 32)
	}
	return strings.Join(parts, " ")
}

func TestNumbersAsText(t *testing.T) {
	for v, want := range map[float64]string{
		0: "0", 0.1: "0.1", -93.5: "-93.5", 1234567: "1234567", 1e20: "100000000000000000000", 1e21: "1e+21",
		0.000001: "0.000001", 1e-7: "1e-07", 5e-324: "5e-324", 1.0 / 3: "0.3333333333333333",
	} {
		if got := string(appendNumber(nil, v, 64)); got != want {
			t.Errorf("%s, want %s", got, want)
		}
	}
}

// The characters that make a spreadsheet calculate: OWASP ASVS 1.2.10, CWE-1236.
func TestSpreadsheets(t *testing.T) {
	table := schema.Table{Name: "t", Columns: []schema.Column{
		{Name: "=n", Kind: schema.Number}, {Name: "s", Kind: schema.Text}, {Name: "w", Kind: schema.Wave},
	}}
	f := schema.NewFrame(table, 0)
	for _, s := range []string{"=1+1", "+1", "-1", "@a", "\ta", "\ra", "\x00a", "safe"} {
		row := f.AddRow()
		f.SetNumber(row, "=n", -2.5)
		f.SetText(row, "s", s)
		f.SetWave(row, "w", []float32{-1, 2})
	}
	machine := "=n,s,w\n-2.5,=1+1,-1 2\n-2.5,+1,-1 2\n-2.5,-1,-1 2\n-2.5,@a,-1 2\n" +
		"-2.5,\"\ta\",-1 2\n-2.5,\"\ra\",-1 2\n-2.5,\x00a,-1 2\n-2.5,safe,-1 2\n"
	if got := csvText(t, f, CSVOptions{}); got != machine {
		t.Errorf("machine text was altered:\n%q\n%q", got, machine)
	}
	safe := "'=n,s,w\n-2.5,'=1+1,'-1 2\n-2.5,'+1,'-1 2\n-2.5,'-1,'-1 2\n-2.5,'@a,'-1 2\n" +
		"-2.5,'\ta,'-1 2\n-2.5,\"'\ra\",'-1 2\n-2.5,'\x00a,'-1 2\n-2.5,safe,'-1 2\n"
	if got := csvText(t, f, CSVOptions{ForSpreadsheet: true}); got != safe {
		t.Errorf("for a spreadsheet:\n%q\n%q", got, safe)
	}
}

func TestMissingCells(t *testing.T) {
	f := schema.NewFrame(schema.Table{Name: "t", Columns: []schema.Column{{Name: "n", Kind: schema.Number}}}, 0)
	f.AddRow()
	if got := csvText(t, f, CSVOptions{}); got != "n\n\"\"\n" {
		t.Errorf("a row of one missing cell: %q", got)
	}
	f = schema.NewFrame(everyKind(), 0)
	f.AddRow()
	if got := csvText(t, f, CSVOptions{}); !strings.HasSuffix(got, "\n,,,,,,,,\n") {
		t.Errorf("a row of missing cells: %q", got)
	}
}

func TestCSVErrors(t *testing.T) {
	f := randomFrame(1, 4000, 0)
	if err := WriteCSV(&full{100}, f, CSVOptions{}); err == nil || !strings.Contains(err.Error(), "no space left") {
		t.Errorf("a full disk: %v", err)
	}
	w := NewCSVWriter(&bytes.Buffer{}, schema.BeatsTable(), CSVOptions{})
	if err := w.Append(f); err == nil {
		t.Error("rows of another table were taken")
	}
}
