package report

import (
	"strings"
)

// referenceTable writes the stratified summaries: the reference table of a
// paper, by whatever strata the study declares.
func referenceTable(s Source, style Style) *Table {
	f := s.frame("summary")
	if f == nil {
		return nil
	}
	strata := strataOf(f)
	keys := append([]string{"set", "variable", "statistic"}, strata...)
	at := newLookup(f, keys...)
	units, sd := unitsOf(f), spreads(s)
	percentiles := []string{"p5", "p10", "p25", "median", "p75", "p90", "p95"}
	t := &Table{Name: "table_reference", Title: "Summaries by stratum", Stub: []string{"Variable and analysis set"},
		Columns: []string{"n", "Mean (SD)", "P5", "P10", "P25", "Median", "P75", "P90", "P95"}}
	for _, name := range strata {
		t.Stub = append(t.Stub, Label(name, ""))
	}
	if len(strata) == 0 {
		t.Stub = append(t.Stub, "People")
	}
	left := false
	for row := range f.N {
		if f.TextAt(row, "statistic") != "mean" {
			continue
		}
		set, variable := f.TextAt(row, "set"), f.TextAt(row, "variable")
		levels := make([]string, len(strata))
		for i, name := range strata {
			levels[i] = f.TextAt(row, name)
		}
		find := func(statistic string) int { return at.row(append([]string{set, variable, statistic}, levels...)...) }
		decimals := Decimals(sd[variable])
		write := func(v float64) string { return style.Decimal(v, decimals) }
		value := func(statistic string) string { return cell(f, find(statistic), "estimate", write) }
		cells := []string{cell(f, find("n"), "estimate", style.Count), pair(value("mean"), value("sd"), "(", ")")}
		for _, p := range percentiles {
			cells = append(cells, value(p))
		}
		if strings.Join(cells, "") == strings.Repeat(Confidential, len(cells)) {
			left = true
			continue
		}
		if len(levels) == 0 {
			levels = []string{"all"}
		}
		t.add(append([]string{Label(variable, units[variable]) + " · " + set}, levels...), cells...)
	}
	if len(t.Rows) == 0 {
		return nil
	}
	t.note("Percentiles: " + quantileName(s) + ". Intervals stand in summary.csv.")
	t.weighted(s)
	if left {
		t.note("Strata of which no number may be shown are left out.")
	}
	return t
}
