package study

import (
	"encoding/json"
	"fmt"
	"testing"

	"tonocohort/schema"
)

// Whatever study.yaml holds, there is a Study and no panic, and settings
// without a structural fault survive a second look.
func FuzzSettings(f *testing.F) {
	f.Add([]byte(fullSettings))
	f.Add([]byte("format: 1\nstudy: {id: x}\ntables: {subjects: a, visits: b, cuff: c, recordings: d}\n"))
	f.Add([]byte("a: &a [*a]\nanalysis: &b {sets: {x: *b}}\n? [1]\n: 2\n"))
	f.Add([]byte("format: 1\nstudy: {id: x}\ntables: {subjects: a, visits: b, cuff: c, recordings: d}\n" +
		"csv: {delimiter: semicolon, decimal: comma, dates: mm/dd/yyyy, encoding: utf-16, line_ends: any, line_breaks: blank, blanks: plain, thousands: point, two_digit_years_from: 1930}\n" +
		"waveforms: {delimiter: '|', decimal: comma, encoding: utf-16, line_ends: any, line_breaks: blank, thousands: apostrophe, time_column: '2', time_unit: ms, header_line: 3, first_line: 5}\n" +
		"rename: {subjects: {'Sex#2': sex, \"a\\nb\": height_cm}}\n"))
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
		if w := s.Settings.Waveforms; !structurally(s.Issues) {
			if _, _, ok := w.Signs(); !ok || schema.TimeUnits()[w.TimeUnit] == 0 || w.HeaderLine < 1 || w.FirstLine != 0 && w.FirstLine <= w.HeaderLine {
				t.Errorf("passed: %+v", w)
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

func structurally(issues []schema.Issue) bool {
	for _, i := range issues {
		if i.Size == schema.SizeStructural {
			return true
		}
	}
	return false
}

// textForms makes any bits a setting csv, and any two texts a setting rename.
func textForms(form uint32, table int, from, to string) string {
	pick := func(shift int, list ...string) string { return list[int(form>>shift&7)%len(list)] }
	quoted, err := json.Marshal(from) // what is quoted in JSON is so in YAML
	if err != nil {
		return ""
	}
	name, err := json.Marshal(to)
	if err != nil {
		return ""
	}
	text := fmt.Sprintf("csv: {delimiter: %s, decimal: %s, dates: %s, encoding: %s, line_ends: %s, line_breaks: %s, blanks: %s, thousands: %s, two_digit_years_from: %d}\n",
		pick(0, "comma", "semicolon", "tab"), pick(3, "point", "comma"), pick(6, "yyyy-mm-dd", "dd.mm.yyyy", "dd/mm/yyyy", "mm/dd/yyyy"),
		pick(9, "utf-8", "utf-16", "windows-1252"), pick(12, "lf", "any"), pick(15, "refuse", "blank"), pick(18, "refuse", "plain"),
		pick(21, "none", "space", "comma", "point", "apostrophe"), []int{0, 1926}[form>>24&1])
	return text + fmt.Sprintf("rename: {%s: {%s: %s}}\n", []string{"subjects", "visits", "cuff", "recordings", "reviews", "withdrawn"}[table], quoted, name)
}

// Whatever a study declares of the text of its tables, the promise of FuzzTables
// holds. And a table that is read without a word is read alike where more is accepted.
func FuzzTextForms(f *testing.F) {
	small := smallStudy()
	names := []string{"subjects.csv", "visits.csv", "cuff.csv", "recordings.csv", "reviews.csv", "withdrawn.csv"}
	for i, name := range names {
		f.Add(uint8(i), []byte(small[name]), uint32(0), "sex", "sex")
	}
	f.Add(uint8(0), []byte("subject_id;Geschlecht;birth_date\rS1;female;01.03.60\r"), uint32(1|1<<3|1<<6|1<<12|1<<24), "Geschlecht", "sex")
	f.Add(uint8(2), []byte("subject_id,visit_id,reading,sbp,dbp_mmhg\nS1,V1,1,\"1\n20\",80\n"), uint32(1<<15|1<<18|1<<21), "sbp", "sbp_mmhg")
	f.Add(uint8(0), []byte("subject_id,sex,sex\nS1,female,male\n"), uint32(0), "sex#2", "second")
	f.Fuzz(func(t *testing.T, which uint8, data []byte, form uint32, from, to string) {
		table := int(which) % len(names)
		load := func(settings string) *Study {
			study := small.with(names[table], string(data))
			study["study.yaml"] += settings
			return Load(study, Options{})
		}
		s := load(textForms(form, table, from, to))
		checkCounts(t, s)
		for _, i := range s.Issues {
			if i.Code == "" || i.Message == "" || i.Size == "" {
				t.Errorf("an empty issue: %+v", i)
			}
		}
		plain := load("")
		for _, i := range plain.Issues {
			if i.Size != schema.SizeNote {
				return
			}
		}
		const more = "csv: {line_ends: any, line_breaks: blank, blanks: plain, thousands: space, two_digit_years_from: 1926}\n"
		if got, want := peopleOf(load(more)), peopleOf(plain); got != want {
			t.Errorf("read by %s\n%s\nwithout\n%s", more, got, want)
		}
	})
}
