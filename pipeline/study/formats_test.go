package study

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"
	"unicode/utf16"

	"tonocohort/schema"
)

// asUTF16 encodes text with a byte-order mark.
func asUTF16(text string, order binary.ByteOrder) string {
	var b []byte
	for _, u := range append([]uint16{0xfeff}, utf16.Encode([]rune(text))...) {
		b = append(b, 0, 0)
		order.PutUint16(b[len(b)-2:], u)
	}
	return string(b)
}

// national writes the tables of a study as a German spreadsheet does.
func national(encode func(string) string) folder {
	f := smallStudy()
	for name, text := range f {
		if !strings.HasSuffix(name, ".csv") {
			continue
		}
		text = strings.NewReplacer(",", ";", "1960-03-01", "1.3.1960", "1970-01-01", "01.01.1970", "2020-03-01", "01.03.2020", "2022-04-01", "01.04.2022",
			"2024-01-01", "01.01.2024", "82.5", "82,5", "41.5", "41,5", "clean", "säuberlich – gut").Replace(text)
		f[name] = encode(strings.ReplaceAll(text, "\n", "\r\n"))
	}
	return f
}

func TestDeclaredFormsOfText(t *testing.T) {
	windows1252 := func(s string) string { return strings.NewReplacer("ä", "\xe4", "–", "\x96").Replace(s) }
	for _, c := range []struct {
		name, csv string
		encode    func(string) string
	}{
		{"UTF-8", "csv: {delimiter: semicolon, decimal: comma, dates: dd.mm.yyyy}\n", func(s string) string { return s }},
		{"Windows-1252", "csv: {delimiter: semicolon, decimal: comma, dates: dd.mm.yyyy, encoding: windows-1252}\n", windows1252},
		{"UTF-16, low byte first", "csv: {delimiter: semicolon, decimal: comma, dates: dd.mm.yyyy, encoding: utf-16}\n", func(s string) string { return asUTF16(s, binary.LittleEndian) }},
		{"UTF-16, high byte first", "csv: {delimiter: semicolon, decimal: comma, dates: dd.mm.yyyy, encoding: utf-16}\n", func(s string) string { return asUTF16(s, binary.BigEndian) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := national(c.encode)
			f["study.yaml"] += c.csv
			s := Load(f, Options{})
			for _, i := range s.Issues {
				if i.Size != schema.SizeNote {
					t.Errorf("unexpected: %s", i)
				}
			}
			if s.Subjects[1].Visits[0].AgeYears != 41.5 || s.Subjects[0].Visits[0].AgeYears != 60 {
				t.Errorf("ages: %+v", s.Subjects)
			}
			if got := s.Subjects[0].Visits[0].Recordings[0].Reviews[0].Reason; got != "säuberlich – gut" {
				t.Errorf("text: %q", got)
			}
		})
	}
	s := Load(national(func(s string) string { return s }), Options{})
	if !schema.AnyStructural(s.Issues) {
		t.Error("undeclared semicolons were read")
	}
}

// A decimal point where commas are declared may be a thousands separator.
func TestDecimalPointUnderComma(t *testing.T) {
	for text, code := range map[string]string{"1.234": "decimal_point", "1.234,5": "thousands_separator", "1,5": "", "12": "", "1,2,3": "not_a_number"} {
		_, f := scanNumber(text, true)
		if (f == nil) != (code == "") || f != nil && f.code != code {
			t.Errorf("%q: %+v, want %q", text, f, code)
		}
	}
}

func TestQuotedLineBreaksCount(t *testing.T) {
	f := smallStudy().with("reviews.csv", "recording_id,decision,reason,reader\nR1,accept,\"two\nlines\",A\nR2,maybe,clean,A\n")
	s := Load(f, Options{})
	if got := find(t, s.Issues, "control_character"); got.Row != 2 || got.Column != 3 {
		t.Errorf("line break within a cell: %s", got)
	}
	if got := find(t, s.Issues, "unknown_level"); got.Row != 4 {
		t.Errorf("row behind a quoted line break: %s", got)
	}
}

