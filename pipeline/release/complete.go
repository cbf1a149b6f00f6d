package release

import (
	"slices"

	"tonocohort/schema"
)

// completed returns the summary with a row for every statistic of every stratum
// that can be, in the order of the strata: one that is absent would tell that
// nobody is there.
func (c *checker) completed(f *schema.Frame) *schema.Frame {
	var strata []int
	for i, family := range c.layout.families {
		if f.Has(family.name) {
			strata = append(strata, i)
		}
	}
	out := schema.NewFrame(f.Table, f.N)
	for from := 0; from < f.N; {
		to := from
		for to < f.N && sameBlock(f, from, to) {
			to++
		}
		c.completeBlock(out, f, from, to, strata)
		from = to
	}
	return out
}

func sameBlock(f *schema.Frame, a, b int) bool {
	return f.TextAt(a, "set") == f.TextAt(b, "set") && f.TextAt(a, "variable") == f.TextAt(b, "variable")
}

// completeBlock writes the rows of one variable in one set.
func (c *checker) completeBlock(out, f *schema.Frame, from, to int, strata []int) {
	rows := map[string][]int{}
	var template []int // the rows of the first stratum, one per statistic
	var seen []string
	for row := from; row < to; row++ {
		g, ok := c.group(f, row)
		if !ok { // which of too fine strata are not there would be told by those that are
			c.log.add(f, row, ruleMinimum, partAll)
			continue
		}
		rows[g.key()] = append(rows[g.key()], row)
		if s := f.TextAt(row, "statistic"); !slices.Contains(seen, s) {
			seen = append(seen, s)
			template = append(template, row)
		}
	}
	set := slices.Index(c.People.Sets, f.TextAt(from, "set"))
	if set < 0 || len(template) == 0 {
		return
	}
	for _, g := range c.grid(set, strata) {
		if list := rows[g.key()]; list != nil {
			for _, row := range list {
				out.CopyRow(out.AddRow(), f, row)
			}
			continue
		}
		i, known := c.groups.index[g.key()]
		if !known || len(c.groups.atoms[i]) == 0 {
			continue
		}
		for _, row := range template {
			empty := out.AddRow()
			for _, name := range []string{"set", "variable", "statistic", "method", "unit"} {
				out.SetText(empty, name, f.TextAt(row, name))
			}
			for _, k := range strata {
				out.SetText(empty, c.layout.families[k].name, g.labels[k])
			}
			out.SetNumber(empty, "n", 0)
		}
	}
}
