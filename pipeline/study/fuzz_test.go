package study

import (
	"testing"

	"tonocohort/schema"
)

// Whatever study.yaml holds, there is a Study and no panic, and settings
// without a structural fault survive a second look.
func FuzzSettings(f *testing.F) {
	f.Add([]byte(fullSettings))
	f.Add([]byte("format: 1\nstudy: {id: x}\ntables: {subjects: a, visits: b, cuff: c, recordings: d}\n"))
	f.Add([]byte("a: &a [*a]\nanalysis: &b {sets: {x: *b}}\n? [1]\n: 2\n"))
	for _, c := range settingFaults() {
		f.Add([]byte(c.new))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		study := fullStudy().with("study.yaml", string(data))
		s := Load(study, Options{})
		for _, i := range s.Issues {
			if i.Code == "" || i.Message == "" || i.Size == "" {
				t.Errorf("an empty issue: %+v", i)
			}
		}
		LoadAnalysis(data, "plan.yaml", schema.SubjectVisitsTable(s.Carried).Columns, Options{})
	})
}

// Whatever a table holds, there is a Study and no panic, and the rows add up.
func FuzzTables(f *testing.F) {
	small := smallStudy()
	names := []string{"subjects.csv", "visits.csv", "cuff.csv", "recordings.csv", "reviews.csv", "withdrawn.csv"}
	for i, name := range names {
		f.Add(uint8(i), []byte(small[name]))
	}
	for _, c := range tableFaults() {
		for i, name := range names {
			if name == c.file {
				f.Add(uint8(i), []byte(c.new))
			}
		}
	}
	f.Fuzz(func(t *testing.T, which uint8, data []byte) {
		for _, form := range []string{"", "csv: {delimiter: semicolon, decimal: comma, dates: mm/dd/yyyy, encoding: windows-1252}\n", "csv: {encoding: utf-16}\n"} {
			study := small.with(names[int(which)%len(names)], string(data))
			study["study.yaml"] += form
			s := Load(study, Options{})
			checkCounts(t, s)
			for _, p := range s.Subjects {
				for _, v := range p.Visits {
					if len(v.Cells) != len(s.Carried) {
						t.Fatalf("%d cells for %d columns", len(v.Cells), len(s.Carried))
					}
				}
			}
			schema.SubjectVisitsTable(s.Carried)
			schema.NewFrame(schema.SubjectVisitsTable(s.Carried), 0) // panics on a name that stands twice
		}
	})
}
