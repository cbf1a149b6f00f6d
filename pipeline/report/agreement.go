package report

import (
	"slices"

	"tonocohort/schema"
)

// agreement reads the released table of agreement.
type agreement struct {
	f     *schema.Frame
	style Style
	at    lookup
	sd    map[string]float64
}

// pairing is what is compared with what.
type pairing struct{ comparison, first, second string }

func newAgreement(s Source, f *schema.Frame, style Style) agreement {
	return agreement{f: f, style: style, at: newLookup(f, "variable", "comparison", "first", "second", "statistic"), sd: spreads(s)}
}

func (a agreement) row(variable string, p pairing, statistic string) int {
	return a.at.row(variable, p.comparison, p.first, p.second, statistic)
}

// variables are those of which agreement is shown: central systolic and pulse
// pressure, the augmentation index, and the cuff's own; all, where none of these
// is there.
func (a agreement) variables() []string {
	all := texts(a.f, "variable")
	var list []string
	for _, name := range []string{"central_sbp_mmhg", "central_pp_mmhg", "augmentation_index_pct", "brachial_sbp_mmhg", "brachial_dbp_mmhg"} {
		if slices.Contains(all, name) {
			list = append(list, name)
		}
	}
	if len(list) == 0 {
		return all
	}
	return list
}

// pairs lists what was compared of a variable, in the order of the table.
func (a agreement) pairs(variable string) []pairing {
	var list []pairing
	for row := range a.f.N {
		p := pairing{a.f.TextAt(row, "comparison"), a.f.TextAt(row, "first"), a.f.TextAt(row, "second")}
		if a.f.TextAt(row, "variable") == variable && !slices.Contains(list, p) {
			list = append(list, p)
		}
	}
	return list
}

func (p pairing) label() string {
	name, known := map[string]string{
		"replicates":            "Two recordings of a visit",
		"replicates_all_visits": "Recordings of a visit, all visits",
		"cuff_readings":         "Two cuff readings of a visit",
		"operators_within":      "Recordings by one operator",
		"operators_between":     "Recordings by two operators",
		"methods":               "Methods",
		"calibrations":          "Calibrations",
		"readers":               "Readers",
		"reader_and_grade":      "Reader and program",
		"observed_and_reported": "Spread seen, errors reported",
	}[p.comparison]
	if !known {
		name = groupName(plainWords(p.comparison))
	}
	if p.first == "" && p.second == "" {
		return name
	}
	return name + ": " + plainWords(p.second) + " − " + plainWords(p.first)
}

// decimals of a variable: by the spread of its differences where it is small
// beside that of the people.
func (a agreement) decimals(row int) int {
	low, high := a.f.Number(row, "low"), a.f.Number(row, "high")
	if low < high {
		return min(3, significant(high-low, 2))
	}
	return 2
}

// number writes an estimate with its interval.
func (a agreement) number(variable string, row int) string {
	decimals := 2
	if row >= 0 {
		decimals = a.decimals(row)
	}
	text := cell(a.f, row, "estimate", func(v float64) string { return a.style.Decimal(v, decimals) })
	if row >= 0 && !a.f.Missing(row, "estimate") && !a.f.Missing(row, "low") {
		text += " (" + a.style.Interval(a.f.Number(row, "low"), a.f.Number(row, "high"), decimals) + ")"
	}
	return text
}

// limits writes the limits of agreement without their intervals.
func (a agreement) limits(variable string, p pairing) string {
	low, high := a.row(variable, p, "lower_limit"), a.row(variable, p, "upper_limit")
	if low < 0 || high < 0 {
		return NoValue
	}
	decimals := a.decimals(low)
	write := func(v float64) string { return a.style.Decimal(v, decimals) }
	return cell(a.f, low, "estimate", write) + " to " + cell(a.f, high, "estimate", write)
}

// agreementTable writes how well measurements agree with each other.
func agreementTable(s Source, style Style) *Table {
	f := s.frame("agreement")
	if f == nil {
		return nil
	}
	a := newAgreement(s, f, style)
	t := &Table{Name: "table_agreement", Title: "Agreement of repeated and alternative measurements", Stub: []string{"Variable", "Compared"},
		Columns: []string{"n", "Mean difference (95 % CI)", "Limits of agreement", "Within-person SD (95 % CI)", "ICC(2,1) (95 % CI)"}}
	for _, variable := range a.variables() {
		unit := ""
		for _, p := range a.pairs(variable) {
			bias, within := a.row(variable, p, "bias"), a.row(variable, p, "within_subject_sd")
			any := max(bias, within)
			if any < 0 {
				continue
			}
			if unit == "" {
				unit = f.TextAt(any, "unit")
			}
			t.add([]string{Label(variable, unit), p.label()}, cell(f, any, "n", style.Count), a.number(variable, bias), a.limits(variable, p),
				a.number(variable, within), a.number(variable, a.row(variable, p, "icc_2_1")))
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	t.note("n: persons. Limits of agreement: mean difference ± 1.96 SD of the differences (Bland and Altman 1999). Two recordings of a visit share its cuff readings, so that they show the repeatability of tonometry alone. More stands in agreement.csv.")
	return t
}
