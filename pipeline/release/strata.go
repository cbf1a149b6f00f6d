package release

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/stats/disclose"
)

// hides says how much of a row is hidden.
type hides int

// From nothing to everything. What adds up are counts, means, SDs and shares:
// with them a hidden group could be worked out from its margins.
const (
	nothing hides = iota
	counts        // the numbers of people with and without a value
	additive
	everything
)

// state is what was decided on a group of people, and by which rule.
type state struct {
	hides hides
	rule  string
}

// Stable names of the rules.
const (
	ruleMinimum    = "minimum_cell"
	ruleComplement = "complementary"
	ruleNested     = "nested_sets"
	ruleBands      = "overlapping_bands"
	ruleUnknown    = "unknown_stratum"
	ruleMissing    = "few_missing"
	ruleSides      = "share_sides"
	rulePercentile = "extreme_percentile"
	ruleOrder      = "order_statistic"
	ruleExtreme    = "minimum_or_maximum"
	ruleDegrees    = "degrees_of_freedom"
	ruleLevel      = "small_level"
	ruleSaturated  = "saturated_model"
	ruleDifference = "difference_between_tables"
	ruleFlow       = "merged_stages"
	ruleAges       = "ages_of_few"
	ruleRounded    = "rounded_counts"
	ruleCoarse     = "coarse_beside_hidden_counts"
	ruleNote       = "counts_in_notes"
)

// stateKey is the place of a decision: for every variable where it is "".
func stateKey(variable string, g group) string { return variable + "\x00" + g.key() }

// decide raises what is hidden of a group; it never lowers it.
func (c *checker) decide(variable string, g group, s state) {
	key := stateKey(variable, g)
	if s.hides > c.state[key].hides {
		c.state[key] = s
	}
}

// stateOf is what was decided on a variable in a group.
func (c *checker) stateOf(variable string, g group) state {
	if len(c.state) == 0 {
		return state{}
	}
	g.id = g.key()
	s := c.state[stateKey("", g)]
	if own := c.state[stateKey(variable, g)]; own.hides > s.hides {
		return own
	}
	return s
}

// Weights of losses. The set that the plan names first is what its tables are
// for, and each further one is worth as much less: to stop a difference between
// two sets the later one loses a cell. Within a set the cells of all declared
// strata come before the margins over some of them; who is in the whole set, and
// by the column that Table 1 is split by, stands in every table. A stratum of
// people of whom one is not known, and a comparison with published values, can be
// lost most easily.
const (
	setWeight       = 8
	wholeWeight     = 60
	marginWeight    = 0.4
	unknownWeight   = 0.2
	publishedWeight = 0.1
)

func (c *checker) cost(g group, value int) float64 {
	cost := float64(value+1) * math.Pow(setWeight, float64(len(c.People.Sets)-1-c.rank[g.set]))
	cells, margins, split := 0, 0, true
	for i, label := range g.labels {
		name := c.layout.families[i].name
		declared := slices.Contains(c.Settings.Analysis.Strata, name)
		switch {
		case label == missingLevel:
			cost *= unknownWeight
		case label == everyLevel && declared:
			margins++
		case label != everyLevel:
			cells++
			split = split && name != ageBand
		}
	}
	switch {
	case g.beside != "":
		return publishedWeight * cost
	case margins > 0 && split && cells <= 1:
		return wholeWeight * cost
	case margins > 0:
		return marginWeight * cost
	}
	return cost
}

// people is the layer of who stands in which stratum of which set.
func (c *checker) people() error {
	hidden := c.differences(c.groups.all())
	var t disclose.Table
	build := func(at tier) disclose.Table {
		t = c.peopleTable(hidden, at)
		return t
	}
	c.least = c.incomplete()
	p, weak, at, err := c.protectByTier(tierPercentiles, c.groups.all(), build)
	if len(weak) > 0 {
		// Too few people have every value: each variable is then protected by itself.
		c.least = nil
		p, weak, at, err = c.protectByTier(tierPercentiles, c.groups.all(), build)
	}
	if err != nil {
		return err
	}
	if len(weak) > 0 {
		return fmt.Errorf("%d groups cannot be protected", len(weak))
	}
	c.tier = at
	for i, g := range c.groups.list {
		if t.Domains[i].Need > 0 {
			c.decide("", g, state{everything, ruleMinimum})
		}
	}
	for k, i := range p.Added {
		if i < len(c.groups.list) {
			c.decide("", c.groups.list[i], state{additive, c.ruleFor(p.For[k], c.groups.all(), hidden)})
		}
	}
	return nil
}

func (c *checker) peopleTable(hidden []difference, at tier) disclose.Table {
	t := disclose.Table{Dimensions: len(c.layout.axes), Atoms: c.layout.counts(c.layout.sizes, nil)}
	for a := range c.least {
		t.Atoms[a].Least = c.least[a]
	}
	for i, g := range c.groups.list {
		d := c.groups.domain(i)
		d.Cost = c.cost(g, c.groups.sizes[i])
		small := c.rules.Small(c.groups.persons[i]) && len(c.groups.atoms[i]) > 0
		switch {
		case small:
			d.Need = c.rules.MinCell
		default:
			c.bounds(&d, g, c.groups.sizes[i], at)
		}
		t.Domains = append(t.Domains, d)
	}
	for _, h := range hidden {
		d := h.domain()
		if c.rules.Small(c.headcount(h.atoms, nil)) {
			d.Need = c.rules.MinCell
		}
		t.Domains = append(t.Domains, d)
	}
	return t
}

