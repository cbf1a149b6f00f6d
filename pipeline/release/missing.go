package release

import (
	"slices"

	"tonocohort/stats/disclose"
)

// fewMissing hides the counts of those with and without a value where fewer than
// the smallest cell have none, or where the count of another variable differs by
// so few: then subtraction would count them.
func (c *checker) fewMissing(v variable, before []variable) error {
	used := c.groups.used[v.name]
	t := disclose.Table{Dimensions: len(c.layout.axes), Atoms: c.layout.counts(v.counted, c.layout.sizes)}
	apart := c.apart(v, before)
	sensitive := false
	for _, i := range used {
		g := c.groups.list[i]
		n, all := sum(c.groups.atoms[i], v.counted), c.groups.sizes[i]
		d := c.groups.domain(i)
		d.Cost, d.Floor, d.Hidden = c.cost(g, n), c.rules.MinCell, c.stateOf(v.name, g).hides >= additive
		if d.Hidden {
			d.Floor = 0
		}
		if c.few(all-n) || !d.Hidden && apart(i, g) {
			d.Need = min(c.rules.MinCell, all-d.Floor)
		}
		sensitive = sensitive || d.Need > 0
		t.Domains = append(t.Domains, d)
	}
	for _, h := range c.differences(used) {
		d := h.domain()
		n, all := sum(h.atoms, v.counted), sum(h.atoms, c.layout.sizes)
		if c.few(all - n) {
			d.Need = min(c.rules.MinCell, all)
			sensitive = true
		}
		t.Domains = append(t.Domains, d)
	}
	if !sensitive {
		return nil
	}
	p, weak, err := protect(t)
	if err != nil {
		return err
	}
	for k, i := range used {
		if t.Domains[k].Need > 0 || p.Hidden[k] && !t.Domains[k].Hidden {
			c.decide(v.name, c.groups.list[i], state{counts, ruleMissing})
		}
	}
	c.giveUp(v.name, used, weak, ruleMissing)
	return nil
}

// apart tells whether the number of values of v in a group lies within the
// smallest cell of that of a variable before it whose values v's are among, or
// that are among v's.
func (c *checker) apart(v variable, before []variable) func(i int, g group) bool {
	type pair struct {
		other     variable
		mine, its []int // by atom: rows with a value of one alone
	}
	pairs := make([]pair, len(before))
	for k, o := range before {
		p := pair{other: o, mine: make([]int, len(c.layout.at)), its: make([]int, len(c.layout.at))}
		for i, a := range c.layout.atomOf {
			switch {
			case v.present.at(i) && !o.present.at(i):
				p.mine[a] += c.People.times(i)
			case o.present.at(i) && !v.present.at(i):
				p.its[a] += c.People.times(i)
			}
		}
		pairs[k] = p
	}
	return func(i int, g group) bool {
		for _, p := range pairs {
			if !slices.Contains(c.groups.used[p.other.name], i) || c.stateOf(p.other.name, g).hides >= counts {
				continue
			}
			mine, its := sum(c.groups.atoms[i], p.mine), sum(c.groups.atoms[i], p.its)
			if (mine == 0 || its == 0) && c.few(mine+its) {
				return true
			}
		}
		return false
	}
}
