package report

import (
	"slices"
	"strings"

	"tonocohort/schema"
)

// Label is the name of a column in a publication table: its own where we have
// none for it, without what the unit says again.
func Label(column, unit string) string {
	if column == "" {
		return ""
	}
	name, known := schema.QuantityName(column)
	if !known {
		name = column
		suffix := strings.NewReplacer("/", "_", "·", "_", "%", "pct").Replace(strings.ToLower(unit))
		if trimmed := strings.TrimSuffix(name, "_"+suffix); suffix != "" && trimmed != "" {
			name = trimmed
		}
		name = strings.ReplaceAll(name, "_", " ")
		name = strings.ToUpper(name[:1]) + name[1:]
	}
	if unit == "" || unit == "1" {
		return name
	}
	return name + ", " + unit
}

// reasonWords writes a reason of the flow as a person does: brachial_sbp_mmhg not
// below 140 as Brachial SBP (mmHg) not below 140, and diabetes not no, which reads
// like a slip, as Diabetes: not “no”.
func reasonWords(reason string) string {
	column, rest, _ := strings.Cut(reason, " ")
	if levels, isRule := strings.CutPrefix(rest, "not "); isRule && !bounded(levels) {
		return Label(column, "") + ": not “" + strings.ReplaceAll(levels, " or ", "” or “") + "”"
	}
	if _, known := schema.QuantityName(column); !known {
		return plainWords(reason)
	}
	return axisLabel(column, unitOfName(column)) + " " + plainWords(rest)
}

// bounded reports a rule in words that bounds a number.
func bounded(rule string) bool {
	return slices.ContainsFunc([]string{"at least ", "above ", "at most ", "below "}, func(bound string) bool { return strings.HasPrefix(rule, bound) })
}

// unitOfName is the unit of a column that every study has, "" for none.
func unitOfName(column string) string {
	t := schema.SubjectVisitsTable(nil)
	if at := t.Index(column); at >= 0 {
		return t.Columns[at].Unit
	}
	return ""
}

// spreads finds the standard deviation of every variable over everybody, by which
// it is written in all tables with the same decimals.
func spreads(s Source) map[string]float64 {
	sd := map[string]float64{}
	for _, name := range []string{"summary", "characteristics", "comparison"} {
		f := s.frame(name)
		if f == nil {
			continue
		}
		for row := range f.N {
			variable := f.TextAt(row, "variable")
			if _, known := sd[variable]; !known && f.TextAt(row, "statistic") == "sd" && !f.Missing(row, "estimate") {
				sd[variable] = f.Number(row, "estimate")
			}
		}
	}
	return sd
}

// unitsOf finds the unit of every variable.
func unitsOf(f *schema.Frame) map[string]string {
	units := map[string]string{}
	for row := range f.N {
		if s := f.TextAt(row, "statistic"); s == "mean" || s == "median" {
			units[f.TextAt(row, "variable")] = f.TextAt(row, "unit")
		}
	}
	return units
}

// unitWords writes a unit as a person does: per one year, not per years.
func unitWords(unit string) string {
	return strings.ReplaceAll(strings.TrimSpace(unit), "per years", "per year")
}
