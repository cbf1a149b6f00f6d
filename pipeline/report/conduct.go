package report

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// centilesTable writes the fitted centiles at every tenth year of age; the table
// of centiles has every year.
func centilesTable(s Source, style Style) *Table {
	f := s.frame("centiles")
	if f == nil {
		return nil
	}
	columns := []string{"p5", "p10", "p25", "p50", "p75", "p90", "p95"}
	t := &Table{Name: "table_centiles", Title: "Fitted centiles by age", Stub: []string{"Variable and analysis set", "Sex", "Age"}, Columns: []string{"P5", "P10", "P25", "P50 (95 % CI)", "P75", "P90", "P95"}}
	type key struct{ set, variable, sex, age, statistic string }
	at := map[key]int{}
	var ages []string
	units := map[string]string{}
	for row := range f.N {
		age := f.Number(row, "age_years")
		if math.IsNaN(age) || math.Mod(age, 10) != 0 {
			continue
		}
		text := strconv.FormatFloat(age, 'f', -1, 64)
		if !slices.Contains(ages, text) {
			ages = append(ages, text)
		}
		at[key{f.TextAt(row, "set"), f.TextAt(row, "variable"), f.TextAt(row, "sex"), text, f.TextAt(row, "statistic")}] = row
		units[f.TextAt(row, "variable")] = f.TextAt(row, "unit")
	}
	sd := spreads(s)
	for _, set := range texts(f, "set") {
		for _, variable := range texts(f, "variable") {
			write := func(v float64) string { return style.Decimal(v, Decimals(sd[variable])) }
			for _, sex := range texts(f, "sex") {
				for _, age := range ages {
					var cells []string
					for _, statistic := range columns {
						row, ok := at[key{set, variable, sex, age, statistic}]
						if !ok {
							row = -1
						}
						text := cell(f, row, "estimate", write)
						if statistic == "p50" && row >= 0 && !f.Missing(row, "low") {
							text += " (" + write(f.Number(row, "low")) + " to " + write(f.Number(row, "high")) + ")"
						}
						cells = append(cells, text)
					}
					if strings.Trim(strings.Join(cells, ""), NoValue) != "" && strings.Join(cells, "") != strings.Repeat(Confidential, len(cells)) {
						t.add([]string{Label(variable, units[variable]) + " · " + set, sex, age}, cells...)
					}
				}
			}
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	t.note("Every tenth year of age; every year, more centiles and all intervals stand in centiles.csv, how well the curves fit in centile_fit.csv. Ages with too few people at and beyond them are left out.")
	return t
}

// sensitivityTable writes the headline coefficient under each declared choice.
func sensitivityTable(s Source, style Style) *Table {
	f := s.frame("sensitivity")
	if f == nil {
		return nil
	}
	t := &Table{Name: "table_sensitivity", Title: "The headline coefficient under each declared choice", Stub: []string{"Model and term", "Choice"},
		Columns: []string{"n", "Coefficient (95 % CI)", "Moves by", "in standard errors", "Notes"}}
	m := models{f: f, style: style, units: characteristicUnits(s)}
	var notes []string
	for row := range f.N {
		choice := groupName(plainWords(f.TextAt(row, "choice")))
		if value := f.TextAt(row, "value"); value != "" {
			choice += ": " + plainWords(value)
		}
		text, known := m.interval(row)
		shift, inSE := NoValue, NoValue
		if known && f.TextAt(row, "choice") != "primary" {
			decimals := 3
			if low, high := f.Number(row, "low"), f.Number(row, "high"); low < high {
				decimals = min(6, significant(high-low, 2)+1)
			}
			shift = cell(f, row, "shift", func(v float64) string { return style.Decimal(v, decimals) })
			inSE = cell(f, row, "shift_in_se", func(v float64) string { return style.Decimal(v, 2) })
		}
		label := f.TextAt(row, "model") + " of " + Label(f.TextAt(row, "variable"), "") + " · " + m.termName(f.TextAt(row, "term")) + " · " + f.TextAt(row, "set")
		t.add([]string{label, choice}, cell(f, row, "n", style.Count), text, shift, inSE, letters(f.TextAt(row, "note"), &notes))
	}
	t.note("One choice is changed at a time; the primary analysis stands first. The standard error is that of the primary analysis.")
	for i, n := range notes {
		t.note(letter(i) + " " + n + ".")
	}
	return t
}

// departuresTable writes how many visits departed from the protocol.
func departuresTable(s Source, style Style) *Table {
	t := sharesTable(s, style, "departures", &Table{Name: "table_departures", Title: "Departures from the protocol", Stub: []string{"Visits", "Departure"},
		Columns: []string{"Answered", "Not answered", "Departed", "% of answered (95 % CI)"}})
	if t != nil {
		t.note("Of the visits that were used. The last line is of visits with at least one departure; an answer that is missing counts as none.")
	}
	return t
}

// qualityTable writes how the pulses of the visits were graded.
func qualityTable(s Source, style Style) *Table {
	t := sharesTable(s, style, "quality", &Table{Name: "table_quality", Title: "Grades of quality", Stub: []string{"Visits", "Grade"},
		Columns: []string{"Graded", "Not graded", "Of this grade", "% of graded (95 % CI)"}})
	if t != nil {
		t.note("Of the visits that were used: the grade of a visit is the lowest of the recordings that were combined.")
	}
	return t
}

// sharesTable writes shares of visits, one a line.
func sharesTable(s Source, style Style, name string, t *Table) *Table {
	f := s.frame(name)
	if f == nil {
		return nil
	}
	for row := range f.N {
		percent := func(v float64) string { return style.Percent(v, 1) }
		share := cell(f, row, "estimate", percent)
		if !f.Missing(row, "estimate") && !f.Missing(row, "low") {
			share += " (" + percent(f.Number(row, "low")) + " to " + percent(f.Number(row, "high")) + ")"
		}
		label := f.TextAt(row, "note")
		if label == "" {
			label = plainWords(f.TextAt(row, "variable"))
		}
		label = strings.TrimPrefix(label, "departed from the protocol: ")
		t.add([]string{"Used visits", label}, cell(f, row, "n", style.Count), cell(f, row, "n_missing", style.Count), cell(f, row, "observations", style.Count), share)
	}
	return t
}
