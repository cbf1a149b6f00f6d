package release

import (
	"math"
	"slices"

	"tonocohort/schema"
)

// The numbers that a table of models tells (complete cases, those who lack a
// column, events) are about the same people as every other number of the set. The
// layer takes what the other tables publish of whole sets as given and lets the
// models tell one number after another, the first model first, unless with it the
// number of a group of few would follow: of any group that is named, of what one
// leaves of another or of what two have in common.

// tellModels decides on the numbers of the models.
func (c *checker) tellModels(tables []*schema.Frame) {
	var claims []sought
	for _, f := range tables {
		for row := range f.N {
			if s := c.models[modelKey(f, row)]; s != nil && !s.counts {
				claims = append(claims, sought{claim{modelKey(f, row), claimPeople}, func() []bool { return s.rows }})
			}
		}
	}
	for _, f := range tables {
		for row := range f.N {
			key := modelKey(f, row)
			s := c.models[key]
			if s == nil || s.counts || f.Missing(row, "estimate") {
				continue
			}
			switch f.TextAt(row, "statistic") {
			case "events":
				claims = append(claims, sought{claim{key, claimEvents}, func() []bool { return c.eventsOf(s) }})
			case "missing":
				term := f.TextAt(row, "term")
				claims = append(claims, sought{claim{key, term}, func() []bool { return c.lacking(s, term) }})
			}
		}
	}
	for k := range c.publishedCrowds(claims...).refused() {
		s := c.models[k.model]
		switch k.what {
		case claimPeople:
			s.counts = true
		case claimEvents:
			s.noEvents = true
		default:
			s.noMissing[k.what] = true
		}
	}
}

// eventsOf are the people of a model with its event, nil where they are not known.
func (c *checker) eventsOf(s *sampled) []bool {
	v, ok := c.variable(s.outcome)
	if !ok {
		return nil
	}
	if !v.numeric {
		label, ok := c.labels(s.outcome)
		if !ok {
			return nil
		}
		return where(s.rows, func(i int) bool { return label(i) == s.model.Event })
	}
	bound := math.NaN()
	if at, declared := c.Settings.Analysis.Threshold[s.outcome]; declared {
		bound = at
	}
	if s.model.Threshold != nil {
		bound = *s.model.Threshold
	}
	cells := c.numbers(v)
	return where(s.rows, func(i int) bool { return cells[c.People.Rows[i]] >= bound })
}

// lacking are those of a model's set who lack a column of it.
func (c *checker) lacking(s *sampled, column string) []bool {
	v, ok := c.variable(column)
	if !ok {
		return nil
	}
	label, levelled := c.labels(column)
	asked := slices.Contains(columnsOf(s.model), column)
	return where(s.among, func(i int) bool {
		return !v.present.at(i) || asked && !v.numeric && levelled && label(i) == unknownAnswer
	})
}

func where(base []bool, holds func(i int) bool) []bool {
	out := make([]bool, len(base))
	for i, in := range base {
		out[i] = in && holds(i)
	}
	return out
}
