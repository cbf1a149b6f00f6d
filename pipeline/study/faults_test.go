package study

import (
	"strings"
	"testing"

	"tonocohort/schema"
)

// tableFault is a defect of a table with the issue that must come of it.
type tableFault struct {
	name           string
	file, old, new string // in smallStudy
	code           string
	size           schema.Size
	row, column    int
	says           string // part of the printed issue
	more           []string
	exclusion      string // level, where something is left out
	at             string // file of the issue, where it is another
}

func tableFaults() []tableFault {
	const structural, value, note, recording = schema.SizeStructural, schema.SizeValue, schema.SizeNote, schema.SizeRecording
	return []tableFault{
		// The text of a file.
		{name: "byte-order mark", file: "subjects.csv", old: "subject_id", new: "\ufeffsubject_id", code: "byte_order_mark", size: note, row: 1},
		{name: "UTF-16", file: "subjects.csv", new: "\xff\xfes\x00u\x00b\x00", code: "utf_16", size: structural, row: 1, says: "csv: {encoding: utf-16}"},
		{name: "UTF-16 without a mark", file: "subjects.csv", new: "s\x00u\x00b\x00j\x00e\x00c\x00t\x00_\x00i\x00d\x00", code: "utf_16", size: structural, row: 1},
		{name: "Latin letters of another encoding", file: "subjects.csv", old: "S2,male", new: "S\xfc,male", code: "not_utf_8", size: structural, row: 3, says: "windows-1252"},
		{name: "NUL byte", file: "subjects.csv", old: "S2,male", new: "S2,ma\x00le", code: "nul_byte", size: structural, row: 3},
		{name: "lone carriage return", file: "subjects.csv", old: "70\nS2", new: "70\rS2", code: "lone_cr", size: structural, row: 2, says: "csv: {line_ends: any} reads"},
		{name: "CRLF", file: "subjects.csv", old: "70\nS2", new: "70\r\nS2", code: "crlf", size: note},
		{name: "empty file", file: "subjects.csv", new: "", code: "empty_file", size: structural},
		{name: "blank file", file: "subjects.csv", new: "\n \n", code: "empty_file", size: structural},
		{name: "spreadsheet", file: "subjects.csv", new: "PK\x03\x04", code: "not_csv", size: structural},
		{name: "other delimiter", file: "visits.csv", old: "subject_id,visit_id,age_years,visit_date,treated", new: "subject_id;visit_id;age_years;visit_date;treated", code: "delimiter", size: structural, row: 1, says: "semicolon"},
		{name: "open quotation mark", file: "subjects.csv", old: "165,70", new: "165,\"70", code: "csv_syntax", size: structural, row: 2},
		{name: "ragged row", file: "subjects.csv", old: "165,70", new: "165,70,5", code: "ragged_row", size: structural, row: 2, says: "6 cells where the header has 5"},
		{name: "decimal comma splits a row", file: "subjects.csv", old: "165,70", new: "165,70,5", code: "ragged_row", size: structural, row: 2, says: "decimal comma"},
		{name: "blank row", file: "subjects.csv", old: "S2,male", new: ",,,,\nS2,male", code: "blank_row", size: note, row: 3},
		// The header.
		{name: "duplicate header", file: "subjects.csv", old: "weight_kg", new: "height_cm", code: "duplicate_header", size: structural, row: 1, column: 5, says: "the first is column 4"},
		{name: "misspelt required header", file: "subjects.csv", old: "sex", new: "Sexe", code: "missing_column", size: structural, row: 1, says: `rename: {subjects: {"Sexe": sex}} reads it`, more: []string{"unused_columns"}},
		{name: "misspelt optional header", file: "subjects.csv", old: "height_cm", new: "Height cm", code: "unused_columns", size: note, row: 1, says: "Height cm (did you mean height_cm?)"},
		{name: "blanks in the header", file: "subjects.csv", old: "height_cm", new: " height_cm", code: "blanks_around", size: note, row: 1, column: 4},
		// Keys.
		{name: "empty key", file: "visits.csv", old: "S2,V1,41.5,,yes,10,,yes", new: "S2,V1,41.5,,yes,10,,yes\n,V1,41,,,,,", code: "empty_key", size: value, row: 5, column: 1, exclusion: "visit"},
		{name: "duplicate person", file: "subjects.csv", old: "S2,male", new: "S1,male", code: "duplicate_key", size: structural, row: 3, column: 1, says: "same key as line 2", more: []string{"orphan_subject"}},
		{name: "duplicate visit", file: "visits.csv", old: "S1,V2,62", new: "S1,V1,62", code: "duplicate_key", size: structural, row: 3, column: 2, more: []string{"orphan_visit"}},
		{name: "duplicate reading", file: "cuff.csv", old: "S1,V1,2", new: "S1,V1,1", code: "duplicate_key", size: structural, row: 3, column: 3, says: "line 2"},
		{name: "duplicate recording", file: "recordings.csv", old: "R2,S1", new: "R1,S1", code: "duplicate_key", size: structural, row: 3, column: 1},
		{name: "duplicate review", file: "reviews.csv", old: "R1,reject,drift,B", new: "R1,accept,drift,A", code: "duplicate_key", size: structural, row: 3},
		{name: "visit of nobody", file: "visits.csv", old: "S2,V1", new: "S9,V1", code: "orphan_subject", size: structural, row: 4, column: 1, more: []string{"orphan_visit"}},
		{name: "reading of no visit", file: "cuff.csv", old: "S1,V2", new: "S1,V7", code: "orphan_visit", size: structural, row: 4, column: 2},
		{name: "recording of no visit", file: "recordings.csv", old: "R2,S1,V2", new: "R2,S1,V7", code: "orphan_visit", size: structural, row: 3, column: 3},
		{name: "reading of no recording", file: "cuff.csv", old: "68,R1", new: "68,R8", code: "orphan_recording", size: structural, row: 3},
		{name: "reading of another visit's recording", file: "cuff.csv", old: "68,R1", new: "68,R2", code: "orphan_recording", size: structural, row: 3, says: "another visit"},
		{name: "review of no recording", file: "reviews.csv", old: "R1,accept", new: "R9,accept", code: "orphan_recording", size: structural, row: 2, column: 1},
		{name: "withdrawal of nobody", file: "withdrawn.csv", old: "S3,2024-01-01\n", new: "S3,2024-01-01\n,2024-01-01\n", code: "empty_key", size: structural, row: 3, column: 1},
		{name: "unknown withdrawal", file: "withdrawn.csv", old: "S3,", new: "S4,", code: "withdrawn_not_found", size: note, at: "subjects.csv"},
		// Numbers.
		{name: "height in metres", file: "subjects.csv", old: "165,", new: "1.65,", code: "unit_suspect", size: value, row: 2, column: 4, says: "set units: {height_cm: m}", exclusion: "value"},
		{name: "height 17 cm", file: "subjects.csv", old: "165,", new: "17,", code: "out_of_range", size: value, row: 2, column: 4, says: "outside 100 to 230 cm", exclusion: "value"},
		{name: "weight in pounds", file: "subjects.csv", old: "165,70", new: "165,350", code: "unit_suspect", size: value, row: 2, column: 5, says: "{weight_kg: lb}", exclusion: "value"},
		{name: "age 430", file: "visits.csv", old: "41.5", new: "430", code: "unit_suspect", size: value, row: 4, column: 3, says: "looks like months", exclusion: "value"},
		{name: "age 45000", file: "visits.csv", old: "41.5", new: "45000", code: "out_of_range", size: value, row: 4, column: 3, says: "outside 0 to 120 years", exclusion: "value"},
		{name: "negative age", file: "visits.csv", old: "41.5", new: "-41.5", code: "negative", size: value, row: 4, column: 3, exclusion: "value"},
		{name: "decimal comma", file: "subjects.csv", old: "165,70", new: "165,\"70,5\"", code: "decimal_comma", size: value, row: 2, column: 5, says: "csv: {decimal: comma}", exclusion: "value"},
		{name: "thousands separator", file: "subjects.csv", old: "165,70", new: "165,\"1,070.5\"", code: "thousands_separator", size: value, row: 2, column: 5, exclusion: "value"},
		{name: "NaN text", file: "subjects.csv", old: "165,70", new: "165,NaN", code: "not_finite", size: value, row: 2, column: 5, exclusion: "value"},
		{name: "Inf text", file: "subjects.csv", old: "165,70", new: "165,-Inf", code: "not_finite", size: value, row: 2, column: 5, exclusion: "value"},
		{name: "too large", file: "subjects.csv", old: "165,70", new: "165,1e999", code: "not_finite", size: value, row: 2, column: 5, exclusion: "value"},
		{name: "NA", file: "subjects.csv", old: "165,70", new: "165,NA", code: "missing_word", size: value, row: 2, column: 5, says: "leave the cell empty", exclusion: "value"},
		{name: "n.a.", file: "subjects.csv", old: "165,70", new: "165,n.a.", code: "missing_word", size: value, row: 2, column: 5, exclusion: "value"},
		{name: "unit in the cell", file: "subjects.csv", old: "165,70", new: "165,70 kg", code: "unit_in_cell", size: value, row: 2, column: 5, exclusion: "value"},
		{name: "hexadecimal", file: "subjects.csv", old: "165,70", new: "165,0x46", code: "not_a_number", size: value, row: 2, column: 5, exclusion: "value"},
		{name: "underscore", file: "subjects.csv", old: "165,70", new: "165,7_0", code: "not_a_number", size: value, row: 2, column: 5, exclusion: "value"},
		{name: "non-breaking space within", file: "subjects.csv", old: "165,70", new: "165,7\u00a00", code: "non_breaking_space", size: value, row: 2, column: 5, exclusion: "value"},
		{name: "non-breaking space around", file: "subjects.csv", old: "165,70", new: "165,70\u00a0", code: "unseen_blanks_around", size: note, row: 2, column: 5},
		{name: "blanks around", file: "subjects.csv", old: "165,70", new: "165, 70", code: "blanks_around", size: note, row: 2, column: 5},
		// Pressures.
		{name: "SBP not above DBP", file: "cuff.csv", old: "128,80", new: "80,128", code: "sbp_not_above_dbp", size: value, row: 4, column: 4, says: "the two look swapped", exclusion: "reading"},
		{name: "pressure in kPa", file: "cuff.csv", old: "128,80", new: "17.1,10.7", code: "unit_suspect", size: value, row: 4, column: 4, says: "{sbp_mmhg: kPa}", exclusion: "reading"},
		{name: "no pressure", file: "cuff.csv", old: "128,80", new: "128,", code: "missing_pressure", size: value, row: 4, column: 5, exclusion: "reading"},
		{name: "MAP not between", file: "cuff.csv", old: "132,82,100", new: "132,82,140", code: "map_not_between", size: value, row: 3, column: 6, exclusion: "value"},
		{name: "pulse 400", file: "cuff.csv", old: "100,68", new: "100,400", code: "out_of_range", size: value, row: 3, column: 7, exclusion: "value"},
		{name: "reading 1.5", file: "cuff.csv", old: "S1,V1,2", new: "S1,V1,1.5", code: "not_integer", size: value, row: 3, column: 3, exclusion: "reading"},
		// Dates.
		{name: "two-digit year", file: "subjects.csv", old: "1960-03-01", new: "01.03.60", code: "two_digit_year", size: value, row: 2, column: 3, exclusion: "value"},
		{name: "national date", file: "subjects.csv", old: "1960-03-01", new: "31.12.1960", code: "date_not_iso", size: value, row: 2, column: 3, says: "csv: {dates: dd.mm.yyyy}", exclusion: "value"},
		{name: "impossible date", file: "subjects.csv", old: "1960-03-01", new: "1960-02-30", code: "no_such_date", size: value, row: 2, column: 3, exclusion: "value"},
		{name: "date with time", file: "subjects.csv", old: "1960-03-01", new: "1960-03-01T00:00", code: "date_with_time", size: value, row: 2, column: 3, exclusion: "value"},
		{name: "spreadsheet day number", file: "subjects.csv", old: "1960-03-01", new: "21976", code: "date_serial", size: value, row: 2, column: 3, exclusion: "value"},
		{name: "year alone", file: "subjects.csv", old: "1960-03-01", new: "1960", code: "date_incomplete", size: value, row: 2, column: 3, exclusion: "value"},
		{name: "year 1", file: "subjects.csv", old: "1960-03-01", new: "0001-01-01", code: "date_implausible", size: value, row: 2, column: 3, exclusion: "value"},
		{name: "no date", file: "subjects.csv", old: "1960-03-01", new: "spring", code: "not_a_date", size: value, row: 2, column: 3, exclusion: "value"},
		{name: "visit before birth", file: "visits.csv", old: "2020-03-01", new: "1920-03-01", code: "visit_before_birth", size: value, row: 2, column: 4, exclusion: "value"},
		{name: "age by dates beyond reason", file: "subjects.csv", old: "1960-03-01", new: "1860-03-01", code: "age_out_of_range", size: value, at: "visits.csv", row: 2, column: 4, exclusion: "value"},
		{name: "age and dates disagree", file: "visits.csv", old: "V2,62", new: "V2,26", code: "age_disagrees", size: note, row: 3, column: 3},
		// Text.
		{name: "formula as id", file: "visits.csv", old: "S2,V1", new: "S2,=V1", code: "formula_leading", size: value, row: 4, column: 2, exclusion: "visit", more: []string{"orphan_visit"}},
		{name: "id with a sign", file: "visits.csv", old: "S2,V1", new: "S2,V#1", code: "bad_id", size: value, row: 4, column: 2, exclusion: "visit", more: []string{"orphan_visit"}},
		{name: "unknown level", file: "subjects.csv", old: "female", new: "F", code: "unknown_level", size: value, row: 2, column: 2, says: `recode: {sex: {"F": LEVEL}}`, exclusion: "value"},
		{name: "level in another case", file: "subjects.csv", old: "female", new: "Female", code: "unknown_level", size: value, row: 2, column: 2, says: "did you mean female?", exclusion: "value"},
		{name: "no level", file: "visits.csv", old: "62,2022-04-01,no", new: "62,2022-04-01,n/a", code: "missing_word", size: value, row: 3, column: 5, exclusion: "value"},
		// Recordings and reviews.
		{name: "no file", file: "recordings.csv", old: "waves/c.csv", new: "", code: "no_file", size: recording, row: 4, column: 4, exclusion: "recording"},
		{name: "file outside", file: "recordings.csv", old: "waves/c.csv", new: "../c.csv", code: "file_outside_study", size: recording, row: 4, column: 4, exclusion: "recording"},
		{name: "absolute file", file: "recordings.csv", old: "waves/c.csv", new: "/etc/passwd", code: "file_outside_study", size: recording, row: 4, column: 4, exclusion: "recording"},
		{name: "file of another system", file: "recordings.csv", old: "waves/c.csv", new: `C:\c.csv`, code: "file_outside_study", size: recording, row: 4, column: 4, exclusion: "recording"},
		{name: "unknown format", file: "recordings.csv", old: "c.csv,csv", new: "c.csv,wav", code: "unknown_level", size: recording, row: 4, column: 5, exclusion: "recording"},
		{name: "unsupported format", file: "recordings.csv", old: "c.csv,csv", new: "c.csv,edf", code: "not_supported", size: recording, row: 4, column: 5, exclusion: "recording"},
		{name: "unknown artery", file: "recordings.csv", old: "carotid", new: "femoral", code: "unknown_level", size: recording, row: 3, column: 7, exclusion: "recording"},
		{name: "file twice", file: "recordings.csv", old: "waves/c.csv", new: "waves/b.csv", code: "file_used_twice", size: note, row: 4, column: 4},
		{name: "unknown decision", file: "reviews.csv", old: "reject", new: "rejct", code: "unknown_level", size: value, row: 3, column: 2, says: "did you mean reject?", exclusion: "value"},
		{name: "no decision", file: "reviews.csv", old: "reject", new: "", code: "no_decision", size: value, row: 3, column: 2, exclusion: "value"},
		{name: "no reason", file: "reviews.csv", old: "drift", new: "", code: "no_reason", size: note, row: 3, column: 3},
	}
}

