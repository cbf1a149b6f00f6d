package release

import (
	"encoding/binary"
	"hash/fnv"
	"maps"
	"math"
	"slices"

	"tonocohort/stats/disclose"
)

// variable is a column of the person-level table that some table describes.
type variable struct {
	name    string
	known   bool  // there is such a column
	numeric bool  // it holds numbers
	present flags // by person
	counted []int // by atom: rows with a value
	absent  int   // rows without
}

// flags say yes or no of every person; nil says yes of all.
type flags []uint64

func (f flags) at(i int) bool { return f == nil || f[i>>6]>>(i&63)&1 == 1 }

// digest is the same for the same people.
func (f flags) digest() string {
	h := fnv.New128a()
	var b [8]byte
	for _, word := range f {
		binary.LittleEndian.PutUint64(b[:], word)
		h.Write(b[:])
	}
	return string(h.Sum(nil))
}

// has is the people with a value.
func (v *variable) has() *part { return &part{v.present.at, v.counted} }

func (c *checker) variable(name string) (variable, bool) {
	v, read := c.cache[name]
	if !read {
		v = c.readVariable(name)
		c.cache[name] = v
	}
	return v, v.known
}

// numbers are the values of a variable by row; they are not kept.
func (c *checker) numbers(v variable) []float64 { return c.Visits.Numbers(v.name) }

func (c *checker) readVariable(name string) variable {
	v := variable{name: name, known: true, counted: make([]int, len(c.layout.at))}
	switch {
	case name == ageBand && c.Visits.Has("age_years"):
		cells := c.Visits.Numbers("age_years")
		v.fill(c, func(row int32) bool { return !math.IsNaN(cells[row]) })
	case !c.Visits.Has(name):
		return variable{name: name}
	case c.Visits.Column(name).Numeric():
		v.numeric = true
		cells := c.numbers(v)
		v.fill(c, func(row int32) bool { return !math.IsNaN(cells[row]) })
	case c.Visits.Column(name).Textual():
		cells := c.Visits.Labels(name)
		v.fill(c, func(row int32) bool { return cells.At(int(row)) != "" })
	default:
		return variable{name: name}
	}
	return v
}

func (v *variable) fill(c *checker, has func(row int32) bool) {
	present := make(flags, (len(c.People.Rows)+63)/64)
	for i, row := range c.People.Rows {
		if has(row) {
			present[i>>6] |= 1 << (i & 63)
			v.counted[c.layout.atomOf[i]] += c.People.times(i)
		} else {
			v.absent += c.People.times(i)
		}
	}
	if v.absent > 0 {
		v.present = present
	}
}

// values is the layer of who has a value of each variable.
func (c *checker) values() error {
	var before []variable // with missing values
	for _, name := range slices.Sorted(maps.Keys(c.groups.used)) {
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
		d := disclose.Domain{Classes: c.groups.classes[i], Cost: c.cost(g, n), Hidden: c.state[stateKey("", g)].hides >= additive}
		switch {
		case rules[k] != "":
			d.Need = min(c.rules.MinCell, c.groups.sizes[i])
		case !d.Hidden:
			c.bounds(&d, g, n, at)
		}
		t.Domains = append(t.Domains, d)
	}
	for _, h := range hidden {
		d := disclose.Domain{Atoms: h.atoms, Hidden: true}
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
		d := disclose.Domain{Classes: c.groups.classes[i], Cost: c.cost(g, n), Floor: c.rules.MinCell, Hidden: c.stateOf(v.name, g).hides >= additive}
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
		d := disclose.Domain{Atoms: h.atoms, Hidden: true}
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
