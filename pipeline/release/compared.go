package release

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
	"tonocohort/schema/published"
)

// Comparison with published values is about people of a sex, of ages that the
// published set has, who have what it needs: its strata are groups like any other,
// its equations and models variables like any other.

// span is a range of completed years, both ends included.
type span struct{ low, high int }

// everyAge holds people of any age, known or not.
func (s span) everyAge() bool { return s.low <= 0 && s.high == math.MaxInt }

// aged is people of a sex, or of any, of some ages and a band of the plan.
type aged struct {
	sex  string
	ages span
	band int // −1 for any
}

// beside is what a row of the comparison is about: some people, nobody of whom
// is twice.
type beside struct {
	key string // the same for the same people
	of  []aged
}

// spans lists the ranges of age of a published set.
func spansOf(set published.Set) []span {
	var list []span
	add := func(s span) {
		if !s.everyAge() && !slices.Contains(list, s) {
			list = append(list, s)
		}
	}
	for _, v := range set.Values {
		add(span{v.AgeLow, v.AgeHigh})
	}
	for _, l := range set.Limits {
		add(span{l.AgeLow, l.AgeHigh})
	}
	if len(set.Equations) > 0 {
		add(span{set.AgeLow, set.AgeHigh})
	}
	return list
}

// source is a published set by its name; they are read once.
func (c *checker) source(name string) (published.Set, error) {
	if set, known := c.sources[name]; known {
		return set, nil
	}
	set, err := published.Among(c.Own, name)
	if err == nil {
		c.sources[name] = set
	}
	return set, err
}

// compared returns what a row of the comparison is about; ok is false for one that
// the published set does not have.
func (c *checker) compared(f *schema.Frame, row int) (b beside, ok bool) {
	name, variable, sex, band := f.TextAt(row, "published"), f.TextAt(row, "variable"), f.TextAt(row, "sex"), f.TextAt(row, ageBand)
	set, err := c.source(name)
	if err != nil {
		return beside{}, false
	}
	switch set.Kind {
	case published.Equations:
		of := aged{sex, span{set.AgeLow, set.AgeHigh}, -1}
		if band != everyLevel {
			of.band = slices.Index(c.Settings.Analysis.Age.Labels(), band)
			ok = of.band >= 0
		} else {
			ok = true
		}
		b.of = []aged{of}
	case published.Coefficients:
		b.of, ok = []aged{{sex, span{0, math.MaxInt}, -1}}, true
	case published.Limits:
		for _, l := range set.Limits {
			if l.Variable == variable && l.Sex == sex && l.AgeBand == band {
				b.of, ok = []aged{{sex, span{l.AgeLow, l.AgeHigh}, -1}}, true
			}
		}
	default:
		b.of = c.meansCompared(set, variable, sex, band)
		ok = len(b.of) > 0
	}
	b.key = fmt.Sprint(b.of)
	return b, ok
}

// meansCompared are the people beside a published mean, or behind a total over
// all that are not suspect.
func (c *checker) meansCompared(set published.Set, variable, sex, band string) []aged {
	var blocks []aged
	for _, v := range set.Values {
		total := band == everyLevel && v.AgeBand != everyLevel
		switch {
		case v.Variable != variable:
		case !total && v.Sex == sex && v.AgeBand == band, total && !v.Suspect() && (sex == everyLevel || v.Sex == sex):
			blocks = append(blocks, aged{v.Sex, span{v.AgeLow, v.AgeHigh}, -1})
		}
	}
	return blocks
}

