package study

import (
	"encoding/binary"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"tonocohort/schema"
)

// irregular is a way in which tables arrive that is not plain CSV. Each table by
// itself must get an Issue with its place and the setting that accepts it, and
// with that setting, taken from the Issue, all tables so written must be read
// as the plain ones are.
type irregular struct {
	name  string
	code  string // of the Issue
	write func(file, text string) string
	note  bool // accepted as it is, with a note
}

func replacer(pairs ...string) func(string, string) string {
	return func(_, text string) string { return strings.NewReplacer(pairs...).Replace(text) }
}

func irregulars() []irregular {
	header := func(change func(string) string) func(string, string) string {
		return func(_, text string) string {
			first, rest, _ := strings.Cut(text, "\n")
			return change(first) + "\n" + rest
		}
	}
	return []irregular{
		{name: "other delimiter", code: "delimiter", write: replacer(",", ";")},
		{name: "tabs", code: "delimiter", write: replacer(",", "\t")},
		{name: "decimal comma", code: "decimal_comma", write: replacer("82.5", `"82,5"`, "41.5", `"41,5"`, ",100,", `,"100,0",`, ",128,", `,"128,0",`)},
		{name: "UTF-16, low byte first", code: "utf_16", write: func(_, text string) string { return asUTF16(text, binary.LittleEndian) }},
		{name: "UTF-16, high byte first", code: "utf_16", write: func(_, text string) string { return asUTF16(text, binary.BigEndian) }},
		{name: "byte order mark", code: "byte_order_mark", note: true, write: func(_, text string) string { return "\ufeff" + text }},
		{name: "CRLF", code: "crlf", note: true, write: replacer("\n", "\r\n")},
		{name: "lone CR", code: "lone_cr", write: replacer("\n", "\r")},
		{name: "non-breaking space around", code: "unseen_blanks_around", note: true, write: replacer("\nS1,", "\nS1\u00a0,", "\nR1,", "\nR1\u00a0,")},
		{name: "duplicate header", code: "duplicate_header", write: func(_, text string) string {
			lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
			for i := range lines {
				lines[i] += "," + strings.SplitN(lines[i], ",", 2)[0]
			}
			return strings.Join(lines, "\n") + "\n"
		}},
		{name: "misspelt header", code: "missing_column", write: replacer("sex", "Sexe", "visit_id,age", "Visit-ID,age", "sbp_mmhg", "SBP", "file", "File")},
		{name: "broken header", code: "missing_column", write: header(func(s string) string {
			return strings.NewReplacer("sex", "\"se\nx\"", "visit_id,age", "\"visit\nid\",age", "sbp_mmhg", "\"sbp\nmmhg\"", "file", "\"fi\nle\"").Replace(s)
		})},
	}
}

// accepting is the setting that an Issue offers.
var accepting = regexp.MustCompile(`((?:csv|rename|units|recode): \{.*?\}+) (?:reads|gives)`)

func TestEveryIrregularityNamesItsSetting(t *testing.T) {
	tables := []string{"subjects.csv", "visits.csv", "cuff.csv", "recordings.csv"}
	want := peopleOf(Load(smallStudy(), Options{}))
	for _, c := range irregulars() {
		for _, file := range tables {
			name := c.name + " in " + file
			plain := smallStudy()
			f := smallStudy().with(file, c.write(file, plain[file]))
			if f[file] == plain[file] {
				t.Fatalf("%s: nothing changed", name)
			}
			issue, ok := firstOf(Load(f, Options{}).Issues, c.code)
			if !ok {
				t.Errorf("%s: no %s in\n%s", name, c.code, allIssues(Load(f, Options{}).Issues))
				continue
			}
			if issue.File != file || issue.Row == 0 && issue.Size != schema.SizeNote {
				t.Errorf("%s: no place: %s", name, issue)
			}
			settings := ""
			if !c.note {
				m := accepting.FindStringSubmatch(issue.Hint)
				if m == nil {
					t.Errorf("%s: no setting: %s", name, issue)
					continue
				}
				t.Log(issue)
				settings = strings.Replace(m[1], "OTHER", "other_column", 1) + "\n"
			}
			for _, other := range tables { // what csv declares holds for all
				if strings.HasPrefix(settings, "csv") || c.note {
					f[other] = c.write(other, plain[other])
				}
			}
			for _, other := range []string{"withdrawn.csv", "reviews.csv"} {
				if strings.HasPrefix(settings, "csv: {encoding") || strings.HasPrefix(settings, "csv: {delimiter") {
					f[other] = c.write(other, plain[other])
				}
			}
			f["study.yaml"] += settings
			s := Load(f, Options{})
			for _, i := range s.Issues {
				if i.Size != schema.SizeNote {
					t.Errorf("%s with %q: %s", name, settings, i)
				}
			}
			if got := peopleOf(s); got != want {
				t.Errorf("%s with %q: read\n%s\nwant\n%s", name, settings, got, want)
			}
		}
	}
}

func firstOf(issues []schema.Issue, code string) (schema.Issue, bool) {
	for _, i := range issues {
		if i.Code == code {
			return i, true
		}
	}
	return schema.Issue{}, false
}

