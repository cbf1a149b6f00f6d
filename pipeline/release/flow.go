package release

import (
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats/disclose"
)

// loss is how many left a stage for one reason.
type loss struct {
	reason string
	n      int
	of     heads
}

// stage is a stage of the participant flow: in = out + what it lost.
type stage struct {
	unit, name string
	in, out    int
	lost       []loss
	hideIn     bool
	hideOut    bool
	merged     bool
}

const otherReasons = "other reasons"

// releaseFlow returns the participant flow with every count large enough. Stages
// that lose few are merged with their neighbours and small reasons with each
// other, so that what is shown still adds up exactly.
func (c *checker) releaseFlow(f *schema.Frame) *schema.Frame {
	out := schema.NewFrame(schema.Released(f.Table), f.N)
	for _, unit := range splitUnits(c.stagesOf(f)) {
		chains := dropRepeats(splitChains(unit))
		for _, chain := range chains {
			c.hideSets(chain)
			for _, s := range c.mergeStages(chain) {
				c.writeStage(out, s)
			}
		}
	}
	return out
}

func (c *checker) stagesOf(f *schema.Frame) []stage {
	var stages []stage
	last := math.NaN()
	for row := range f.N {
		if order := f.Number(row, "order"); order != last {
			last = order
			stages = append(stages, stage{unit: f.TextAt(row, "unit"), name: f.TextAt(row, "stage"),
				in: int(f.Number(row, "in")), out: int(f.Number(row, "out"))})
		}
		if n := int(f.Number(row, "n")); n > 0 {
			s := &stages[len(stages)-1]
			reason := f.TextAt(row, "reason")
			s.lost = append(s.lost, loss{reason, n, c.whose(s.unit, s.name, reason)})
		}
	}
	return stages
}

// splitUnits keeps together what counts the same things, in the order of their
// first stage.
func splitUnits(stages []stage) [][]stage {
	var units [][]stage
	for _, s := range stages {
		k := slices.IndexFunc(units, func(u []stage) bool { return u[0].unit == s.unit })
		if k < 0 {
			k = len(units)
			units = append(units, nil)
		}
		units[k] = append(units[k], s)
	}
	return units
}

const setPrefix = "set:"

// splitChains cuts the stages of a unit where one does not follow from the one
// before. Every analysis set is a branch of its own.
func splitChains(stages []stage) [][]stage {
	var chains [][]stage
	for i, s := range stages {
		if i == 0 || s.in != stages[i-1].out || strings.HasPrefix(s.name, setPrefix) {
			chains = append(chains, nil)
		}
		chains[len(chains)-1] = append(chains[len(chains)-1], s)
	}
	return chains
}

// dropRepeats takes out a stage that counts again what the stages of a chain
// before it have counted one by one.
func dropRepeats(chains [][]stage) [][]stage {
	var kept [][]stage
	for i, chain := range chains {
		if i > 0 && len(chain) > 1 && !strings.HasPrefix(chain[0].name, setPrefix) && counted(chains[0], chain[0]) {
			chain = chain[1:]
		}
		kept = append(kept, chain)
	}
	if len(kept) > 1 && len(kept[0]) > 0 && kept[0][len(kept[0])-1].out == kept[1][0].in && !strings.HasPrefix(kept[1][0].name, setPrefix) {
		kept = append([][]stage{append(kept[0], kept[1]...)}, kept[2:]...)
	}
	return kept
}

func counted(chain []stage, s stage) bool {
	return slices.ContainsFunc(chain, func(o stage) bool { return o.in == s.in }) && chain[len(chain)-1].out == s.out
}

// hideSets hides the size of an analysis set where the strata need it.
func (c *checker) hideSets(chain []stage) {
	for i := range chain {
		name, ok := strings.CutPrefix(chain[i].name, setPrefix)
		if !ok {
			continue
		}
		set := slices.Index(c.People.Sets, name)
		if set >= 0 && c.stateOf("", group{set: set, labels: c.noLabels()}).hides >= additive {
			chain[i].hideOut = true
		}
		if c.stateOf("", group{labels: c.noLabels()}).hides >= additive {
			chain[i].hideIn = true
		}
	}
}

