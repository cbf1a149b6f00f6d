package schema

import "slices"

// TableStyles are the ways of writing numbers in the publication tables:
// standard (0.034, 1.2 to 3.4), no_leading_zero (P .034) and middle_dot (0·034).
var TableStyles = []string{"standard", "no_leading_zero", "middle_dot"}

// TableSettings says how the publication tables look. Numbers behind them do
// not depend on it, but for the columns that Table 1 describes.
type TableSettings struct {
	Style           string   `yaml:"style" json:"style"`
	By              string   `yaml:"by" json:"by,omitempty"`                           // column that Table 1 is split by; empty: the first stratum column but age_band
	Characteristics []string `yaml:"characteristics" json:"characteristics,omitempty"` // columns that Table 1 describes, in its order; empty: what is known of the people
	Median          []string `yaml:"median" json:"median,omitempty"`                   // of these Table 1 shows median and quartiles instead of mean and SD
}

// DisclosureSettings acts on release/ only.
type DisclosureSettings struct {
	MinCell     int    `yaml:"min_cell" json:"min_cell"`           // fewest people behind a number
	OnViolation string `yaml:"on_violation" json:"on_violation"`   // suppress or block
	ZeroIsSmall bool   `yaml:"zero_is_small" json:"zero_is_small"` // a group of nobody is as telling as one of a few
	// How many lack a value is a count like any other; false: nobody outside can know
	// who they are, so it may be told. Few people whose stratum is missing stay hidden
	// either way: beside their number their mean would follow from the totals.
	MissingIsSmall bool              `yaml:"missing_is_small" json:"missing_is_small"`
	MinDegrees     int               `yaml:"min_degrees" json:"min_degrees"` // fewest residual degrees of freedom of a model
	Dominance      DominanceSettings `yaml:"dominance" json:"dominance"`
	PPercent       float64           `yaml:"p_percent" json:"p_percent"` // nobody may work out the largest contribution to a mean to within p percent; 0: no such rule
	Rounding       int               `yaml:"rounding" json:"rounding"`   // base to which released counts are rounded; 0: not
}

// DominanceSettings is the rule (n, k): the n largest contributions to a mean
// may hold at most k percent of the sum; n = 0: no such rule.
type DominanceSettings struct {
	N int     `yaml:"n" json:"n"`
	K float64 `yaml:"k" json:"k"`
}

// DefaultDisclosure returns the rules that hold where the study is silent.
//
// Ten people, zero among the small: UK LLC guidebook 2025; ten: ABS DataLab and
// ONS Longitudinal Study. Ten degrees of freedom, dominance (2, 90 %), 10
// percent: the defaults of the ACRO output checker.
func DefaultDisclosure() DisclosureSettings {
	return DisclosureSettings{MinCell: 10, OnViolation: "suppress", ZeroIsSmall: true, MissingIsSmall: true, MinDegrees: 10,
		Dominance: DominanceSettings{N: 2, K: 90}, PPercent: 10}
}

// CharacteristicsTable declares who was measured: what Table 1 of a paper is
// made of. by is the column it is split by, empty for none.
func CharacteristicsTable(by string) Table {
	var split []string
	if by != "" {
		split = []string{by}
	}
	return statisticTable("characteristics", "statistic", "who was measured: numbers, levels and missing values of what is known of the people", stratumColumns(split)...)
}

// Suppressed is the column that a released table has beside its own: it tells
// what was hidden from what is zero and from what is missing.
const Suppressed = "suppressed"

// Released declares a table as it leaves the study.
func Released(t Table) Table {
	t.Columns = append(slices.Clone(t.Columns),
		text(Suppressed, "what disclosure control hid in this row: all, estimate, interval, counts; empty: nothing. A hidden cell is empty and is neither zero nor missing"))
	t.Restricted = false
	return t
}

// DisclosureTable declares the released report of disclosure control: how much
// was hidden by which rule, never what.
func DisclosureTable() Table {
	return Table{Name: "disclosure", RowPer: "table and rule", Meaning: "what disclosure control hid: how many rows by which rule",
		Columns: []Column{
			text("table", "the table"),
			text("rule", "stable name of the rule"),
			text("meaning", "the rule in words, with the limit that was used"),
			integer("rows", "rows in which the rule hid something; one row can fall under several"),
			integer("rows_in_table", "rows of the table"),
		}}
}

// HiddenTable declares the detailed report, which stays with the study: which
// rule hid what where, still without the value.
func HiddenTable() Table {
	return Table{Name: "disclosure", RowPer: "row and rule", Restricted: true, Meaning: "which rule of disclosure control hid what in which row of the release",
		Columns: []Column{
			text("table", "the table"),
			text("row", "the columns that tell the row from others, as name=value separated by blanks"),
			text("rule", "stable name of the rule"),
			text("hides", "all, estimate, interval or counts"),
		}}
}