// peopleOf writes out what was read, without the lines where it stood.
func peopleOf(s *Study) string {
	var b strings.Builder
	for _, p := range s.Subjects {
		fmt.Fprintln(&b, p.ID)
		for _, v := range p.Visits {
			fmt.Fprintf(&b, "  %s %.4f %v", v.ID, v.AgeYears, v.Cells)
			for _, r := range v.Cuff {
				fmt.Fprint(&b, " ", r.Number, r.SBP, r.DBP, r.MAP, r.RecordingID)
			}
			for _, r := range v.Recordings {
				fmt.Fprint(&b, " ", r.ID, r.File, r.SamplingHz, r.Artery)
			}
			b.WriteString("\n")
		}
	}
	return b.String()
}

// Cells of one column are read with the setting that the Issue about them offers.
func TestEveryIrregularCellNamesItsSetting(t *testing.T) {
	for _, c := range []struct{ name, file, old, new, code string }{
		{"two-digit year of birth", "subjects.csv", "1960-03-01", "01.03.60", "two_digit_year"},
		{"two-digit year of a visit", "visits.csv", "2020-03-01", "01.03.20", "two_digit_year"},
		{"height in metres", "subjects.csv", "165,70\nS2,male,,180,82.5\nS3,male,1970-01-01,175,80", "1.65,70\nS2,male,,1.80,82.5\nS3,male,1970-01-01,1.75,80", "unit_suspect"},
		{"height in feet", "subjects.csv", "165,70\nS2,male,,180,82.5\nS3,male,1970-01-01,175,80", "5.41,70\nS2,male,,5.9,82.5\nS3,male,1970-01-01,5.74,80", "unit_suspect"},
		{"weight in grams", "subjects.csv", "165,70\nS2,male,,180,82.5", "165,70000\nS2,male,,180,82500", "unit_suspect"},
		{"age in months", "visits.csv", "V2,62", "V2,744", "unit_suspect"},
		{"pressures in kPa", "cuff.csv", "140,85,,70,\nS1,V1,2,132,82,100,68,R1\nS1,V2,1,128,80,", "18.7,85,,70,\nS1,V1,2,17.6,82,100,68,R1\nS1,V2,1,17.1,80,", "unit_suspect"},
		{"rate in kHz", "recordings.csv", "a.csv,csv,128,", "a.csv,csv,0.128,", "unit_suspect"},
		{"thousands by a non-breaking space", "recordings.csv", "a.csv,csv,128,", "a.csv,csv,1\u00a0280,", "non_breaking_space"},
		{"thousands by an apostrophe", "recordings.csv", "a.csv,csv,128,", "a.csv,csv,1'280,", "thousands_separator"},
		{"non-breaking space in an id", "visits.csv", "S2,V1", "S2,V\u00a01", "non_breaking_space"},
		{"zero-width space in an id", "subjects.csv", "S2,male", "S\u200b2,male", "non_breaking_space"},
		{"line break in an id", "visits.csv", "S2,V1", "S2,\"V\n1\"", "bad_id"},
		{"line break in free text", "reviews.csv", "drift", "\"drift\nagain\"", "control_character"},
		{"another level", "subjects.csv", "female", "F", "unknown_level"},
	} {
		f := smallStudy().swap(t, c.file, c.old, c.new)
		issue, ok := firstOf(Load(f, Options{}).Issues, c.code)
		if !ok {
			t.Errorf("%s: no %s in\n%s", c.name, c.code, allIssues(Load(f, Options{}).Issues))
			continue
		}
		t.Log(issue)
		if issue.File != c.file || issue.Row == 0 || issue.Column == 0 {
			t.Errorf("%s: no place: %s", c.name, issue)
		}
		m := accepting.FindStringSubmatch(issue.Hint)
		if m == nil {
			if m = regexp.MustCompile(`(units: \{.*?\})`).FindStringSubmatch(issue.Hint); m == nil {
				t.Errorf("%s: no setting: %s", c.name, issue)
				continue
			}
		}
		f["study.yaml"] += strings.Replace(m[1], "LEVEL", "female", 1) + "\n"
		s := Load(f, Options{})
		if again, ok := firstOf(s.Issues, c.code); ok {
			t.Errorf("%s with %q: %s", c.name, m[1], again)
		}
		for _, i := range s.Issues {
			if strings.HasPrefix(i.File, "study.yaml") {
				t.Errorf("%s with %q: %s", c.name, m[1], i)
			}
		}
	}
}

// Years of two digits stand for the declared hundred years.
func TestTwoDigitYears(t *testing.T) {
	for text, want := range map[string]string{"01.03.26": "1926-03-01", "31.12.25": "2025-12-31", "1.3.60": "1960-03-01", "29.02.00": "2000-02-29", "29.02.27": "", "31.02.50": ""} {
		d, f := scanDate(text, dateLayout("dd.mm.yyyy"), 1926)
		if got := d.Format("2006-01-02"); f == nil && got != want || (f == nil) != (want != "") {
			t.Errorf("%s: %s %+v, want %s", text, got, f, want)
		}
	}
	if d, f := scanDate("60-03-01", dateLayout("yyyy-mm-dd"), 1926); f != nil || d.Year() != 1960 {
		t.Errorf("%v %v", d, f)
	}
	if d, f := scanDate("60-03-01", dateLayout("yyyy-mm-dd"), 0); f == nil || f.code != "two_digit_year" {
		t.Errorf("undeclared: %v", d)
	}
}