// mergeStages merges stages until any two counts that are shown differ by
// nobody or by enough, from the end, which is what was analysed.
func (c *checker) mergeStages(chain []stage) []stage {
	var out []stage
	for i := len(chain) - 1; i >= 0; i-- {
		s := chain[i]
		for i > 0 && c.fewOf(s.in-s.out, c.lostOf(s)) {
			i--
			s = c.joinStages(chain[i], s)
		}
		out = append(out, s)
	}
	slices.Reverse(out)
	// What is left is the first stage: it takes the next ones in.
	for len(out) > 1 && c.fewOf(out[0].in-out[0].out, c.lostOf(out[0])) {
		out = append([]stage{c.joinStages(out[0], out[1])}, out[2:]...)
	}
	for i := range out {
		s := &out[i]
		few := c.fewOf(s.in-s.out, c.lostOf(*s))
		s.hideIn = s.hideIn || few || c.rules.Few(s.in)
		s.hideOut = s.hideOut || c.rules.Few(s.out) || c.fewOf(s.out, c.whose(s.unit, "", ""))
		if s.hideIn || s.hideOut {
			s.lost = nil
		} else {
			s.lost = c.poolReasons(s)
		}
	}
	return out
}

func (c *checker) joinStages(a, b stage) stage {
	s := stage{unit: a.unit, name: a.name + "; " + b.name, in: a.in, out: b.out, merged: true, hideIn: a.hideIn, hideOut: b.hideOut}
	for _, l := range append(slices.Clone(a.lost), b.lost...) {
		k := slices.IndexFunc(s.lost, func(o loss) bool { return o.reason == l.reason })
		if k < 0 {
			s.lost = append(s.lost, l)
			continue
		}
		s.lost[k].n += l.n
		s.lost[k].of = s.lost[k].of.join(l.of, c.rules.MinCell)
	}
	return s
}

// poolReasons merges small reasons, and with them the smallest other ones where
// they are too few together. A reason that gives a level of a characteristic away
// is merged with enough people of other reasons.
func (c *checker) poolReasons(s *stage) []loss {
	var kept []loss
	pool, apart := 0, 0 // apart: of reasons that must not stand by themselves
	var pooled, others heads
	put := func(l loss, alone bool) {
		if pool == 0 {
			pooled = l.of
		} else {
			pooled = pooled.join(l.of, c.rules.MinCell)
		}
		if !alone && (pool == apart) {
			others = l.of
		} else if !alone {
			others = others.join(l.of, c.rules.MinCell)
		}
		pool += l.n
		if alone {
			apart += l.n
		}
	}
	for _, l := range s.lost {
		switch {
		case c.pooled[l.reason]:
			put(l, true)
		case c.fewOf(l.n, l.of):
			put(l, false)
		default:
			kept = append(kept, l)
		}
	}
	for (c.fewOf(pool, pooled) || apart > 0 && (pool-apart < c.rules.MinCell || c.fewOf(pool-apart, others))) && len(kept) > 0 {
		least := 0
		for k := range kept {
			if kept[k].n <= kept[least].n {
				least = k
			}
		}
		put(kept[least], false)
		kept = slices.Delete(kept, least, least+1)
	}
	slices.SortStableFunc(kept, func(a, b loss) int { return b.n - a.n })
	if pool > 0 {
		s.merged = true
		kept = append(kept, loss{otherReasons, pool, pooled})
	}
	return kept
}

func (c *checker) writeStage(f *schema.Frame, s stage) {
	order := 1.0
	if f.N > 0 {
		order = f.Number(f.N-1, "order") + 1
	}
	base := c.Settings.Disclosure.Rounding
	in, out := disclose.Round(s.in, base), disclose.Round(s.out, base)
	lost := roundLosses(s.lost, base, in-out)
	if len(lost) == 0 {
		lost = []loss{{}}
	}
	hidden := s.hideIn || s.hideOut
	for _, l := range lost {
		row := f.AddRow()
		f.SetText(row, "unit", s.unit)
		f.SetText(row, "stage", s.name)
		f.SetText(row, "reason", l.reason)
		f.SetNumber(row, "order", order)
		if !s.hideIn {
			f.SetNumber(row, "in", float64(in))
		}
		if !s.hideOut {
			f.SetNumber(row, "out", float64(out))
		}
		if hidden {
			f.SetText(row, schema.Suppressed, partCounts)
			c.log.add(f, row, ruleMinimum, partCounts)
		} else {
			f.SetNumber(row, "n", float64(l.n))
		}
	}
	if s.merged {
		c.log.add(f, f.N-1, ruleFlow, partCounts)
	}
}

// roundLosses rounds the reasons of a stage; the largest takes what is left, so
// that they still add up.
func roundLosses(lost []loss, base, total int) []loss {
	if base < 2 || len(lost) == 0 {
		return lost
	}
	rounded := slices.Clone(lost)
	most := 0
	for k := range rounded {
		rounded[k].n = disclose.Round(rounded[k].n, base)
		if rounded[k].n > rounded[most].n {
			most = k
		}
		total -= rounded[k].n
	}
	rounded[most].n += total
	return slices.DeleteFunc(rounded, func(l loss) bool { return l.n <= 0 })
}