// ruleFor names why a group was hidden for another: of is the place of the other
// among the groups of a table and the differences behind them.
func (c *checker) ruleFor(of int, list []int, hidden []difference) string {
	switch {
	case of >= len(list):
		return hidden[of-len(list)].rule
	case slices.Contains(c.groups.list[list[of]].labels, missingLevel):
		return ruleUnknown
	}
	return ruleComplement
}

func (g *groups) all() []int {
	all := make([]int, len(g.list))
	for i := range all {
		all[i] = i
	}
	return all
}

// difference is a group that no table shows and that subtraction would show.
type difference struct {
	labels  []string // of the group that it is taken from
	set     int
	atoms   []int
	classes [][]int // that say it; nil where they cannot
	rule    string
}

// domain is a difference in a table that is to be protected.
func (d difference) domain() disclose.Domain {
	if d.classes != nil {
		return disclose.Domain{Classes: d.classes, Hidden: true}
	}
	return disclose.Domain{Atoms: d.atoms, Hidden: true}
}

// differences lists what subtraction would give beside the published groups: what
// a set leaves of another that it lies in, stratum by stratum; what any group
// leaves of any other, where that is few (those of 30 to 39 in a healthy set lie
// among those of 18 to 39 in a set of people over 30); and the pieces of age
// between the bounds of different age bands.
func (c *checker) differences(of []int) []difference {
	var list []difference
	seen := map[string]bool{}
	add := func(g group, atoms []int, classes [][]int, rule string) {
		key := fmt.Sprint(atoms)
		if len(atoms) > 0 && !seen[key] {
			seen[key] = true
			list = append(list, difference{g.labels, g.set, atoms, classes, rule})
		}
	}
	for _, i := range of {
		seen[fmt.Sprint(c.groups.atoms[i])] = true
	}
	order := slices.Clone(of)
	slices.SortStableFunc(order, func(a, b int) int { return c.groups.sizes[b] - c.groups.sizes[a] })
	for k, outer := range order {
		for _, inner := range order[k+1:] {
			few := c.groups.sizes[outer]-c.groups.sizes[inner] < c.rules.MinCell
			same := c.groups.list[outer].alike(c.groups.list[inner])
			if !few && !same {
				continue
			}
			if rest, ok := c.layout.rest(c.groups.atoms[outer], c.groups.atoms[inner]); ok {
				add(c.groups.list[outer], rest, nil, ruleNested)
			}
		}
	}
	cut := c.layout.cutPieces()
	done := map[string]bool{}
	for _, i := range of {
		g := c.groups.list[i]
		stratum := c.layout.ofAnyAge(g)
		if g.beside == "" || len(cut) == 0 || done[stratum.key()] {
			continue
		}
		done[stratum.key()] = true
		classes, ok := c.layout.classes(stratum)
		if !ok {
			continue
		}
		for _, piece := range cut {
			own := slices.Clone(classes)
			own[c.layout.ageAxis] = []int{piece}
			add(g, c.layout.within(own), own, ruleBands)
		}
	}
	return list
}

// rest returns the atoms that one group leaves of another, and whether all
// people of the one are in the other.
func (l *layout) rest(outer, inner []int) (atoms []int, inside bool) {
	k := 0
	for _, a := range outer {
		for k < len(inner) && inner[k] < a {
			if l.sizes[inner[k]] > 0 {
				return nil, false
			}
			k++
		}
		if k < len(inner) && inner[k] == a {
			k++
			continue
		}
		atoms = append(atoms, a)
	}
	for ; k < len(inner); k++ {
		if l.sizes[inner[k]] > 0 {
			return nil, false
		}
	}
	return atoms, true
}

// cutPieces lists the pieces of age that subtraction would show: those that lie
// outside the ages of every published set, and all where ages are cut in several ways.
func (l *layout) cutPieces() []int {
	if l.ageAxis < 0 {
		return nil
	}
	ways := make([]int, l.axes[l.ageAxis].classes) // by piece: in how many ranges it lies
	for _, pieces := range l.spans {
		for _, piece := range pieces {
			ways[piece]++
		}
	}
	banded := l.bands != nil || slices.ContainsFunc(l.families, func(f family) bool { return f.axis == l.ageAxis })
	if !banded && slices.Max(ways) <= 1 {
		return slices.DeleteFunc(numbersTo(len(ways)), func(piece int) bool { return ways[piece] > 0 })
	}
	return numbersTo(len(ways))
}

func numbersTo(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// ofAnyAge is the stratum of a group whatever the age.
func (l *layout) ofAnyAge(g group) group {
	labels := slices.Clone(g.labels)
	for k, f := range l.families {
		if f.axis == l.ageAxis {
			labels[k] = everyLevel
		}
	}
	return group{set: g.set, labels: labels}
}

// alike reports the same stratum of two sets.
func (g group) alike(o group) bool { return g.beside == o.beside && slices.Equal(g.labels, o.labels) }
