package release

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats/disclose"
)

// A table that no layer knows, as of change between visits, is taken as it
// stands: its numbers of people by stratum, where they add up, and by set.

// otherTables protects the tables that hold strata of people of their own.
func (c *checker) otherTables() error {
	for _, f := range c.Tables {
		if c.known(f) {
			continue
		}
		for _, b := range c.blocks(f) {
			for _, set := range b.sets {
				for _, k := range []kindOfCount{
					{b.n, c.rules.Small, state{everything, ruleMinimum}, state{additive, ruleComplement}},
					{b.missing, c.few, state{counts, ruleMissing}, state{counts, ruleMissing}},
				} {
					if err := c.protectBlock(b, set, k); err != nil {
						return err
					}
				}
			}
		}
		c.protectTransitions(f)
		if f.Table.Name != agreementTable {
			c.nearNumbers(f)
		}
	}
	c.hiddenReferences()
	return nil
}

// transition is a row of a table of change by the visits that it lies between.
type transition struct {
	place string
	n     int
}

// protectTransitions hides further transitions between visits where those that
// are hidden would follow from the pairs of all visits less those that are shown.
func (c *checker) protectTransitions(f *schema.Frame) {
	if !f.Has("from_visit") || !f.Has("to_visit") {
		return
	}
	groups := map[string][]transition{}
	var order []string
	seen := map[string]bool{}
	for row := range f.N {
		if f.TextAt(row, "from_visit") == everyLevel || f.Missing(row, "n") {
			continue
		}
		at := f.TextAt(row, "set") + "\x00" + strings.Join(labelsOf(f, row, c.strataOf(f)), "\x1f")
		place := c.blockKey(f, row) + "\x00" + at
		if seen[place] {
			continue
		}
		seen[place] = true
		key := f.TextAt(row, "variable") + "\x00" + at
		if groups[key] == nil {
			order = append(order, key)
		}
		groups[key] = append(groups[key], transition{place, int(f.Number(row, "n"))})
	}
	for _, key := range order {
		var shown []transition
		hidden, people := 0, 0
		for _, t := range groups[key] {
			switch {
			case c.rules.Small(t.n) || c.other[t.place].hides >= additive:
				hidden++
				people += t.n
			default:
				shown = append(shown, t)
			}
		}
		slices.SortStableFunc(shown, func(a, b transition) int { return a.n - b.n })
		for hidden > 0 && (hidden == 1 || people < c.rules.MinCell) && len(shown) > 0 {
			c.other[shown[0].place] = state{everything, ruleComplement}
			hidden++
			people += shown[0].n
			shown = shown[1:]
		}
	}
}

// kindOfCount is what is added up over a block, and what becomes of a row whose
// count is small and of one that protects it.
type kindOfCount struct {
	n                map[string]map[string]int
	small            func(int) bool
	primary, partner state
}

// known reports a table that the layers above have dealt with, or that has no
// numbers of people.
func (c *checker) known(f *schema.Frame) bool {
	return slices.Contains([]string{flowTable, summaryTable, characteristics, comparisonTable}, f.Table.Name) ||
		f.Has("model") || !f.Has("set") || !f.Has("variable") || !f.Has("statistic") || !f.Has("n")
}

// block is the part of a table that adds up over strata and sets: one variable,
// one level of whatever else tells its rows apart.
type block struct {
	key        string
	strata     []string
	sets       []string
	n, missing map[string]map[string]int // by set, by labels
	labels     [][]string                // that occur, in their order
}

// blocks cuts a table into what adds up.
func (c *checker) blocks(f *schema.Frame) []*block {
	var list []*block
	index := map[string]*block{}
	for row := range f.N {
		key := c.blockKey(f, row)
		b := index[key]
		if b == nil {
			b = &block{key: key, strata: c.strataOf(f), n: map[string]map[string]int{}, missing: map[string]map[string]int{}}
			index[key] = b
			list = append(list, b)
		}
		set := f.TextAt(row, "set")
		if b.n[set] == nil {
			b.n[set], b.missing[set] = map[string]int{}, map[string]int{}
			b.sets = append(b.sets, set)
		}
		labels := labelsOf(f, row, b.strata)
		at := strings.Join(labels, "\x1f")
		if _, seen := b.n[set][at]; !seen && !f.Missing(row, "n") {
			b.n[set][at] = int(f.Number(row, "n"))
			if f.Has("n_missing") && !f.Missing(row, "n_missing") {
				b.missing[set][at] = int(f.Number(row, "n_missing"))
			}
			if !slices.ContainsFunc(b.labels, func(l []string) bool { return slices.Equal(l, labels) }) {
				b.labels = append(b.labels, labels)
			}
		}
	}
	return list
}

func (c *checker) strataOf(f *schema.Frame) []string {
	var strata []string
	for _, family := range c.layout.families {
		if f.Has(family.name) {
			strata = append(strata, family.name)
		}
	}
	return strata
}

func labelsOf(f *schema.Frame, row int, strata []string) []string {
	labels := make([]string, len(strata))
	for i, name := range strata {
		labels[i] = f.TextAt(row, name)
	}
	return labels
}