func TestTableFaults(t *testing.T) {
	for _, c := range tableFaults() {
		t.Run(c.name, func(t *testing.T) {
			changed := smallStudy().with(c.file, c.new)
			if c.old != "" {
				changed = smallStudy().swap(t, c.file, c.old, c.new)
			}
			if c.at == "" {
				c.at = c.file
			}
			s := Load(changed, Options{RecordingFormats: []string{"csv", "wfdb"}})
			issue := find(t, s.Issues, c.code)
			if issue.Size != c.size || issue.File != c.at || issue.Row != c.row || issue.Column != c.column {
				t.Errorf("got %s at %s:%d:%d, want %s at %s:%d:%d", issue.Size, issue.File, issue.Row, issue.Column, c.size, c.at, c.row, c.column)
			}
			if !strings.Contains(issue.String(), c.says) {
				t.Errorf("%q does not say %q", issue.String(), c.says)
			}
			for _, other := range s.Issues {
				if other.Size != schema.SizeNote && other.Code != c.code && !strings.Contains(strings.Join(c.more, " "), other.Code) {
					t.Errorf("unexpected beside it: %s", other)
				}
			}
			checkExclusions(t, s, c.exclusion, c.code)
			checkCounts(t, s)
		})
	}
}

// checkExclusions sees that a fault has one exclusion of its level, and that
// whatever takes nothing away has none.
func checkExclusions(t *testing.T, s *Study, level, code string) {
	t.Helper()
	if level == "" {
		if len(s.Exclusions) != 0 {
			t.Errorf("exclusions: %+v", s.Exclusions)
		}
		return
	}
	if len(s.Exclusions) != 1 || s.Exclusions[0].Level != level || s.Exclusions[0].Reason != code || s.Exclusions[0].Stage != "read" {
		t.Errorf("exclusions %+v, want one %s for %s", s.Exclusions, level, code)
	}
}

func checkCounts(t *testing.T, s *Study) {
	t.Helper()
	for _, c := range s.Counts {
		if c.Kept < 0 || c.Rows != c.Kept+c.LeftOut+c.Withdrawn+c.Blank {
			t.Errorf("%+v does not add up", c)
		}
	}
}
