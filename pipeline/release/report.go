package release

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"tonocohort/schema"
)

// reporter keeps which rule hid what, never the value.
type reporter struct {
	entries []entry
	sizes   map[string]int
	order   []string // tables
}

type entry struct {
	table, row, rule, part string
}

// add notes that a rule hid a part of a row.
func (r *reporter) add(f *schema.Frame, at int, rule, part string) {
	r.entries = append(r.entries, entry{f.Table.Name, rowName(f, at), rule, part})
}

func (r *reporter) rowsInTable(f *schema.Frame) {
	if r.sizes == nil {
		r.sizes = map[string]int{}
	}
	r.sizes[f.Table.Name] = f.N
	r.order = append(r.order, f.Table.Name)
}

// rowName tells a row from others by its texts up to the statistic; a flow by
// its stage.
func rowName(f *schema.Frame, at int) string {
	var parts []string
	for _, column := range f.Table.Columns {
		if column.Numeric() || column.Kind == schema.Wave {
			continue
		}
		if text := f.TextAt(at, column.Name); text != "" {
			parts = append(parts, column.Name+"="+text)
		}
		if column.Name == "statistic" || column.Name == "stage" {
			break
		}
	}
	return strings.Join(parts, " ")
}

// frames writes both reports. Hidden counts rows with something hidden: masked
// notes and rounded numbers are in the reports, but hide no cell.
func (r *reporter) frames(d schema.DisclosureSettings) (report, detail *schema.Frame, hidden int) {
	detail = schema.NewFrame(schema.HiddenTable(), len(r.entries))
	byRule := map[[2]string]map[string]bool{}
	rows := map[string]bool{}
	for _, e := range r.entries {
		row := detail.AddRow()
		detail.SetText(row, "table", e.table)
		detail.SetText(row, "row", e.row)
		detail.SetText(row, "rule", e.rule)
		detail.SetText(row, "hides", e.part)
		key := [2]string{e.table, e.rule}
		if byRule[key] == nil {
			byRule[key] = map[string]bool{}
		}
		byRule[key][e.row] = true
		if !slices.Contains([]string{ruleNote, ruleRounded, ruleCoarse}, e.rule) {
			rows[e.table+"\x00"+e.row] = true
		}
	}
	report = schema.NewFrame(schema.DisclosureTable(), 0)
	meanings := meanings(d)
	for _, table := range r.order {
		for _, rule := range slices.Sorted(maps.Keys(meanings)) {
			n := len(byRule[[2]string{table, rule}])
			if n == 0 {
				continue
			}
			row := report.AddRow()
			report.SetText(row, "table", table)
			report.SetText(row, "rule", rule)
			report.SetText(row, "meaning", meanings[rule])
			report.SetNumber(row, "rows", float64(n))
			report.SetNumber(row, "rows_in_table", float64(r.sizes[table]))
		}
	}
	return report, detail, len(rows)
}

// meanings says every rule in words, with the limits that were used.
func meanings(d schema.DisclosureSettings) map[string]string {
	fewest := fmt.Sprintf("fewer than %d people", d.MinCell)
	if d.ZeroIsSmall {
		fewest += ", nobody among them"
	}
	return map[string]string{
		ruleMinimum:    fewest,
		ruleComplement: "hidden so that a hidden number cannot be worked out from the margins",
		ruleUnknown:    fmt.Sprintf("hidden so that fewer than %d people whose stratum is not known cannot be worked out, as what a total leaves beside the strata", d.MinCell),
		ruleNested:     fmt.Sprintf("hidden so that a difference of fewer than %d people between sets of which one lies in the other cannot be worked out", d.MinCell),
		ruleBands:      fmt.Sprintf("hidden so that fewer than %d people between the bounds of different age bands cannot be worked out", d.MinCell),
		ruleMissing:    fmt.Sprintf("fewer than %d people without a value, or a difference of so few between variables: the numbers with and without are hidden", d.MinCell),
		ruleSides:      fmt.Sprintf("a share with fewer than %d people on one side, or hidden so that such a share cannot be worked out", d.MinCell),
		rulePercentile: fmt.Sprintf("a percentile with fewer than %d people beyond it", d.MinCell),
		ruleOrder:      fmt.Sprintf("an interval whose ends are single persons' values with fewer than %d people beyond one of them", d.MinCell),
		ruleExtreme:    "a minimum or maximum is one person's value",
		ruleDegrees:    fmt.Sprintf("a model with fewer than %d residual degrees of freedom", d.MinDegrees),
		ruleLevel:      fmt.Sprintf("a coefficient that fewer than %d people make: of a level that they have, or of a column in which all others have one value", d.MinCell),
		ruleSaturated:  "a model with a coefficient for every combination of levels is a table of means, of which some are hidden",
		ruleDifference: fmt.Sprintf("numbers of people from which, with others published of the same people, fewer than %d would follow by sums and differences, and statistics that tell such a number", d.MinCell),
		ruleFlow:       fmt.Sprintf("stages and reasons with fewer than %d people merged with others", d.MinCell),
		ruleAges:       fmt.Sprintf("a curve at ages with fewer than %d people at or beyond; the ages that it is for, and the knots of its parameters, are narrowed", d.MinCell),
		ruleRounded:    fmt.Sprintf("counts rounded to a multiple of %d", d.Rounding),
		ruleCoarse:     "digits left out that would tell a hidden number of people; how far a coefficient moves is taken from what is left",
		ruleNote:       "counts left out of the note",
		"dominance":    fmt.Sprintf("%d people hold more than %g %% of the sum", d.Dominance.N, d.Dominance.K),
		"p_percent":    fmt.Sprintf("the largest contribution could be worked out to within %g %%", d.PPercent),
	}
}
