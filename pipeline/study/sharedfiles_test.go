package study

import (
	"slices"
	"testing"

	"tonocohort/schema"
)

// Files whose names differ in case alone are one file on many systems: every
// recording of them is left out, and the rest goes on. Foldings from Unicode's
// CaseFolding.txt: the sharp s is no "ss" in simple folding, the long s is an s.
func TestFilesThatDifferInCase(t *testing.T) {
	for file, refused := range map[string]bool{
		"waves/B.csv": true, "WAVES/b.CSV": true, "waves/./B.csv": true, "waves/b.csv": false, "waves/bb.csv": false,
	} {
		s := Load(smallStudy().swap(t, "recordings.csv", "waves/c.csv", file), Options{})
		var lines []int
		for _, i := range s.Issues {
			if i.Code == "file_differs_in_case" {
				if i.Size != schema.SizeRecording || i.Name != "file" || i.Column != 4 {
					t.Errorf("%+v", i)
				}
				lines = append(lines, i.Row)
			}
		}
		if want := map[bool][]int{true: {3, 4}}[refused]; !slices.Equal(lines, want) {
			t.Errorf("%s: refused on lines %v, want %v", file, lines, want)
		}
		excluded := 0
		for _, e := range s.Exclusions {
			if e.Level == "recording" && e.Reason == "file_differs_in_case" {
				excluded++
			}
		}
		if excluded != len(lines) {
			t.Errorf("%s: %d exclusions", file, excluded)
		}
	}
	for a, b := range map[string]string{"\u017fa.csv": "sa.csv", "\u00c9.csv": "\u00e9.csv", "\u03c2.csv": "\u03a3.csv"} {
		if foldCase(a) != foldCase(b) {
			t.Errorf("%s and %s are told apart", a, b)
		}
	}
	if foldCase("stra\u00dfe.csv") == foldCase("strasse.csv") {
		t.Error("two names are called one")
	}
}

// A Parquet file may hold many recordings; of other formats one file twice is
// odd.
func TestFileOfManyRecordings(t *testing.T) {
	twice := smallStudy().swap(t, "recordings.csv", "waves/c.csv", "waves/b.csv")
	find(t, Load(twice, Options{}).Issues, "file_used_twice")
	both := twice.swap(t, "recordings.csv", "waves/b.csv,csv", "waves/b.csv,parquet").swap(t, "recordings.csv", "waves/b.csv,csv", "waves/b.csv,parquet")
	for _, i := range Load(both, Options{}).Issues {
		if i.Code == "file_used_twice" {
			t.Error(i)
		}
	}
}

// Who is older than privacy.age_top has that age, in what is derived from it
// too; the note tells how many, not who.
func TestAgeTop(t *testing.T) {
	f := fullStudy().swap(t, "visits.csv", "001,V1,50", "001,V1,97.5").swap(t, "study.yaml", "[bmi_kg_m2, bsa_m2, egfr_ckdepi2021]", "[egfr_ckdepi2021]")
	at := func(f folder, name string) float64 {
		s := Load(f, Options{})
		i := slices.IndexFunc(s.Carried, func(c schema.Column) bool { return c.Name == name })
		return s.Subjects[0].Visits[0].Cells[i].Number
	}
	if age := at(f, "age_years"); age != 90 {
		t.Errorf("age %v", age)
	}
	ninety := f.swap(t, "visits.csv", "97.5", "90")
	if a, b := at(f, "egfr_ckdepi2021"), at(ninety, "egfr_ckdepi2021"); a != b {
		t.Errorf("the derived value tells the age: %v and %v", a, b)
	}
	note := find(t, Load(f, Options{}).Issues, "age_capped")
	if note.Size != schema.SizeNote || note.Row != 0 || note.Value != "" {
		t.Errorf("%+v", note)
	}
	if age := at(f.swap(t, "study.yaml", "age_top: 90, ", ""), "age_years"); age != 97.5 {
		t.Errorf("without a top: %v", age)
	}
}
