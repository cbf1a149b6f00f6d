package report

import (
	"fmt"
	"strings"
)

// comparisonTable sets the cohort beside published values. What makes a
// comparison unfair stands below it, lettered.
func comparisonTable(s Source, style Style) *Table {
	f := s.frame("comparison")
	if f == nil {
		return nil
	}
	at := newLookup(f, "set", "variable", "published", "sex", "age_band", "statistic")
	sd := spreads(s)
	t := &Table{Name: "table_comparison", Title: "Comparison with published values",
		Stub:    []string{"Variable, published set and analysis set", "Sex", "Age"},
		Columns: []string{"n here", "Mean (SD) here", "n published", "Mean (SD) published", "Difference of means (95 % CI)", "Notes"}}
	var notes []string
	left := false
	for row := range f.N {
		statistic := f.TextAt(row, "statistic")
		if statistic != "difference_of_means" && statistic != "mean_difference_over_strata" {
			continue
		}
		set, variable, source := f.TextAt(row, "set"), f.TextAt(row, "variable"), f.TextAt(row, "published")
		sex, band := f.TextAt(row, "sex"), f.TextAt(row, "age_band")
		decimals := Decimals(sd[variable])
		write := func(v float64) string { return style.Decimal(v, decimals) }
		mean, spread := at.row(set, variable, source, sex, band, "mean"), at.row(set, variable, source, sex, band, "sd")
		difference := cell(f, row, "estimate", write)
		if !f.Missing(row, "low") {
			difference += " (" + style.Interval(f.Number(row, "low"), f.Number(row, "high"), decimals) + ")"
		}
		if difference == Confidential {
			left = true
			continue
		}
		t.add([]string{Label(variable, f.TextAt(row, "unit")) + " · " + source + " · " + set, sex, band},
			cell(f, row, "n", style.Count),
			pair(cell(f, mean, "estimate", write), cell(f, spread, "estimate", write), "(", ")"),
			cell(f, row, "published_n", style.Count),
			pair(cell(f, mean, "published_estimate", write), cell(f, spread, "published_estimate", write), "(", ")"),
			difference, letters(f.TextAt(row, "note"), &notes))
	}
	if len(t.Rows) == 0 {
		return nil
	}
	for i, n := range notes {
		t.note(fmt.Sprintf("%s %s.", letter(i), n))
	}
	if left {
		t.note("Strata of which the difference may not be shown are left out.")
	}
	return t
}

// letters gives every clause of a note its letter, the same one in every row.
func letters(note string, known *[]string) string {
	var out []string
	for _, clause := range clauses(note) {
		at := -1
		for i, k := range *known {
			if k == clause {
				at = i
			}
		}
		if at < 0 {
			at = len(*known)
			*known = append(*known, clause)
		}
		out = append(out, letter(at))
	}
	return strings.Join(out, " ")
}

// clauses cuts a note at its semicolons, but for those inside brackets.
func clauses(note string) []string {
	var list []string
	depth, from := 0, 0
	for i, r := range note {
		switch r {
		case '(':
			depth++
		case ')':
			depth--
		case ';':
			if depth == 0 {
				list = append(list, note[from:i])
				from = i + 1
			}
		}
	}
	var kept []string
	for _, clause := range append(list, note[from:]) {
		if clause = strings.TrimSpace(clause); clause != "" {
			kept = append(kept, clause)
		}
	}
	return kept
}

// letter numbers from 0: a to z, then aa.
func letter(i int) string {
	if i < 26 {
		return string(rune('a' + i))
	}
	return letter(i/26-1) + letter(i%26)
}
