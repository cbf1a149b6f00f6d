package parquet

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"testing"

	"github.com/apache/arrow/go/v17/arrow/ipc"
	"tonocohort/schema"
)

func TestFileLevelKeys(t *testing.T) {
	f := randomFrame(1, 5, 0)
	b := write(t, f, 5, 10)
	meta, err := Metadata(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	if keys := slices.Sorted(maps.Keys(meta)); fmt.Sprint(keys) != "[study tonocohort]" || meta["study"] != "lantern-bay" {
		t.Errorf("keys %v", meta)
	}
	text, err := Dictionary(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	var d struct {
		Format     int
		Name       string
		RowPer     string `json:"row_per"`
		Restricted bool
		Missing    string
		Caution    string
		Columns    []struct {
			Name, Kind, Unit, Meaning, Source string
			Levels                            []string
			Key                               bool
		}
	}
	if err := json.Unmarshal([]byte(text), &d); err != nil {
		t.Fatal(err)
	}
	pp, artery := d.Columns[2], d.Columns[6]
	if d.Format != 1 || d.Name != "every_kind" || d.RowPer != "row" || !d.Restricted || d.Missing != "null" || !d.Columns[0].Key ||
		d.Caution != "Research use, not a diagnosis; defers to licensed clinicians and local guidance." ||
		pp.Name != "central_pp_mmhg" || pp.Kind != "number" || pp.Unit != "mmHg" || pp.Source != "declared here" ||
		pp.Meaning != "central SBP − central DBP" || fmt.Sprint(artery.Levels) != "[radial brachial]" {
		t.Errorf("dictionary %s", text)
	}
}

func TestArrowSchema(t *testing.T) {
	r := openWithLibrary(t, write(t, randomFrame(1, 5, 0), 5, 10))
	text := r.MetaData().KeyValueMetadata().FindValue(arrowKey)
	if text == nil {
		t.Fatal("no Arrow schema")
	}
	message, err := base64.StdEncoding.DecodeString(*text)
	if err != nil {
		t.Fatal(err)
	}
	stream, err := ipc.NewReader(bytes.NewReader(message))
	if err != nil {
		t.Fatal(err)
	}
	defer stream.Release()
	types := []string{"utf8", "int64", "float64", "int64", "bool", "utf8", "utf8", "date32", "list<element: float32, nullable>"}
	for i, c := range everyKind().Columns {
		field := stream.Schema().Field(i)
		unit, _ := field.Metadata.GetValue("unit")
		about, _ := field.Metadata.GetValue("description")
		if field.Name != c.Name || field.Type.String() != types[i] || field.Nullable == c.Key || unit != c.Unit || about != c.Meaning {
			t.Errorf("field %v, want %s", field, types[i])
		}
	}
}

// TestTablesOfTheProject writes and reads each declared table without rows: no
// name or kind of theirs may trip the layout.
func TestTablesOfTheProject(t *testing.T) {
	for _, table := range []schema.Table{
		schema.RecordingsTable(), schema.SubjectVisitsTable(nil), schema.BeatsTable(), schema.WaveformsTable(),
		schema.ExclusionsTable(), schema.FlowTable(), schema.SummaryTable([]string{"sex", "age_band"}),
		schema.RegressionTable(), schema.ComparisonTable(),
	} {
		b := write(t, schema.NewFrame(table, 0), 1, 10)
		f, err := ReadAny(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Errorf("%s: %v", table.Name, err)
		} else if err := sameLayout(table, f.Table); err != nil {
			t.Error(err)
		}
	}
}

func TestDictionaryOfAnotherProgram(t *testing.T) {
	b := foreign(t, "duckdb_gzip.parquet")
	if text, err := Dictionary(bytes.NewReader(b), int64(len(b))); err == nil {
		t.Errorf("%s", text)
	}
}