// blockKey joins what tells the block of a row from others.
func (c *checker) blockKey(f *schema.Frame, row int) string {
	key := f.Table.Name
	strata := c.strataOf(f)
	for _, column := range f.Table.Columns {
		if column.Numeric() || column.Kind == schema.Wave || slices.Contains(strata, column.Name) ||
			slices.Contains([]string{"set", "statistic", "method", "unit", "note", schema.Suppressed}, column.Name) {
			continue
		}
		key += "\x00" + f.TextAt(row, column.Name)
	}
	return key
}

// protectBlock protects the strata of one set, and what it leaves of everyone.
// Where the numbers do not add up nothing can be subtracted, and each row is
// judged by itself.
func (c *checker) protectBlock(b *block, set string, k kindOfCount) error {
	everyone := k.n[c.People.Sets[0]]
	within := set != c.People.Sets[0] && !maps.Equal(everyone, k.n[set])
	t := disclose.Table{Dimensions: len(b.strata) + 1}
	classes := make([]map[string]int, len(b.strata))
	for i := range classes {
		classes[i] = map[string]int{}
	}
	for _, labels := range b.labels {
		if slices.Contains(labels, everyLevel) {
			continue
		}
		at := make([]int, len(labels)+1)
		for i, label := range labels {
			if _, known := classes[i][label]; !known {
				classes[i][label] = len(classes[i])
			}
			at[i] = classes[i][label]
		}
		key := strings.Join(labels, "\x1f")
		inside := k.n[set][key]
		at[len(labels)] = 1
		t.Atoms = append(t.Atoms, disclose.Atom{At: at, Value: inside, Capacity: disclose.Unbounded})
		if rest := everyone[key] - inside; within {
			if rest < 0 {
				return nil // no set within the other
			}
			at = slices.Clone(at)
			at[len(labels)] = 0
			t.Atoms = append(t.Atoms, disclose.Atom{At: at, Value: rest, Capacity: disclose.Unbounded})
		}
	}
	places, ok := c.blockDomains(&t, b, set, k, classes, within)
	if !ok {
		return nil
	}
	p, err := c.alike(t)
	if err != nil {
		return err
	}
	for i, place := range places {
		if place == "" || !p.Hidden[i] {
			continue
		}
		s := k.partner
		if t.Domains[i].Need > 0 {
			s = k.primary
		}
		if s.hides > c.other[place].hides {
			c.other[place] = s
		}
	}
	return nil
}

// alike protects a table, and one with the same numbers in the same way: the
// variables of a table of change mostly have the same people.
func (c *checker) alike(t disclose.Table) (disclose.Protection, error) {
	key := fmt.Sprint(t)
	if p, known := c.blocksDone[key]; known {
		return p, nil
	}
	p, _, err := protect(t)
	if err == nil {
		c.blocksDone[key] = p
	}
	return p, err
}

// blockDomains adds the published numbers of a set, of everyone, and of those
// between; ok is false where the margins are not the sums of the strata.
func (c *checker) blockDomains(t *disclose.Table, b *block, set string, k kindOfCount, classes []map[string]int, within bool) (places []string, ok bool) {
	sensitive := false
	for _, labels := range b.labels {
		narrow := make([][]int, len(labels)+1)
		for i, label := range labels {
			if label != everyLevel {
				narrow[i] = []int{classes[i][label]}
			}
		}
		key := strings.Join(labels, "\x1f")
		add := func(name string, in []int, published bool) bool {
			d := disclose.Domain{Classes: slices.Clone(narrow), Hidden: !published}
			d.Classes[len(labels)] = in
			n := 0
			for _, a := range t.Atoms {
				if holds(d.Classes, a.At) {
					n += a.Value
				}
			}
			place := ""
			if published {
				given, stands := k.n[name][key]
				if !stands {
					d.Hidden = true
				} else if given != n {
					return false
				}
				place = b.key + "\x00" + name + "\x00" + key
				d.Hidden = d.Hidden || c.other[place].hides >= k.partner.hides
			}
			switch {
			case k.small(n):
				d.Need = c.rules.MinCell
				sensitive = true
			case published && k.primary.hides == everything:
				d.Floor = c.rules.MinCell
			}
			d.Cost = float64(n + 1)
			t.Domains = append(t.Domains, d)
			places = append(places, place)
			return true
		}
		if !add(set, []int{1}, true) {
			return nil, false
		}
		if within && (!add(c.People.Sets[0], nil, true) || !add("", []int{0}, false)) {
			return nil, false
		}
	}
	return places, sensitive
}

func holds(classes [][]int, at []int) bool {
	for d, class := range at {
		if classes[d] != nil && !slices.Contains(classes[d], class) {
			return false
		}
	}
	return true
}

// otherState is what was decided on a row of such a table.
func (c *checker) otherState(f *schema.Frame, row int) state {
	if len(c.other) == 0 || c.known(f) {
		return state{}
	}
	return c.other[c.blockKey(f, row)+"\x00"+f.TextAt(row, "set")+"\x00"+strings.Join(labelsOf(f, row, c.strataOf(f)), "\x1f")]
}
