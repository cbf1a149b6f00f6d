package release

import (
	"maps"
	"slices"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats/disclose"
)

// characteristic is a column of levels that a table counts.
type characteristic struct {
	name   string
	levels []string // that occur, (missing) last where some have none
	code   []int32  // by person
	counts [][]int  // by level, by atom: people
	used   []int    // groups in which it is counted
	common int      // the most frequent level: what the others leave of the whole
}

// categories is the layer of the levels of characteristics.
func (c *checker) categories() error {
	used := map[string][]int{}
	for _, f := range c.Tables {
		if f.Table.Name == flowTable || !f.Has("statistic") {
			continue
		}
		for row := range f.N {
			name := f.TextAt(row, "variable")
			if _, level := levelOf(f.TextAt(row, "statistic")); !level {
				continue
			}
			g, ok := c.group(f, row)
			if !ok {
				continue
			}
			// In a stratum by the column itself the levels tell nothing.
			if i, known := c.groups.index[g.key()]; known && !c.splits(g, name) && !slices.Contains(used[name], i) {
				used[name] = append(used[name], i)
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(used)) {
		x, ok := c.characteristic(name, used[name])
		if !ok {
			continue
		}
		if err := c.countLevels(x); err != nil {
			return err
		}
	}
	return nil
}

// splits reports a stratum of one level of a column.
func (c *checker) splits(g group, column string) bool {
	for i, label := range g.labels {
		if c.layout.families[i].name == column && label != everyLevel {
			return true
		}
	}
	return false
}

// levelOf reads the level that a count or a share is of.
func levelOf(statistic string) (level string, ok bool) {
	if level, ok = strings.CutPrefix(statistic, countPrefix); ok {
		return level, true
	}
	return strings.CutPrefix(statistic, sharePrefix)
}

// Prefixes of the statistics of a level, as package tabulate writes them.
const (
	countPrefix = "count_"
	sharePrefix = "proportion_"
)

func (c *checker) characteristic(name string, used []int) (characteristic, bool) {
	label, ok := c.labels(name)
	if !ok {
		return characteristic{}, false
	}
	x := characteristic{name: name, used: used, code: make([]int32, len(c.People.Rows))}
	var found []string // in the order in which they first stand
	number := map[string]int32{}
	last, lastCode := "", int32(-1)
	for i := range x.code {
		if text := label(i); lastCode < 0 || text != last {
			code, known := number[text]
			if !known {
				code = int32(len(found))
				number[text] = code
				found = append(found, text)
			}
			last, lastCode = text, code
		}
		x.code[i] = lastCode
	}
	for _, text := range slices.Sorted(slices.Values(found)) {
		if text != "" && text != missingLevel {
			x.levels = append(x.levels, text)
		}
	}
	if slices.Contains(found, "") || slices.Contains(found, missingLevel) {
		x.levels = append(x.levels, missingLevel)
	}
	place := make([]int32, len(found))
	for i, text := range found {
		if text == "" {
			text = missingLevel
		}
		place[i] = int32(slices.Index(x.levels, text))
	}
	x.counts = make([][]int, len(x.levels))
	for level := range x.counts {
		x.counts[level] = make([]int, len(c.layout.at))
	}
	often := make([]int, len(x.levels))
	for i, code := range x.code {
		code = place[code]
		x.code[i] = code
		x.counts[code][c.layout.atomOf[i]] += c.People.times(i)
		often[code]++
		if often[code] > often[x.common] {
			x.common = int(code)
		}
	}
	return x, true
}

// labels returns what tells the level of a person in a column, "" where missing.
func (c *checker) labels(name string) (label func(i int) string, ok bool) {
	rows := c.People.Rows
	switch {
	case slices.Contains(c.People.Columns, name):
		k := slices.Index(c.People.Columns, name)
		levels, codes := slices.Clone(c.People.Levels[k]), c.People.Codes[k]
		for i := range levels {
			if levels[i] == missingLevel {
				levels[i] = ""
			}
		}
		return func(i int) string { return levels[codes[i]] }, true
	case !c.Visits.Has(name):
		return nil, false
	case c.Visits.Column(name).Kind == schema.Boolean:
		cells := c.Visits.Numbers(name)
		return func(i int) string {
			switch cells[rows[i]] {
			case 0:
				return "no"
			case 1:
				return "yes"
			}
			return ""
		}, true
	case c.Visits.Column(name).Textual():
		cells := c.Visits.Labels(name)
		return func(i int) string { return cells.At(int(rows[i])) }, true
	}
	return nil, false
}

// commonWeight makes the most frequent level the first to be hidden for
// another: a reader loses least, since it is about what the others leave.
const (
	commonWeight = 1
	levelWeight  = 10
)

// countLevels hides the levels that too few have, and others so that these
// cannot be worked out from the number of people in the group.
func (c *checker) countLevels(x characteristic) error {
	atoms, axes, find := c.byLevel(x)
	t := disclose.Table{Dimensions: len(axes) + 1}
	type place struct{ group, level int }
	var places []place
	project := func(classes [][]int, level []int) [][]int {
		narrow := make([][]int, len(axes)+1)
		for d, a := range axes {
			narrow[d] = classes[a]
		}
		narrow[len(axes)] = level
		return narrow
	}
	for _, i := range x.used {
		g := c.groups.list[i]
		base := c.stateOf("", g)
		t.Domains = append(t.Domains, disclose.Domain{Classes: project(c.groups.classes[i], nil), Hidden: base.hides >= additive,
			Floor: floorOf(base, c.rules.MinCell), Cost: 1e6 * c.cost(g, c.groups.sizes[i])})
		places = append(places, place{i, -1})
		for level := range x.levels {
			d := c.levelDomain(x, i, level)
			d.Classes = project(c.groups.classes[i], []int{level})
			t.Domains = append(t.Domains, d)
			places = append(places, place{i, level})
		}
	}
	for _, h := range c.differences(x.used) {
		for level := range x.levels {
			d := disclose.Domain{Hidden: true}
			for _, a := range h.atoms {
				if k, ok := find(a, level); ok && !slices.Contains(d.Atoms, k) {
					d.Atoms = append(d.Atoms, k)
				}
			}
			if len(d.Atoms) == 0 {
				continue
			}
			n := c.headcount(h.atoms, x.at(level))
			if c.smallLevel(x, level, n) && !c.ruledOut(x, h.set, level) {
				d.Need = min(c.rules.MinCell, sum(h.atoms, c.layout.sizes))
			}
			t.Domains = append(t.Domains, d)
		}
	}
	t.Atoms = atoms
	reasons := c.flowReasons(x)
	first := len(t.Domains)
	for _, reason := range reasons {
		d := disclose.Domain{Floor: c.rules.MinCell, Cost: levelWeight / 2}
		for k, a := range atoms {
			if slices.Contains(reason.levels, a.At[len(axes)]) {
				d.Atoms = append(d.Atoms, k)
			}
		}
		t.Domains = append(t.Domains, d)
	}
	p, _, err := protect(t)
	if err != nil {
		return err
	}
	for k, reason := range reasons {
		c.pooled[reason.text] = c.pooled[reason.text] || p.Hidden[first+k]
	}
	for k, at := range places {
		if !p.Hidden[k] || at.level < 0 {
			continue
		}
		g := c.groups.list[at.group]
		c.levels[levelKey(x.name, x.levels[at.level], g)] = true
		if x.levels[at.level] == missingLevel {
			c.decide(x.name, g, state{counts, ruleMissing})
		}
	}
	return nil
}

func floorOf(s state, minimum int) int {
	if s.hides == everything {
		return 0
	}
	return minimum
}

// levelDomain is the count of one level in a published group.
func (c *checker) levelDomain(x characteristic, i, level int) disclose.Domain {
	g := c.groups.list[i]
	n := c.headcount(c.groups.atoms[i], x.at(level))
	d := disclose.Domain{Cost: c.cost(g, 0) * levelWeight}
	if level == x.common {
		d.Cost = c.cost(g, 0) * commonWeight
	}
	missing := x.levels[level] == missingLevel
	d.Hidden = c.stateOf("", g).hides >= additive || missing && c.stateOf(x.name, g).hides >= counts
	switch {
	case len(c.groups.atoms[i]) == 0:
	case c.smallLevel(x, level, n) && !c.ruledOut(x, g.set, level), c.overlap[levelKey(x.name, x.levels[level], g)]:
		d.Need = c.rules.MinCell
	case !d.Hidden && !missing && n > 0:
		d.Floor = c.rules.MinCell
	}
	return d
}

// at is the people of a level.
func (x characteristic) at(level int) *part {
	return &part{func(i int) bool { return int(x.code[i]) == level }, x.counts[level]}
}

// smallLevel judges a count of a level; that nobody's level is missing may be said.
func (c *checker) smallLevel(x characteristic, level, n int) bool {
	if x.levels[level] == missingLevel {
		return c.few(n)
	}
	return c.rules.Small(n)
}

// ruledOut reports a level that nobody of a set can have, because a rule of the
// set says so.
func (c *checker) ruledOut(x characteristic, set, level int) bool {
	named := false
	for _, rule := range c.Settings.Analysis.Sets[c.People.Sets[set]] {
		named = named || rule.Column == x.name
	}
	if !named {
		return false
	}
	return sum(c.layout.inSet(set), x.counts[level]) == 0
}