// comparedGroup is a row of the comparison as a group. Where its people are those
// of a stratum of the plan it is that stratum.
func (c *checker) comparedGroup(f *schema.Frame, row, set int) (group, bool) {
	key := strings.Join([]string{f.TextAt(row, "published"), f.TextAt(row, "variable"), f.TextAt(row, "sex"), f.TextAt(row, ageBand), f.TextAt(row, "set")}, "\x00")
	if g, known := c.comparisons[key]; known {
		return g, g.labels != nil
	}
	b, ok := c.compared(f, row)
	if !ok {
		c.comparisons[key] = group{}
		return group{}, false
	}
	g := group{set: set, labels: c.noLabels(), beside: b.key}
	band := -1
	if len(b.of) == 1 {
		band = b.of[0].band
	}
	for i, family := range c.layout.families {
		switch {
		case family.name == "sex" && f.TextAt(row, "sex") != everyLevel:
			g.labels[i] = f.TextAt(row, "sex")
		case family.name == ageBand && band >= 0:
			g.labels[i] = c.Settings.Analysis.Age.Labels()[band]
		}
	}
	c.layout.besides[b.key] = b.of
	stratum := g
	stratum.beside = ""
	if c.layout.samePeople(g, stratum) {
		g = stratum
	}
	c.comparisons[key] = g
	return g, true
}

// samePeople reports that two groups have the same people, of whom there may be none.
func (l *layout) samePeople(a, b group) bool {
	of := func(g group) ([]int, bool) {
		atoms, ok := l.atoms(g)
		return slices.DeleteFunc(atoms, func(a int) bool { return l.sizes[a] == 0 }), ok
	}
	mine, ok := of(a)
	its, same := of(b)
	return ok && same && slices.Equal(mine, its)
}

// atoms lists the atoms of a group; ok is false for a label that no analysed
// person has.
func (l *layout) atoms(g group) (atoms []int, ok bool) {
	if g.beside == "" {
		classes, ok := l.classes(g)
		if !ok {
			return nil, false
		}
		return l.within(classes), true
	}
	of := l.besides[g.beside]
	for _, a := range l.inSet(g.set) {
		if slices.ContainsFunc(of, func(b aged) bool { return l.isAged(b, a) }) {
			atoms = append(atoms, a)
		}
	}
	return atoms, true
}

// isAged reports an atom whose people are of a sex and age.
func (l *layout) isAged(b aged, atom int) bool {
	if b.sex != everyLevel {
		k := slices.IndexFunc(l.families, func(f family) bool { return f.name == "sex" })
		if k < 0 || !slices.Contains(l.families[k].holds[b.sex], l.at[atom][l.families[k].axis]) {
			return false
		}
	}
	if !b.ages.everyAge() && !l.pieceIn(l.spans[b.ages], atom) {
		return false
	}
	return b.band < 0 || l.pieceIn(l.bands[b.band], atom)
}

// pieceIn reports an atom of some pieces of age.
func (l *layout) pieceIn(pieces []int, atom int) bool {
	return l.ageAxis >= 0 && slices.Contains(pieces, l.at[atom][l.ageAxis])
}

// besideClasses returns, by axis, what a group beside published values holds; nil
// where classes cannot say it, as of the women of some ages and the men of others.
// With classes the search for what protects it is far shorter.
func (l *layout) besideClasses(g group, atoms []int) [][]int {
	classes := make([][]int, len(l.axes))
	if a := l.setAxis[g.set]; a >= 0 {
		classes[a] = []int{1}
	}
	add := func(axis int, of []int) {
		for _, class := range of {
			if !slices.Contains(classes[axis], class) {
				classes[axis] = append(classes[axis], class)
			}
		}
	}
	for _, b := range l.besides[g.beside] {
		if k := slices.IndexFunc(l.families, func(f family) bool { return f.name == "sex" }); b.sex != everyLevel && k >= 0 {
			add(l.families[k].axis, l.families[k].holds[b.sex])
		}
		if l.ageAxis >= 0 {
			for piece := range l.axes[l.ageAxis].classes {
				if (b.ages.everyAge() || slices.Contains(l.spans[b.ages], piece)) && (b.band < 0 || slices.Contains(l.bands[b.band], piece)) {
					add(l.ageAxis, []int{piece})
				}
			}
		}
	}
	if !slices.Equal(l.within(classes), atoms) {
		return nil
	}
	return classes
}
