package pipeline

import (
	"slices"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// rowKey names the columns that tell the rows of a table apart, where the
// declarations of the columns do not say it. A table of statistics is keyed by
// its texts up to the name of the statistic: see keyColumns.
func rowKey(table string) []string {
	switch table {
	case "beats":
		return []string{"subject_id", "visit_id", "recording_id", "beat"}
	case "estimates":
		return []string{"subject_id", "visit_id", "recording_id", "method", "calibration"}
	case "uncertainty":
		return []string{"subject_id", "visit_id", "recording_id", "value"}
	case "reviews":
		return []string{"subject_id", "visit_id", "recording_id", "reader"}
	case "readings":
		return []string{"subject_id", "visit_id", "reading"}
	case "exclusions":
		return []string{"level", "subject_id", "visit_id", "recording_id", "stage", "reason"}
	case "issues":
		return []string{"size", "code", "file", "row", "column", "name", "value"}
	case "flow":
		return []string{"unit", "stage", "reason"}
	case "precision":
		return []string{"centile_pct", "se_in_sd", "statistic"}
	}
	return nil
}

// keyColumns lists the columns that tell the rows of t apart. Rows that still
// share a key are paired in their order, so that no table is beyond comparing.
func keyColumns(t schema.Table) []int {
	var keys []int
	for _, name := range rowKey(t.Name) {
		if i := t.Index(name); i >= 0 {
			keys = append(keys, i)
		}
	}
	if len(keys) > 0 {
		return keys
	}
	if last := t.Index("statistic"); last >= 0 {
		for i, c := range t.Columns[:last+1] {
			if c.Textual() || c.Name == "age_years" {
				keys = append(keys, i)
			}
		}
		return keys
	}
	for i, c := range t.Columns {
		if c.Key {
			keys = append(keys, i)
		}
	}
	if len(keys) > 0 {
		return keys
	}
	for i, c := range t.Columns {
		if c.Textual() {
			keys = append(keys, i)
		}
	}
	return keys
}

// bySubject reports whether the rows of a table stand in the order of their
// subjects, so that two of them can be compared a subject at a time.
func bySubject(t schema.Table) bool {
	return len(t.Columns) > 0 && t.Columns[0].Name == "subject_id" && t.Columns[0].Key
}

// KeyPart is one column of a row's key.
type KeyPart struct{ Column, Value string }

// keyOf is the key of a row as one text; the parts are kept apart by a byte that
// no cell holds.
func keyOf(f *schema.Frame, keys []int, row int) string {
	var b strings.Builder
	for _, i := range keys {
		b.WriteString(cellText(f, i, row))
		b.WriteByte(0)
	}
	return b.String()
}

func keyParts(f *schema.Frame, keys []int, row int) []KeyPart {
	parts := make([]KeyPart, 0, len(keys))
	for _, i := range keys {
		if text := cellText(f, i, row); text != "" {
			parts = append(parts, KeyPart{f.Table.Columns[i].Name, text})
		}
	}
	return parts
}

// cellText is a cell as text that comes back equal; "" where it is missing.
func cellText(f *schema.Frame, column, row int) string {
	c, d := f.Table.Columns[column], &f.Cols[column]
	switch {
	case c.Textual():
		return d.Text[row]
	case c.Kind == schema.Wave:
		if d.Wave[row] == nil {
			return ""
		}
		return strconv.Itoa(len(d.Wave[row])) + " samples"
	case f.Missing(row, c.Name):
		return ""
	case c.Kind == schema.Boolean:
		return strconv.FormatBool(d.Num[row] == 1)
	}
	return strconv.FormatFloat(d.Num[row], 'g', -1, 64)
}

// sharedColumns pairs the columns of two tables by name and kind; what has no partner
// is named, in order.
func sharedColumns(a, b schema.Table) (pairs [][2]int, onlyA, onlyB []string) {
	for i, c := range a.Columns {
		j := b.Index(c.Name)
		if j < 0 || b.Columns[j].Kind != c.Kind || b.Columns[j].Unit != c.Unit {
			onlyA = append(onlyA, describeColumn(c, j >= 0))
			continue
		}
		pairs = append(pairs, [2]int{i, j})
	}
	for _, c := range b.Columns {
		i := a.Index(c.Name)
		if i < 0 || !slices.ContainsFunc(pairs, func(p [2]int) bool { return p[0] == i }) {
			onlyB = append(onlyB, describeColumn(c, i >= 0))
		}
	}
	return pairs, onlyA, onlyB
}

// describeColumn names a column; where the other table has one of the same name
// it says what sets them apart.
func describeColumn(c schema.Column, twin bool) string {
	if !twin {
		return c.Name
	}
	return strings.TrimSpace(c.Name + " (" + string(c.Kind) + " " + c.Unit + ")")
}
