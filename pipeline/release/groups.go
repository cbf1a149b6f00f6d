package release

import (
	"slices"

	"tonocohort/schema"
	"tonocohort/stats/disclose"
)

// groups are the strata of sets that some table publishes.
type groups struct {
	list    []group
	index   map[string]int
	classes [][][]int // by group, by axis; nil where they cannot say it
	atoms   [][]int   // by group
	sizes   []int     // by group: rows
	persons []int     // by group: people
	used    map[string][]int
}

// publishedGroups gathers the strata from the rows of the tables themselves, so
// that a table that was not foreseen takes part. Where nobody is as telling as a
// few, strata without anybody belong to the table too: a row that is absent
// would tell that nobody is there.
func (c *checker) publishedGroups() *groups {
	g := &groups{index: map[string]int{}, used: map[string][]int{}}
	for _, f := range c.Tables {
		if f.Table.Name == flowTable {
			continue
		}
		last := ""
		for row := range f.N {
			group, ok := c.group(f, row)
			if !ok {
				continue
			}
			variable := c.needing(f, row)
			key := variable + "\x00" + group.key()
			if key == last {
				continue
			}
			last = key
			c.use(g, variable, group)
			if n, ok := c.needs[variable]; ok { // those of them who have a value lie between
				c.use(g, n.variable, group)
			}
		}
		if f.Table.Name == summaryTable && c.rules.ZeroIsSmall {
			c.useGrid(g, f)
		}
	}
	return g
}

// use notes that a variable is published for a group of people.
func (c *checker) use(g *groups, variable string, of group) {
	key := of.key()
	i, known := g.index[key]
	if !known {
		atoms, ok := c.layout.atoms(of)
		if !ok {
			return // a label that no analysed person has
		}
		var classes [][]int
		if of.beside == "" {
			classes, _ = c.layout.classes(of)
		} else {
			classes = c.layout.besideClasses(of, atoms)
		}
		i = len(g.list)
		g.index[key] = i
		g.list = append(g.list, of)
		g.classes = append(g.classes, classes)
		g.atoms = append(g.atoms, atoms)
		g.sizes = append(g.sizes, sum(g.atoms[i], c.layout.sizes))
		g.persons = append(g.persons, c.headcount(g.atoms[i], nil))
	}
	if !slices.Contains(g.used[variable], i) {
		g.used[variable] = append(g.used[variable], i)
	}
}

// domain is a group in a table that is to be protected.
func (g *groups) domain(i int) disclose.Domain {
	if g.classes[i] == nil {
		return disclose.Domain{Atoms: g.atoms[i]}
	}
	return disclose.Domain{Classes: g.classes[i]}
}

// within lists the atoms of a group.
func (l *layout) within(classes [][]int) []int {
	var atoms []int
	for a, at := range l.at {
		inside := true
		for d, class := range at {
			inside = inside && (classes[d] == nil || slices.Contains(classes[d], class))
		}
		if inside {
			atoms = append(atoms, a)
		}
	}
	return atoms
}

// inSet lists the atoms of a set.
func (l *layout) inSet(set int) []int {
	classes := make([][]int, len(l.axes))
	if a := l.setAxis[set]; a >= 0 {
		classes[a] = []int{1}
	}
	return l.within(classes)
}

func sum(atoms, values []int) int {
	total := 0
	for _, a := range atoms {
		total += values[a]
	}
	return total
}

// part is some of the people: those of whom at is true.
type part struct {
	at func(i int) bool // of a person
	by []int            // by atom: how many of them, visits and not persons where these repeat
}

// headcount counts the people, not the visits, in some atoms; of those in a part
// where one is given.
func (c *checker) headcount(atoms []int, of *part) int {
	switch {
	case !c.People.Repeated && of == nil:
		return sum(atoms, c.layout.sizes)
	case !c.People.Repeated:
		return sum(atoms, of.by)
	}
	n := 0
	in := make([]bool, len(c.layout.at))
	for _, a := range atoms {
		in[a] = true
	}
	seen := map[int32]bool{}
	for i, a := range c.layout.atomOf {
		if !in[a] || of != nil && !of.at(i) || seen[c.People.Person[i]] {
			continue
		}
		seen[c.People.Person[i]] = true
		n += c.People.times(i)
	}
	return n
}

// lately is the row that was asked for last: those of a stratum stand together.
type lately struct {
	f       *schema.Frame
	columns []string // that tell groups apart; nil: the table has none
	texts   []string // of the row in them; nil: none was asked for
	group   group
	known   bool
}

