package release

import (
	"maps"
	"slices"
	"strings"

	"tonocohort/schema"
)

// overlaps is the layer of what sets and levels of different characteristics tell
// together: the treated, the smokers and the size of the set of those who are
// neither give how many are both. Within each stratum the levels are told one after
// another, the most important set first, then the reasons of the flow. One with
// which the number of a group of few would follow is hidden, and the layer of the
// levels protects it as it does a level of few.
func (c *checker) overlaps() error {
	if len(c.People.Sets) < 2 {
		return nil
	}
	for {
		tables := c.releasedNow(group.ofPlan)
		k := c.newKinds(tables).count(c.People)
		var levels []string
		reason := ""
		for _, x := range c.levelCrowds(k, tables) {
			refused := x.refused()
			for _, k := range x.wanted {
				switch {
				case !refused[k]:
				case k.what == claimLevel:
					levels = append(levels, k.model)
				case reason == "":
					reason, _, _ = strings.Cut(k.model, "\x00")
				}
			}
		}
		switch {
		case len(levels) > 0:
			for _, key := range levels {
				c.overlap[key], c.levels[key] = true, true
			}
			if err := c.categories(); err != nil {
				return err
			}
		case reason != "": // one at a time: another is shown with it, and fewer are left
			c.pooled[reason] = true
		default:
			return nil
		}
	}
}

// levelCrowds reads what the tables tell of each stratum, with the levels and the
// reasons wanted.
func (c *checker) levelCrowds(of *kinds, tables []*schema.Frame) []*crowds {
	strata := map[string]*crowds{}
	at := func(labels []string) *crowds {
		key := strings.Join(labels, "\x00")
		x, known := strata[key]
		if !known {
			x = c.newCrowds(of, c.inStratum(of, labels))
			x.levels = true
			strata[key] = x
		}
		return x
	}
	rank := map[claim]int{}
	eachRow(tables, func(f *schema.Frame, row int) {
		if f.Table.Name == flowTable {
			x := at(c.noLabels())
			before := len(x.wanted)
			x.readFlow(f, row)
			for _, k := range x.wanted[before:] {
				rank[k] = len(c.rank)
			}
			return
		}
		if g, ok := c.group(f, row); ok && g.ofPlan() {
			x := at(g.labels)
			before := len(x.wanted)
			x.readRow(f, row, g)
			for _, k := range x.wanted[before:] {
				rank[k] = c.rank[g.set]
			}
		}
	})
	var list []*crowds
	for _, key := range slices.Sorted(maps.Keys(strata)) {
		if x := strata[key]; len(x.wanted) > 0 {
			slices.SortStableFunc(x.wanted, func(a, b claim) int { return rank[a] - rank[b] })
			list = append(list, x)
		}
	}
	return list
}

// inStratum lists the kinds of people with some labels.
func (c *checker) inStratum(of *kinds, labels []string) []int32 {
	g := group{labels: labels}
	if g.whole() {
		return of.everybody()
	}
	classes, ok := c.layout.classes(g)
	if !ok {
		return nil // labels that no analysed person has
	}
	inside := make([]bool, len(c.layout.at))
	for _, a := range c.layout.within(classes) {
		inside[a] = true
	}
	var in []int32
	for kind, a := range of.fact(factAtom) {
		if inside[a] {
			in = append(in, int32(kind))
		}
	}
	return in
}

// reasonToLeave tells why the flow counts a person among those who leave at a set: the
// first rule that they fail; "" where they fail none. Nil where the set has no rule, or
// one about a column that the table does not have.
func (c *checker) reasonToLeave(set string) func(i int) string {
	var rules []func(i int) string
	for _, rule := range c.Settings.Analysis.Sets[set] {
		unmet := c.unmet(rule)
		if unmet == nil {
			return nil
		}
		rules = append(rules, unmet)
	}
	if rules == nil {
		return nil
	}
	return func(i int) string {
		for _, unmet := range rules {
			if why := unmet(i); why != "" {
				return why
			}
		}
		return ""
	}
}

// unmet tells why a person does not meet a rule, "" who does; nil where the table
// does not have the column.
func (c *checker) unmet(rule schema.Rule) func(i int) string {
	missing, failed := rule.Reasons()
	if len(rule.Levels) > 0 {
		label, ok := c.labels(rule.Column)
		if !ok {
			return nil
		}
		return func(i int) string {
			switch l := label(i); {
			case l == "":
				return missing
			case !slices.Contains(rule.Levels, l):
				return failed
			}
			return ""
		}
	}
	if !c.Visits.Has(rule.Column) || c.Visits.Column(rule.Column).Textual() {
		return nil
	}
	cells := c.Visits.Numbers(rule.Column)
	return func(i int) string {
		switch v := cells[c.People.Rows[i]]; {
		case v != v:
			return missing
		case !rule.Admits(v):
			return failed
		}
		return ""
	}
}
