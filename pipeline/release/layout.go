package release

import (
	"encoding/binary"
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
	code    func(i int) int // of a person
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
	atomOf   []int32 // by person
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
		in := p.In[s]
		l.setAxis = append(l.setAxis, l.add(axis{2, func(i int) int {
			if in[i] {
				return 1
			}
			return 0
		}}))
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

func (l *layout) addColumn(name string, levels []string, codes []int32) {
	f := family{name: name, labels: levels, holds: map[string][]int{}}
	for i, level := range levels {
		f.holds[level] = []int{i}
	}
	f.axis = l.add(axis{len(levels), func(i int) int { return int(codes[i]) }})
	l.families = append(l.families, f)
}

// ageBands is a way to cut age: code places a person among the labels, −1 where
// no band holds.
type ageBands struct {
	name   string
	labels []string
	code   func(i int) int
}

// addAge cuts age by the bands of the plan and by those of every published set
// with which the study is compared.
func (l *layout) addAge(in Input) {
	var sources []ageBands
	if i := slices.Index(in.People.Columns, ageBand); i >= 0 {
		codes := in.People.Codes[i]
		sources = append(sources, ageBands{ageBand, in.People.Levels[i], func(i int) int { return int(codes[i]) }})
	}
	if l.compares(in) {
		ages := in.Visits.Numbers("age_years")
		for _, name := range in.Settings.Analysis.CompareWith {
			set, err := published.Among(in.Own, name)
			if err != nil {
				continue // nothing was compared with a set that cannot be read
			}
			sources = append(sources, publishedBands(name, set, ages, in.People.Rows))
		}
	}
	if len(sources) == 0 {
		return
	}
	pieces := map[string]int32{}
	code := make([]int32, len(in.People.Rows))
	var labels [][]string // by piece, by source
	var key []byte
	for i := range code {
		key = key[:0]
		for _, s := range sources {
			key = binary.AppendVarint(key, int64(s.code(i)))
		}
		piece, known := pieces[string(key)]
		if !known {
			piece = int32(len(pieces))
			pieces[string(key)] = piece
			own := make([]string, len(sources))
			for k, s := range sources {
				if at := s.code(i); at >= 0 {
					own[k] = s.labels[at]
				}
			}
			labels = append(labels, own)
		}
		code[i] = piece
	}
	l.ageAxis = l.add(axis{len(pieces), func(i int) int { return int(code[i]) }})
	for k, s := range sources {
		f := family{name: s.name, axis: l.ageAxis, holds: map[string][]int{}}
		for piece, own := range labels {
			if own[k] != "" {
				f.holds[own[k]] = append(f.holds[own[k]], piece)
			}
		}
		for _, label := range s.labels {
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

// publishedBands are the age bands of a published set; where two hold an age the
// later one does.
func publishedBands(name string, set published.Set, ages []float64, rows []int32) ageBands {
	out := ageBands{name: publishedPrefix + name}
	var low, high []float64
	for _, v := range set.Values {
		if !slices.Contains(out.labels, v.AgeBand) {
			out.labels = append(out.labels, v.AgeBand)
			low, high = append(low, float64(v.AgeLow)), append(high, float64(v.AgeHigh))
		}
	}
	out.code = func(i int) int {
		age := math.Floor(ages[rows[i]])
		for k := len(low) - 1; k >= 0; k-- {
			if age >= low[k] && age <= high[k] {
				return k
			}
		}
		return -1
	}
	return out
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