// group tells which people a row of a table of statistics rests on.
func (c *checker) group(f *schema.Frame, row int) (group, bool) {
	last := &c.last
	if last.f != f {
		*last = lately{f: f, columns: c.groupColumns(f)}
	}
	if last.columns == nil {
		return group{}, false
	}
	same := last.texts != nil
	for i := 0; same && i < len(last.columns); i++ {
		same = f.TextAt(row, last.columns[i]) == last.texts[i]
	}
	if !same {
		last.texts = last.texts[:0]
		for _, name := range last.columns {
			last.texts = append(last.texts, f.TextAt(row, name))
		}
		last.group, last.known = c.findGroup(f, row)
		last.group.id = last.group.key()
	}
	return last.group, last.known
}

// groupColumns lists what tells the groups of a table apart.
func (c *checker) groupColumns(f *schema.Frame) []string {
	if !f.Has("set") || !f.Has("variable") || !f.Has("statistic") {
		return nil
	}
	columns := []string{"set"}
	if f.Table.Name == comparisonTable {
		return append(columns, "published", "variable", "sex", ageBand)
	}
	for _, family := range c.layout.families {
		columns = append(columns, family.name)
	}
	return slices.DeleteFunc(append(columns, c.crowded...), func(name string) bool { return !f.Has(name) || name == "variable" })
}

func (c *checker) findGroup(f *schema.Frame, row int) (group, bool) {
	set := slices.Index(c.People.Sets, f.TextAt(row, "set"))
	if set < 0 || c.ofFineStratum(f, row) {
		return group{}, false
	}
	if f.Table.Name == comparisonTable {
		return c.comparedGroup(f, row, set)
	}
	g := group{set: set, labels: make([]string, len(c.layout.families))}
	for i, family := range c.layout.families {
		g.labels[i] = everyLevel
		if f.Has(family.name) && family.name != "variable" {
			g.labels[i] = f.TextAt(row, family.name)
		}
		if g.labels[i] == "" {
			g.labels[i] = everyLevel
		}
	}
	return g, true
}

// useGrid adds every combination of the levels that occur to the summary of
// each variable, unless a rule of the set leaves the level out.
func (c *checker) useGrid(g *groups, f *schema.Frame) {
	var strata []int
	cells := 1
	for i, family := range c.layout.families {
		if f.Has(family.name) {
			strata = append(strata, i)
			cells *= len(family.labels) + 1
		}
	}
	if cells > mostEmpty {
		return
	}
	var variables []string
	for _, v := range f.Texts("variable") {
		if len(variables) == 0 || variables[len(variables)-1] != v {
			variables = append(variables, v)
		}
	}
	slices.Sort(variables)
	variables = slices.Compact(variables)
	for set := range c.People.Sets {
		for _, of := range c.grid(set, strata) {
			for _, v := range variables {
				c.use(g, v, of)
			}
		}
	}
}

// grid lists the strata of a set in the order of the tables: all before the
// levels, the first column the slowest.
func (c *checker) grid(set int, strata []int) []group {
	list := []group{{set: set, labels: c.noLabels()}}
	for _, i := range strata {
		var wider []group
		for _, g := range list {
			for _, label := range append([]string{everyLevel}, c.layout.families[i].labels...) {
				if label != everyLevel && c.leftOutByRule(set, c.layout.families[i], label) {
					continue
				}
				labels := slices.Clone(g.labels)
				labels[i] = label
				wider = append(wider, group{set: set, labels: labels})
			}
		}
		list = wider
	}
	return list
}

func (c *checker) noLabels() []string {
	labels := make([]string, len(c.layout.families))
	for i := range labels {
		labels[i] = everyLevel
	}
	return labels
}

// leftOutByRule reports that nobody of a set has a level and that its rules
// speak of the column: that nobody is there is then no news.
func (c *checker) leftOutByRule(set int, of family, label string) bool {
	column := of.name
	if column == ageBand {
		column = "age_years"
	}
	named := false
	for _, rule := range c.Settings.Analysis.Sets[c.People.Sets[set]] {
		named = named || rule.Column == column || rule.Column == of.name
	}
	if !named {
		return false
	}
	holds := of.holds[label]
	for _, a := range c.layout.inSet(set) {
		if slices.Contains(holds, c.layout.at[a][of.axis]) && c.layout.sizes[a] > 0 {
			return false
		}
	}
	return true
}
