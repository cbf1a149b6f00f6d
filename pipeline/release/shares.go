package release

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"tonocohort/schema"
	"tonocohort/schema/published"
	"tonocohort/stats/disclose"
)

// thresholdPrefix begins the name of a share of values at or above a threshold.
const thresholdPrefix = "prevalence_at_least_"

// Shares of the comparison, as package tabulate names them.
const (
	shareAtLeast = "share_at_least_"
	shareBelow   = "share_below_"
	shareUnder   = "share_below_published_2.5"
	shareOver    = "share_above_published_97.5"
)

// threshold is a limit beyond which tables publish a share.
type threshold struct{ variable, limit string }

// limited is what is known of one.
type limited struct {
	beyond   func(row int32) bool // of a row of the visits that has a value
	used     []int                // groups of which its share is published
	refused  map[int]bool         // those of them that must be hidden
	compared bool                 // beside published values alone
}

// thresholdOf returns the limit that a share is about; beyond is nil where it
// cannot be told.
func (c *checker) thresholdOf(f *schema.Frame, row int) (t threshold, beyond func(row int32) bool, ok bool) {
	statistic := f.TextAt(row, "statistic")
	t.variable = c.needing(f, row)
	text, at := strings.CutPrefix(statistic, thresholdPrefix)
	if f.Table.Name == comparisonTable {
		switch text, at = strings.CutPrefix(statistic, shareAtLeast); {
		case at:
		case statistic == shareUnder, statistic == shareOver:
			t.limit, beyond = c.beyondPublished(f, row, statistic == shareOver, t.variable)
			return t, beyond, true
		default:
			text, at = strings.CutPrefix(statistic, shareBelow)
		}
	}
	if !at {
		return threshold{}, nil, false
	}
	bound, err := strconv.ParseFloat(text, 64)
	v, known := c.variable(t.variable)
	t.limit = "at_least_" + text
	if err != nil || !known || !v.numeric {
		return t, nil, true
	}
	cells := c.lazyNumbers(v)
	return t, func(row int32) bool { return cells()[row] >= bound }, true
}

// beyondPublished is the limit of a published mean and SD, or of an equation.
func (c *checker) beyondPublished(f *schema.Frame, row int, over bool, variable string) (limit string, beyond func(row int32) bool) {
	value, bound := c.needs[variable].z, 1.959963984540054
	if set, err := c.source(f.TextAt(row, "published")); err == nil && set.Kind == published.Means {
		v, known := c.variable(variable)
		if !known || !v.numeric {
			return "", nil
		}
		cells := c.lazyNumbers(v)
		value, bound = func(row int32) float64 { return cells()[row] }, f.Number(row, "published_estimate")
	} else if !over {
		bound = -bound
	}
	text := strconv.FormatFloat(bound, 'g', -1, 64)
	switch {
	case value == nil:
		return "", nil
	case over:
		return "above_" + text, func(row int32) bool { return value(row) > bound }
	}
	return "below_" + text, func(row int32) bool { return value(row) < bound }
}

// thresholds is the layer of shares: whoever knows the share and the number of
// people knows how many are on either side.
func (c *checker) thresholds() error {
	all := map[threshold]*limited{}
	for _, f := range c.Tables {
		if f.Table.Name == flowTable || !f.Has("statistic") {
			continue
		}
		for row := range f.N {
			if !isShare(f.TextAt(row, "statistic")) {
				continue
			}
			g, ok := c.group(f, row)
			if !ok {
				continue
			}
			i, known := c.groups.index[g.key()]
			if !known {
				continue
			}
			t, beyond, ok := c.thresholdOf(f, row)
			if !ok {
				continue
			}
			l := all[t]
			if l == nil {
				l = &limited{beyond: beyond, refused: map[int]bool{}, compared: true}
				all[t] = l
			}
			l.compared = l.compared && f.Table.Name == comparisonTable
			if !slices.Contains(l.used, i) {
				l.used = append(l.used, i)
			}
		}
	}
	keys := slices.SortedFunc(maps.Keys(all), func(a, b threshold) int {
		return strings.Compare(a.variable+"\x00"+a.limit, b.variable+"\x00"+b.limit)
	})
	for _, key := range keys {
		if err := c.share(key, all[key]); err != nil {
			return err
		}
	}
	return c.fewBetween(keys, all)
}

// share hides the shares of one threshold in groups with too few on a side, and
// others so that these cannot be worked out.
func (c *checker) share(key threshold, l *limited) error {
	v, ok := c.variable(key.variable)
	if !ok || l.beyond == nil {
		for _, i := range l.used {
			c.shares[shareKey(key, c.groups.list[i])] = true
		}
		return nil
	}
	used := l.used
	hits, others := make([]int, len(c.layout.at)), slices.Clone(v.counted)
	above := part{func(i int) bool { return v.present.at(i) && l.beyond(c.People.Rows[i]) }, hits}
	below := part{func(i int) bool { return v.present.at(i) && !l.beyond(c.People.Rows[i]) }, others}
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
		d := c.groups.domain(i)
		d.Cost, d.Hidden = c.cost(g, n), c.stateOf(key.variable, g).hides >= additive
		if len(atoms) > 0 && n > 0 && (small(atoms) || l.refused[i]) {
			d.Need = min(c.rules.MinCell, n)
		}
		t.Domains = append(t.Domains, d)
	}
	for _, h := range c.differences(used) {
		d := h.domain()
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
			c.shares[shareKey(key, c.groups.list[i])] = true
		}
	}
	return nil
}

func shareKey(t threshold, g group) string { return t.limit + "\x00" + stateKey(t.variable, g) }
