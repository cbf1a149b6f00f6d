package study

import (
	"fmt"
	"slices"
	"strings"

	"tonocohort/schema"
)

// headerNames trims the header and reports names that stand in it twice.
func (t *tableReader) headerNames(header []string) []string {
	names := make([]string, len(header))
	for i, cell := range header {
		text, blanks, _ := trim(cell)
		if t.csv.LineBreaks == "blank" {
			text = strings.NewReplacer("\r\n", " ", "\n", " ", "\r", " ").Replace(text)
		}
		if t.csv.Blanks == "plain" {
			text = plainBlanks(text)
		}
		names[i] = strings.Clone(text)
		if blanks {
			t.log.note(noteKey{t.file, names[i], "blanks_around", i + 1}, t.rows.line(i), "white space around the column name is dropped", "")
		}
		if text == "" {
			continue
		}
		if to := t.rename(text, 1+countOf(names[:i], text)); to != "" {
			names[i], text = to, to
		}
		if first := slices.Index(names[:i], text); first >= 0 {
			t.structural(1, i+1, text, "duplicate_header", fmt.Sprintf("two columns have this name, the first is column %d", first+1),
				fmt.Sprintf("rename: {%s: {%q: OTHER}} gives the second another name; or remove one", t.count.Table, text+"#2"))
		}
	}
	return names
}

// rename gives the declared name of a header, "" where there is none. NAME#2 is
// the second column of that name.
func (t *tableReader) rename(header string, nth int) string {
	if to := t.renamed[fmt.Sprintf("%s#%d", header, nth)]; to != "" {
		return to
	}
	return t.renamed[header]
}

func countOf(names []string, name string) int {
	n := 0
	for _, other := range names {
		if other == name {
			n++
		}
	}
	return n
}

// checkHeader reports required columns that are absent, and, once, the columns
// that the study does not use. It is false where rows cannot be placed.
func (t *tableReader) checkHeader(names []string) bool {
	var unused, declared []string
	for _, c := range t.columns {
		declared = append(declared, c.Name)
	}
	for _, name := range names {
		if name != "" && !slices.Contains(declared, name) {
			unused = append(unused, name)
		}
	}
	placed := true
	for _, c := range t.columns {
		if c.at >= 0 || !c.Required {
			continue
		}
		hint := ""
		if near, ok := nearestHeader(c.Name, unused); ok {
			hint = fmt.Sprintf("is it the column %q? rename: {%s: {%q: %s}} reads it", shorten(near), t.count.Table, shorten(near), c.Name)
		}
		t.structural(1, 0, c.Name, "missing_column", "the table has no column of this name", hint)
		placed = placed && !c.Key
	}
	t.noteUnused(names, unused)
	return placed
}

// UnusedColumns is the code of the note that lists headers which nothing uses.
const UnusedColumns = "unused_columns"

func (t *tableReader) noteUnused(names, unused []string) {
	var listed []string
	for _, name := range unused {
		text := shorten(name)
		for _, c := range t.columns {
			if near, ok := nearestHeader(c.Name, []string{name}); ok && near == name && c.at < 0 && len(c.Name) > 3 {
				text += " (did you mean " + c.Name + "?)"
				break
			}
		}
		listed = append(listed, text)
	}
	if slices.Contains(names, "") {
		listed = append(listed, "a column without a name")
	}
	if len(listed) > 0 {
		t.log.add(schema.Issue{Size: schema.SizeNote, File: t.file, Row: 1, Code: UnusedColumns,
			Message: "columns that are not used: " + strings.Join(listed, ", "), Hint: "declare under covariates what the analysis needs"})
	}
}

// nearestHeader finds the header closest to a declared name; one that differs
// in case, blanks and signs alone is the closest there is.
func nearestHeader(name string, headers []string) (string, bool) {
	plain := func(s string) string {
		return strings.ToLower(strings.NewReplacer("_", "", " ", "", "-", "", ".", "").Replace(s))
	}
	for _, h := range headers {
		if plain(h) == plain(name) {
			return h, true
		}
	}
	for _, h := range headers {
		if len(h) > 2 && strings.HasPrefix(name, strings.ToLower(h)+"_") {
			return h, true
		}
	}
	return schema.Nearest(name, headers)
}