func TestParquetTable(t *testing.T) {
	read := func(name string, data []byte) (*schema.Frame, error) {
		frame := schema.NewFrame(schema.Table{Name: "foreign", Columns: []schema.Column{
			{Name: "subject_id", Kind: schema.Integer}, {Name: "visit_id", Kind: schema.Text}, {Name: "age_years", Kind: schema.Number}, {Name: "wave", Kind: schema.Wave},
		}}, 2)
		for i, age := range []float64{0.1 + 0.2, math.NaN()} {
			row := frame.AddRow()
			frame.SetNumber(row, "subject_id", float64(i+1))
			frame.SetText(row, "visit_id", "V1")
			frame.SetNumber(row, "age_years", age)
		}
		return frame, nil
	}
	f := smallStudy().with("visits.parquet", "PAR1", "subjects.csv", "subject_id,sex\n1,male\n2,female\n", "withdrawn.csv", "subject_id\n",
		"cuff.csv", "subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg\n", "recordings.csv", "recording_id,subject_id,visit_id,file,format\n", "reviews.csv", "recording_id,decision,reason\n")
	f = f.swap(t, "study.yaml", "visits.csv", "visits.parquet")
	s := Load(f, Options{ReadTable: read})
	if schema.AnyStructural(s.Issues) {
		t.Fatalf("unexpected:\n%s", allIssues(s.Issues))
	}
	if got := s.Subjects[0].Visits[0].AgeYears; got != 0.1+0.2 {
		t.Errorf("age %v is not the very number of the file", got)
	}
	if !math.IsNaN(s.Subjects[1].Visits[0].AgeYears) {
		t.Error("a missing number is not missing")
	}
	find(t, Load(f, Options{}).Issues, "parquet")
}

// No issue of a person who has withdrawn, and nothing of them in the study.
func TestWithdrawnAreNotLookedAt(t *testing.T) {
	f := smallStudy().swap(t, "subjects.csv", "S3,male,1970-01-01,175,80", "S3,nonsense,canary,1.75,canary")
	f = f.swap(t, "cuff.csv", "S3,V1,1,120,70,,,R4", "S3,V77,canary,canary,70,,,R99")
	s := Load(f, Options{})
	for _, i := range s.Issues {
		if i.Size != schema.SizeNote || strings.Contains(i.String(), "canary") {
			t.Errorf("unexpected: %s", i)
		}
	}
	if s.Withdrawn != 1 || len(s.Subjects) != 2 {
		t.Errorf("%d withdrawn, %d left", s.Withdrawn, len(s.Subjects))
	}
	for _, c := range s.Counts {
		if want := map[string]int{"subjects": 1, "visits": 1, "cuff": 1, "recordings": 1, "reviews": 1}[c.Table]; c.Withdrawn != want {
			t.Errorf("%s: %d rows of the withdrawn, want %d", c.Table, c.Withdrawn, want)
		}
	}
	// Where the list cannot be read, nobody is.
	broken := Load(smallStudy().with("withdrawn.csv", "person\nS3\n"), Options{})
	if len(broken.Subjects) != 0 || !schema.AnyStructural(broken.Issues) {
		t.Errorf("%d persons read without the list of the withdrawn", len(broken.Subjects))
	}
}

// Identifying values are shown shortened, and no place of the machine at all.
func TestIssuesDoNotTell(t *testing.T) {
	f := smallStudy().swap(t, "subjects.csv", "1960-03-01", "17.05.1961").swap(t, "recordings.csv", "waves/c.csv", "../Smith_John.csv")
	f = f.swap(t, "study.yaml", "visits.csv", "gone.csv")
	s := Load(f, Options{})
	for _, i := range s.Issues {
		for _, secret := range []string{"1961", "Smith", "/secret/place"} {
			if strings.Contains(i.String(), secret) {
				t.Errorf("tells %q: %s", secret, i)
			}
		}
	}
	if got := find(t, s.Issues, "date_not_iso"); got.Value != "17…" || got.SubjectID != "S1" {
		t.Errorf("%+v", got)
	}
}

func TestWeightsInPoundsAreNoted(t *testing.T) {
	var b strings.Builder
	b.WriteString("subject_id,sex,height_cm,weight_kg\nS1,female,165,150\nS2,male,180,180\n")
	visits := "subject_id,visit_id,age_years\nS1,V1,50\nS2,V1,50\n"
	for _, id := range []string{"A", "B", "C"} {
		b.WriteString(id + ",male,175,170\n")
		visits += id + ",V1,50\n"
	}
	f := smallStudy().with("subjects.csv", b.String(), "visits.csv", visits, "withdrawn.csv", "subject_id\n",
		"cuff.csv", "subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg\n", "recordings.csv", "recording_id,subject_id,visit_id,file,format\n", "reviews.csv", "recording_id,decision,reason\n")
	if got := find(t, Load(f, Options{}).Issues, "weights_suspect"); !strings.Contains(got.Hint, "{weight_kg: lb}") {
		t.Errorf("%s", got)
	}
	f["study.yaml"] += "units: {weight_kg: lb}\n"
	for _, i := range Load(f, Options{}).Issues {
		if i.Code == "weights_suspect" {
			t.Errorf("after the unit was declared: %s", i)
		}
	}
}

func TestGroup(t *testing.T) {
	s := Load(invented(60), Options{})
	groups := Group(s.Issues)
	n := 0
	for _, g := range groups {
		n += g.Count
		if g.First.Name == "height_cm" && !strings.Contains(g.String(), "missing_word; first: subjects.csv:") {
			t.Errorf("%s", g)
		}
	}
	if n != len(s.Issues) || len(groups) > 10 {
		t.Errorf("%d issues in %d groups of %d", len(s.Issues), len(groups), n)
	}
}
