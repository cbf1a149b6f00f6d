package report

import "strings"

// changeTable writes the within-person change between two visits, a row for each
// pair of visits and stratum of the earlier one.
func changeTable(s Source, style Style) *Table {
	f := s.frame("change")
	if f == nil {
		return nil
	}
	strata := strataOf(f)[2:] // behind the two visits
	keys := append([]string{"set", "variable", "from_visit", "to_visit", "statistic"}, strata...)
	at, sd := newLookup(f, keys...), spreads(s)
	t := &Table{Name: "table_change", Title: "Change between visits", Stub: []string{"Variable and analysis set", "Visits"},
		Columns: []string{"Persons", "Pairs of visits", "Years between, mean", "Earlier, mean", "Later, mean", "Change, mean (95 % CI)", "SD of change"}}
	for _, name := range strata {
		t.Stub = append(t.Stub, Label(name, ""))
	}
	left, method := false, ""
	for row := range f.N {
		if f.TextAt(row, "statistic") != "mean_change" {
			continue
		}
		set, variable := f.TextAt(row, "set"), f.TextAt(row, "variable")
		from, to := f.TextAt(row, "from_visit"), f.TextAt(row, "to_visit")
		levels := make([]string, len(strata))
		for i, name := range strata {
			levels[i] = f.TextAt(row, name)
		}
		decimals := Decimals(sd[variable])
		write := func(v float64) string { return style.Decimal(v, decimals) }
		value := func(statistic string, write func(float64) string) string {
			return cell(f, at.row(append([]string{set, variable, from, to, statistic}, levels...)...), "estimate", write)
		}
		change := cell(f, row, "estimate", write)
		if !f.Missing(row, "low") {
			change += " (" + style.Interval(f.Number(row, "low"), f.Number(row, "high"), decimals) + ")"
		}
		cells := []string{value("n_persons", style.Count), value("n_pairs", style.Count),
			value("mean_years_between", func(v float64) string { return style.Decimal(v, 1) }),
			value("mean_earlier", write), value("mean_later", write), change, value("sd_change", write)}
		if change == Confidential || change == NoValue {
			left = true
			continue
		}
		if method == "" {
			method = f.TextAt(row, "method")
		}
		t.add(append([]string{Label(variable, f.TextAt(row, "unit")) + " · " + set, visitsInWords(from, to)}, levels...), cells...)
	}
	if len(t.Rows) == 0 {
		return nil
	}
	_, errors, _ := strings.Cut(method, "errors clustered by ")
	errors, _, _ = strings.Cut(errors, ";")
	t.note("Change is later minus earlier, of people who have a value at both visits; strata are those of the earlier visit.")
	if errors != "" {
		t.note("Intervals rest on errors clustered by " + strings.ReplaceAll(errors, "_", " ") + ".")
	}
	t.weighted(s)
	if left {
		t.note("Strata of which no change may be shown, or in which nobody has both values, are left out.")
	}
	return t
}

// visitsInWords names a pair of visits.
func visitsInWords(from, to string) string {
	if from == to {
		return from // all pairs
	}
	return from + " to " + to
}
