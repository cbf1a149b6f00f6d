package release

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"tonocohort/stats/disclose"
)

// values is the layer of who has a value of each variable.
func (c *checker) values() error {
	var before []variable // with missing values
	names := slices.SortedFunc(maps.Keys(c.groups.used), func(a, b string) int {
		of := func(name string) int { // what stands beside published values is hidden first
			if _, needed := c.needs[name]; needed {
				return 1
			}
			return 0
		}
		return cmp.Or(of(a)-of(b), strings.Compare(a, b))
	})
	for _, name := range names {
		v, ok := c.variable(name)
		if !ok {
			continue
		}
		if err := c.fewValues(v); err != nil {
			return err
		}
		if v.absent == 0 {
			continue
		}
		if err := c.fewMissing(v, before); err != nil {
			return err
		}
		before = append(before, v)
	}
	return nil
}

// fewValues hides what rests on too few values, or on few persons' values among
// many, and protects it.
func (c *checker) fewValues(v variable) error {
	used := c.groups.used[v.name]
	rules := make([]string, len(used))
	sensitive := false
	var contributed []disclose.Contributions // by atom
	if v.numeric {
		contributed = c.contributions(v)
	}
	for k, i := range used {
		rules[k] = c.weakGroup(v, i, contributed)
		sensitive = sensitive || rules[k] != ""
	}
	if !sensitive {
		return nil
	}
	hidden := c.differences(used)
	p, weak, at, err := c.protectByTier(c.tier, used, func(at tier) disclose.Table { return c.valuesTable(v, used, rules, hidden, at) })
	if err != nil {
		return err
	}
	c.tiers[v.name] = at
	for k, i := range used {
		if rules[k] != "" {
			hide := everything
			if rules[k] != ruleMinimum {
				hide = additive
			}
			c.decide(v.name, c.groups.list[i], state{hide, rules[k]})
		}
	}
	for k, i := range p.Added {
		if i < len(used) {
			c.decide(v.name, c.groups.list[used[i]], state{additive, c.ruleFor(p.For[k], used, hidden)})
		}
	}
	c.giveUp(v.name, used, weak, ruleMinimum)
	return nil
}

// valuesTable is the table of those with a value, of whom there can be as many
// as there are people: a hidden number that could be anything from nobody to
// everybody is protected, however few they are. rules names by used group why
// it is sensitive.
func (c *checker) valuesTable(v variable, used []int, rules []string, hidden []difference, at tier) disclose.Table {
	t := disclose.Table{Dimensions: len(c.layout.axes), Atoms: c.layout.counts(v.counted, c.layout.sizes)}
	for k, i := range used {
		g := c.groups.list[i]
		n := sum(c.groups.atoms[i], v.counted)
		d := c.groups.domain(i)
		d.Cost, d.Hidden = c.cost(g, n), c.state[stateKey("", g)].hides >= additive
		switch {
		case rules[k] != "":
			d.Need = min(c.rules.MinCell, c.groups.sizes[i])
		case !d.Hidden:
			c.bounds(&d, g, n, at)
		}
		t.Domains = append(t.Domains, d)
	}
	for _, h := range hidden {
		d := h.domain()
		// Where everybody has a value the layer of people has seen to it.
		if v.absent > 0 && c.rules.Small(c.headcount(h.atoms, v.has())) && !c.settled(v, h.atoms) {
			d.Need = min(c.rules.MinCell, sum(h.atoms, c.layout.sizes))
		}
		t.Domains = append(t.Domains, d)
	}
	return t
}

// giveUp hides the whole group where its count cannot be protected enough.
func (c *checker) giveUp(variable string, used, weak []int, rule string) {
	for _, k := range weak {
		if k < len(used) {
			c.decide(variable, c.groups.list[used[k]], state{everything, rule})
		}
	}
}

// sparseShare is the share of people without a value from which on a variable is
// protected by itself.
const sparseShare = 0.2

func (c *checker) sparse(v variable) bool {
	return float64(v.absent) > sparseShare*float64(sum(c.everyAtom(), c.layout.sizes))
}

func (c *checker) everyAtom() []int {
	all := make([]int, len(c.layout.at))
	for a := range all {
		all[a] = a
	}
	return all
}

// incomplete counts, by atom, the people who lack a value of some variable that
// most have. The witnesses of the layer of people leave them where they are:
// whoever is moved has all of these values, so that what is protected there is
// protected for each of these variables.
func (c *checker) incomplete() []int {
	whole := make([]bool, len(c.People.Rows))
	for i := range whole {
		whole[i] = true
	}
	for name := range c.groups.used {
		v, ok := c.variable(name)
		if !ok || c.sparse(v) {
			continue
		}
		for i := range whole {
			whole[i] = whole[i] && v.present.at(i)
		}
	}
	least := make([]int, len(c.layout.at))
	for i, a := range c.layout.atomOf {
		if !whole[i] {
			least[a] += c.People.times(i)
		}
	}
	return least
}

// settled reports a group whose people are so few that the layer of people has
// seen to it for this variable too.
func (c *checker) settled(v variable, atoms []int) bool {
	return c.least != nil && !c.sparse(v) && c.rules.Small(c.headcount(atoms, nil))
}

// weakGroup names the rule by which the values of a group must be hidden. A
// group that is too small in itself is settled, unless some have no value.
func (c *checker) weakGroup(v variable, i int, contributed []disclose.Contributions) string {
	atoms := c.groups.atoms[i]
	if len(atoms) == 0 {
		return ""
	}
	if v.absent > 0 && c.rules.Small(c.headcount(atoms, v.has())) && !c.settled(v, atoms) {
		return ruleMinimum
	}
	if contributed == nil || c.rules.Small(c.groups.persons[i]) {
		return ""
	}
	all := c.rules.Contributions()
	for _, a := range atoms {
		all.Join(contributed[a])
	}
	return c.rules.DominatedBy(all)
}

// contributions gathers what the rules on contributions ask of the values, by atom.
func (c *checker) contributions(v variable) []disclose.Contributions {
	cells := c.numbers(v)
	out := make([]disclose.Contributions, len(c.layout.at))
	for a := range out {
		out[a] = c.rules.Contributions()
	}
	for i, a := range c.layout.atomOf {
		if v.present.at(i) {
			out[a].Add(cells[c.People.Rows[i]])
		}
	}
	return out
}
