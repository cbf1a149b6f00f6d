package release

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema/published"
	"tonocohort/stats/disclose"
)

// ageBand is the stratum column made from age; published values have bands of
// their own, so that both cut age apart.
const ageBand = "age_band"

// publishedPrefix marks the family of a published set's age bands.
const publishedPrefix = "published:"

// axis is a way to tell people apart: a set they are in or not, the levels of a
// column, or the pieces into which all kinds of age bands cut age.
type axis struct {
	classes int
	code    []int // by person
}

// family is a list of labels over an axis: levels of a column, or age bands.
type family struct {
	name   string
	labels []string
	axis   int
	holds  map[string][]int // classes by label
}

// layout numbers the finest groups of people that any table tells apart.
type layout struct {
	axes     []axis
	setAxis  []int // by set; −1 for everyone
	families []family
	ageAxis  int     // −1 for none
	atomOf   []int   // by person
	at       [][]int // by atom: class on each axis
	sizes    []int   // by atom: rows
	compared int     // set that is compared with published values; −1: none
}

func newLayout(in Input) *layout {
	l := &layout{ageAxis: -1, compared: -1}
	p := in.People
	for s := range p.Sets {
		if s == 0 {
			l.setAxis = append(l.setAxis, -1)
			continue
		}
		code := make([]int, len(p.Rows))
		for i, yes := range p.In[s] {
			if yes {
				code[i] = 1
			}
		}
		l.setAxis = append(l.setAxis, l.add(axis{2, code}))
	}
	for i, name := range p.Columns {
		if name != ageBand {
			l.addColumn(name, p.Levels[i], p.Codes[i])
		}
	}
	l.addAge(in)
	l.number(in)
	return l
}

func (l *layout) add(a axis) int {
	l.axes = append(l.axes, a)
	return len(l.axes) - 1
}

func (l *layout) addColumn(name string, levels []string, codes []int) {
	f := family{name: name, labels: levels, holds: map[string][]int{}}
	for i, level := range levels {
		f.holds[level] = []int{i}
	}
	f.axis = l.add(axis{len(levels), codes})
	l.families = append(l.families, f)
}

// addAge cuts age by the bands of the plan and by those of every published set
// with which the study is compared.
func (l *layout) addAge(in Input) {
	type source struct {
		name   string
		labels []string // by person; "" where the source has no band
		order  []string
	}
	var sources []source
	if i := slices.Index(in.People.Columns, ageBand); i >= 0 {
		s := source{name: ageBand, order: in.People.Levels[i]}
		for _, code := range in.People.Codes[i] {
			s.labels = append(s.labels, in.People.Levels[i][code])
		}
		sources = append(sources, s)
	}
	if l.compares(in) {
		ages := in.Visits.Numbers("age_years")
		for _, name := range in.Settings.Analysis.CompareWith {
			set, err := published.Among(in.Own, name)
			if err != nil {
				continue // nothing was compared with a set that cannot be read
			}
			labels, order := publishedBands(set, ages, in.People.Rows)
			sources = append(sources, source{publishedPrefix + name, labels, order})
		}
	}
	if len(sources) == 0 {
		return
	}
	pieces := map[string]int{}
	code := make([]int, len(in.People.Rows))
	var rows []int
	for i := range code {
		key := ""
		for _, s := range sources {
			key += s.labels[i] + "\x00"
		}
		if _, known := pieces[key]; !known {
			pieces[key] = len(pieces)
			rows = append(rows, i)
		}
		code[i] = pieces[key]
	}
	l.ageAxis = l.add(axis{len(pieces), code})
	for _, s := range sources {
		f := family{name: s.name, axis: l.ageAxis, holds: map[string][]int{}}
		for piece, i := range rows {
			if label := s.labels[i]; label != "" {
				f.holds[label] = append(f.holds[label], piece)
			}
		}
		for _, label := range s.order {
			if f.holds[label] != nil {
				f.labels = append(f.labels, label)
			}
		}
		l.families = append(l.families, f)
	}
}

// compares reports whether a comparison with published values was made, and
// notes with which set of people.
func (l *layout) compares(in Input) bool {
	if !in.Visits.Has("sex") || !in.Visits.Has("age_years") || len(in.Settings.Analysis.CompareWith) == 0 {
		return false
	}
	l.compared = max(0, slices.Index(in.People.Sets, "healthy"))
	return true
}

func publishedBands(set published.Set, ages []float64, rows []int) (labels, order []string) {
	labels = make([]string, len(rows))
	for _, v := range set.Values {
		if slices.Contains(order, v.AgeBand) {
			continue
		}
		order = append(order, v.AgeBand)
		for i, row := range rows {
			if age := math.Floor(ages[row]); age >= float64(v.AgeLow) && age <= float64(v.AgeHigh) {
				labels[i] = v.AgeBand
			}
		}
	}
	return labels, order
}

// classes returns, by axis, what a group of people holds; nil for everything.
func (l *layout) classes(g group) ([][]int, bool) {
	classes := make([][]int, len(l.axes))
	if a := l.setAxis[g.set]; a >= 0 {
		classes[a] = []int{1}
	}
	for i, label := range g.labels {
		if label == everyLevel {
			continue
		}
		holds, known := l.families[i].holds[label]
		if !known {
			return nil, false
		}
		classes[l.families[i].axis] = holds
	}
	return classes, true
}

// group is a stratum of a set: a label per family, or all.
type group struct {
	set    int
	labels []string
}

func (g group) key() string { return fmt.Sprintf("%d:%s", g.set, strings.Join(g.labels, "\x1f")) }

// counts makes the atoms of a table that adds up: values and capacities by atom.
func (l *layout) counts(values, capacities []int) []disclose.Atom {
	atoms := make([]disclose.Atom, len(l.at))
	for a := range atoms {
		atoms[a] = disclose.Atom{At: l.at[a], Value: values[a], Capacity: disclose.Unbounded}
		if capacities != nil {
			atoms[a].Capacity = capacities[a]
		}
	}
	return atoms
}
