package release

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"tonocohort/stats/disclose"
)

// thresholdPrefix begins the name of a share of values at or above a threshold.
const thresholdPrefix = "prevalence_at_least_"

// threshold is one share that a table publishes.
type threshold struct{ variable, statistic string }

// thresholds is the layer of shares: whoever knows the share and the number of
// people knows how many are on either side.
func (c *checker) thresholds() error {
	used := map[threshold][]int{}
	for _, f := range c.Tables {
		if f.Table.Name == flowTable || !f.Has("statistic") {
			continue
		}
		for row := range f.N {
			statistic := f.TextAt(row, "statistic")
			if !strings.HasPrefix(statistic, thresholdPrefix) {
				continue
			}
			g, ok := c.group(f, row)
			if !ok {
				continue
			}
			key := threshold{f.TextAt(row, "variable"), statistic}
			if i, known := c.groups.index[g.key()]; known && !slices.Contains(used[key], i) {
				used[key] = append(used[key], i)
			}
		}
	}
	keys := slices.SortedFunc(maps.Keys(used), func(a, b threshold) int {
		return strings.Compare(a.variable+"\x00"+a.statistic, b.variable+"\x00"+b.statistic)
	})
	for _, key := range keys {
		if err := c.share(key, used[key]); err != nil {
			return err
		}
	}
	return nil
}

// share hides the shares of one threshold in groups with too few on a side, and
// others so that these cannot be worked out.
func (c *checker) share(key threshold, used []int) error {
	v, ok := c.variable(key.variable)
	bound, err := strconv.ParseFloat(strings.TrimPrefix(key.statistic, thresholdPrefix), 64)
	if !ok || !v.numeric || err != nil {
		for _, i := range used {
			c.shares[shareKey(key.statistic, key.variable, c.groups.list[i])] = true
		}
		return nil
	}
	cells := c.numbers(v)
	hits, others := make([]int, len(c.layout.at)), slices.Clone(v.counted)
	above := part{func(i int) bool { return cells[c.People.Rows[i]] >= bound }, hits}
	below := part{func(i int) bool { return v.present.at(i) && !above.at(i) }, others}
	for i, a := range c.layout.atomOf {
		if above.at(i) {
			hits[a] += c.People.times(i)
			others[a] -= c.People.times(i)
		}
	}
	small := func(atoms []int) bool {
		return c.rules.Small(c.headcount(atoms, &above)) || c.rules.Small(c.headcount(atoms, &below))
	}
	t := disclose.Table{Dimensions: len(c.layout.axes), Atoms: c.layout.counts(hits, v.counted)}
	for _, i := range used {
		g := c.groups.list[i]
		atoms := c.groups.atoms[i]
		n := sum(atoms, v.counted)
		d := disclose.Domain{Classes: c.groups.classes[i], Cost: c.cost(g, n), Hidden: c.stateOf(key.variable, g).hides >= additive}
		if len(atoms) > 0 && n > 0 && small(atoms) {
			d.Need = min(c.rules.MinCell, n)
		}
		t.Domains = append(t.Domains, d)
	}
	for _, h := range c.differences(used) {
		d := disclose.Domain{Atoms: h.atoms, Hidden: true}
		if n := sum(h.atoms, v.counted); n > 0 && small(h.atoms) {
			d.Need = min(c.rules.MinCell, n)
		}
		t.Domains = append(t.Domains, d)
	}
	p, _, err := protect(t)
	if err != nil {
		return err
	}
	for k, i := range used {
		if p.Hidden[k] {
			c.shares[shareKey(key.statistic, key.variable, c.groups.list[i])] = true
		}
	}
	return nil
}

func shareKey(statistic, variable string, g group) string {
	return statistic + "\x00" + stateKey(variable, g)
}
