package release

import (
	"regexp"
	"slices"
	"strings"

	"tonocohort/schema/published"
)

// A note may hold counts of people. Where a number is a year, a volume, a page,
// a version, a quantity with its unit or part of a name, it stays; every other
// whole number goes, so that a note that was not foreseen tells no count.
var (
	noteShare    = regexp.MustCompile(`\d+ of \d+ (people|persons|rows|visits)`)
	noteSmall    = regexp.MustCompile(`small n: \d+ here, \d+ published`)
	noteNumber   = regexp.MustCompile(`\d+`)
	noteCitation = regexp.MustCompile(`\b(18|19|20)\d\d\b|doi|10\.\d{4}`)
	noteUnit     = regexp.MustCompile(`^\s?(%|mmHg|PP\b|bpm|cm\b|kg\b|years?\b|ms\b|Hz\b)`)
)

// publishedNotes lists the notes of the published sets that the study is compared
// with.
func publishedNotes(in Input) []string {
	var notes []string
	for _, name := range in.Settings.Analysis.CompareWith {
		set, err := published.Among(in.Own, name)
		if err != nil {
			continue // nothing was compared with it
		}
		for _, v := range set.Values {
			if v.Note != "" && !slices.Contains(notes, v.Note) {
				notes = append(notes, v.Note)
			}
		}
	}
	return notes
}

// maskNote takes the counts out of the note of a row. Thousands of rows have a
// handful of notes: each is masked once.
func (c *checker) maskNote(r *row) {
	note := r.f.TextAt(r.at, "note")
	told, known := c.notes[note]
	if !known {
		told = maskCounts(note, c.quoted)
		c.notes[note] = told
	}
	if told != note {
		r.f.SetText(r.at, "note", told)
		r.log.add(r.f, r.at, ruleNote, "note")
	}
}

// maskCounts masks a note but for what it quotes.
func maskCounts(note string, quoted []string) string {
	for _, q := range quoted {
		if before, after, ok := strings.Cut(note, q); ok {
			return maskCounts(before, nil) + q + maskCounts(after, nil)
		}
	}
	note = noteShare.ReplaceAllString(note, "some $1")
	note = noteSmall.ReplaceAllString(note, "small n")
	parts := strings.SplitAfter(note, ";")
	for i, part := range parts {
		parts[i] = maskPart(part)
	}
	return strings.Join(parts, "")
}

// quietNote leaves out of the note of a row what tells about hidden numbers: all
// of it where the row is hidden, else what comes with small ones.
func quietNote(note string, hidden []string) string {
	if slices.Contains(hidden, partAll) {
		return ""
	}
	var kept []string
	for _, part := range strings.Split(note, "; ") {
		if !strings.Contains(part, "few") && !strings.Contains(part, masked) {
			kept = append(kept, part)
		}
	}
	return strings.Join(kept, "; ")
}

// masked stands where a count was.
const masked = "…"

// maskPart masks one clause. In brackets with a year or a doi stands a source.
func maskPart(part string) string {
	var out strings.Builder
	last := 0
	for _, m := range noteNumber.FindAllStringIndex(part, -1) {
		out.WriteString(part[last:m[0]])
		last = m[1]
		if keepsNumber(part, m[0], m[1]) {
			out.WriteString(part[m[0]:m[1]])
		} else {
			out.WriteString(masked)
		}
	}
	out.WriteString(part[last:])
	return out.String()
}

func keepsNumber(part string, from, to int) bool {
	if open := strings.LastIndex(part[:from], "("); open >= 0 {
		if end := strings.Index(part[open:], ")"); end < 0 || open+end > from {
			inside := part[open:]
			if end >= 0 {
				inside = part[open : open+end]
			}
			if noteCitation.MatchString(inside) {
				return true
			}
		}
	}
	for _, limit := range []string{"fewer than ", "at least ", "at most ", "below ", "above ", "PP of "} {
		if strings.HasSuffix(part[:from], limit) { // a limit of a rule
			return true
		}
	}
	before, after := byte(' '), byte(' ')
	if from > 0 {
		before = part[from-1]
	}
	if to < len(part) {
		after = part[to]
	}
	switch {
	case isLetter(before) || isLetter(after) || before == '_' || after == '_': // part of a name
		return true
	case after == '.' && to+1 < len(part) && isDigit(part[to+1]), before == '.' && from > 1 && isDigit(part[from-2]): // a decimal
		return true
	}
	return noteUnit.MatchString(part[to:])
}

func isLetter(b byte) bool { return b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z' }

func isDigit(b byte) bool { return b >= '0' && b <= '9' }
