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
	out.AppendRows(f, 0, f.N)
	rows := make([]*row, out.N)
	for at := range rows {
		rows[at] = &row{f: out, at: at, log: &c.log}
		c.maskNote(rows[at])
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
		n, missing := r.number("n"), int(r.number("n_missing"))
		if r.gone() || missing == 0 {
			continue
		}
		if _, _, without := c.personsOf(r, r.text("variable")); c.few(missing) || c.few(without) {
			r.hideCounts(ruleMissing)
			c.coarseBeside(r, n)
		}
	}
}

// releaseSides hides a share with too few persons on one side; it reports whether
// something is left.
func (c *checker) releaseSides(r *row, variable string) bool {
	in, out, _ := c.personsOf(r, variable)
	if c.rules.Small(in) || c.rules.Small(out) {
		r.hideAll(ruleSides)
		return false
	}
	return true
}

// personsOf counts the persons on either side of a share of the used visits, and
// those with a visit on neither.
func (c *checker) personsOf(r *row, variable string) (in, out, without int) {
	if c.person == nil {
		c.person, c.persons = c.Visits.Numbered("subject_id")
	}
	var sides func(row int) (in, out bool)
	if r.f.Table.Name == schema.QualityName {
		grades := c.Visits.Labels("quality")
		sides = func(row int) (bool, bool) {
			grade := grades.At(row)
			return grade == variable, grade != variable && grade != ""
		}
	} else {
		sides = departed(c.Visits, variable)
	}
	const isIn, isOut, isNeither = 1, 2, 4
	seen := make([]uint8, c.persons)
	statuses := c.Visits.Labels("status")
	for row, person := range c.person {
		if statuses.At(row) != "used" {
			continue
		}
		switch yes, no := sides(row); {
		case yes:
			seen[person] |= isIn
		case no:
			seen[person] |= isOut
		default:
			seen[person] |= isNeither
		}
	}
	for _, s := range seen {
		in += int(s & isIn)
		out += int(s & isOut / isOut)
		without += int(s & isNeither / isNeither)
	}
	return in, out, without
}

// departed tells whether a visit departed in what the variable names, or did not;
// neither where nothing was answered.
func departed(visits *schema.Frame, variable string) func(row int) (in, out bool) {
	const no, yes = 1, 2
	answers := make([]uint8, visits.N)
	for _, column := range visits.Table.Columns {
		name, judged := strings.CutPrefix(column.Name, schema.DepartedPrefix)
		if !judged || variable != schema.AnyDeparture && name != variable {
			continue
		}
		for row, v := range visits.Numbers(column.Name) {
			switch v {
			case 0:
				answers[row] = max(answers[row], no)
			case 1:
				answers[row] = yes
			}
		}
	}
	return func(row int) (in, out bool) { return answers[row] == yes, answers[row] == no }
}
