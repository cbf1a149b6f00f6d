package release

import (
	"math"
	"strings"

	"tonocohort/schema"
)

// Tables with rules of their own: what they count is not told apart by sets and
// strata, so that no layer knows it.

// apart releases a table of Input.Apart.
func (c *checker) apartTable(f *schema.Frame) *schema.Frame {
	t := f.Table
	out := schema.NewFrame(schema.Released(t), f.N)
	for row := range f.N {
		out.CopyRow(out.AddRow(), f, row)
	}
	rows := make([]*row, out.N)
	for at := range rows {
		rows[at] = &row{f: out, at: at, log: &c.log}
		rows[at].maskNote(c.quoted)
	}
	if t.Name == sensitivityTable {
		c.releaseSensitivity(rows)
	} else {
		c.releaseVisits(rows)
	}
	for _, r := range rows {
		if !r.gone() {
			r.round(c.Settings.Disclosure.Rounding, c.rules.MinCell)
		}
		r.finish()
	}
	return out
}

// releaseVisits judges shares of the used visits by the persons behind them. One
// that is hidden must not follow from the others: grades add up to all visits, and
// a visit with any departure has one of those listed.
func (c *checker) releaseVisits(rows []*row) {
	hidden, shown := 0, 0.0
	for _, r := range rows {
		variable := r.text("variable")
		if variable == schema.AnyDeparture {
			continue
		}
		if !c.releaseSides(r, variable) {
			hidden++
			continue
		}
		shown += r.number("n") * r.number("estimate")
	}
	for _, r := range rows {
		variable := r.text("variable")
		switch {
		case r.f.Table.Name == schema.QualityName && hidden > 0 && !r.gone():
			r.hideAll(ruleComplement)
		case variable == schema.AnyDeparture:
			if any := r.number(observations); c.releaseSides(r, variable) && hidden > 0 && !(any <= math.Round(shown)) {
				r.hideAll(ruleComplement)
			}
		}
	}
	for _, r := range rows {
		if n := r.number("n"); !r.gone() && c.few(int(r.number("n_missing"))) {
			r.hideCounts(ruleMissing)
			c.coarseBeside(r, n)
		}
	}
}

// releaseSides hides a share with too few persons on one side; it reports whether
// something is left.
func (c *checker) releaseSides(r *row, variable string) bool {
	in, out := map[string]bool{}, map[string]bool{}
	for row := range c.Visits.N {
		if c.Visits.TextAt(row, "status") != "used" {
			continue
		}
		person := c.Visits.TextAt(row, "subject_id")
		if r.f.Table.Name == schema.QualityName {
			if c.Visits.TextAt(row, "quality") == variable {
				in[person] = true
			} else {
				out[person] = true
			}
			continue
		}
		switch departed(c.Visits, row, variable) {
		case 1:
			in[person] = true
		case 0:
			out[person] = true
		}
	}
	if c.rules.Small(len(in)) || c.rules.Small(len(out)) {
		r.hideAll(ruleSides)
		return false
	}
	return true
}

// departed is 1 for a visit that departed in what the variable names, 0 for one
// that did not, NaN where nothing was answered.
func departed(visits *schema.Frame, row int, variable string) float64 {
	if variable != schema.AnyDeparture {
		return visits.Number(row, schema.DepartedPrefix+variable)
	}
	any := math.NaN()
	for _, column := range visits.Table.Columns {
		if !strings.HasPrefix(column.Name, schema.DepartedPrefix) {
			continue
		}
		if v := visits.Number(row, column.Name); math.IsNaN(any) || v > any {
			any = v
		}
	}
	return any
}
