package release

import (
	"slices"

	"tonocohort/schema"
)

// A column of which nearly every level has few people, as the place where someone
// lives, parts a study so finely that nothing of its strata can be shown. They are
// hidden all, which protects every one of them, rather than each by a search among
// thousands.

const (
	fineStrata = 60  // so many strata are few enough to be looked at one by one
	fineShare  = 0.8 // of them with few people
)

// tooFine lists the columns of strata that are not shown at all.
func (c *checker) tooFine() []string {
	var list []string
	for k, family := range c.layout.families {
		if !slices.Contains(c.Settings.Analysis.Strata, family.name) {
			continue
		}
		strata, small := 0, 0
		for i, g := range c.groups.list {
			if g.labels[k] == everyLevel || g.beside != "" {
				continue
			}
			strata++
			if c.groups.persons[i] < c.rules.MinCell {
				small++
			}
		}
		if strata > fineStrata && float64(small) > fineShare*float64(strata) {
			list = append(list, family.name)
		}
	}
	return list
}

// without is the input as it is where some columns do not tell people apart.
func (c *checker) without(columns []string) Input {
	in := c.Input
	p := &in.People
	p.Columns, p.Levels, p.Codes = nil, nil, nil
	for k, name := range c.People.Columns {
		if !slices.Contains(columns, name) {
			p.Columns, p.Levels, p.Codes = append(p.Columns, name), append(p.Levels, c.People.Levels[k]), append(p.Codes, c.People.Codes[k])
		}
	}
	return in
}

// ofFineStratum reports a row about a stratum of a column of which none is shown.
func (c *checker) ofFineStratum(f *schema.Frame, row int) bool {
	return slices.ContainsFunc(c.crowded, func(name string) bool {
		if !f.Has(name) || !f.Has("set") || !f.Has("variable") || f.Table.Name == comparisonTable {
			return false
		}
		label := f.TextAt(row, name)
		return label != "" && label != everyLevel
	})
}
