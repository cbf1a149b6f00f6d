package release

import (
	"encoding/binary"
	"math"
	"slices"
	"strconv"
	"strings"

	"tonocohort/schema/published"
	"tonocohort/stats/disclose"
)

// ageBand is the stratum column made from age; published values have ages of
// their own, so that both cut age apart.
const ageBand = "age_band"

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

	spans   map[span][]int    // by ages of a published set: pieces of age
	bands   [][]int           // by band of the plan: pieces of age
	besides map[string][]aged // by key of what is beside published values
}

func newLayout(in Input) *layout {
	l := &layout{ageAxis: -1, spans: map[span][]int{}, besides: map[string][]aged{}}
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

// cut is a way to cut age: code tells the part that a person is in, −1 for none.
type cut struct {
	parts int
	code  func(i int) int
}

// addAge cuts age by the bands of the plan and by the ages of every published set
// with which the study is compared.
func (l *layout) addAge(in Input) {
	var cuts []cut
	column := slices.Index(in.People.Columns, ageBand)
	if column >= 0 {
		codes := in.People.Codes[column]
		cuts = append(cuts, cut{len(in.People.Levels[column]), func(i int) int { return int(codes[i]) }})
	}
	ranges, banded := comparedAges(in)
	plan := in.Settings.Analysis.Age
	if ages := agesOf(in, len(ranges) > 0 || banded); ages != nil {
		for _, r := range ranges {
			cuts = append(cuts, cut{1, func(i int) int {
				if age := math.Floor(ages[in.People.Rows[i]]); age >= float64(r.low) && age <= float64(r.high) {
					return 0
				}
				return -1
			}})
		}
		if banded {
			cuts = append(cuts, cut{len(plan.Labels()), func(i int) int { return plan.Band(ages[in.People.Rows[i]]) }})
		}
	}
	if len(cuts) == 0 {
		return
	}
	code, pieces := cutAge(cuts, len(in.People.Rows))
	count := 0
	for _, parts := range pieces {
		for _, of := range parts {
			for _, piece := range of {
				count = max(count, piece+1)
			}
		}
	}
	for _, piece := range code {
		count = max(count, int(piece)+1)
	}
	l.ageAxis = l.add(axis{count, func(i int) int { return int(code[i]) }})
	if column >= 0 {
		f := family{name: ageBand, axis: l.ageAxis, holds: map[string][]int{}}
		for part, label := range in.People.Levels[column] {
			if of := pieces[0][part]; of != nil {
				f.holds[label] = of
				f.labels = append(f.labels, label)
			}
		}
		l.families, pieces = append(l.families, f), pieces[1:]
	}
	for k, r := range ranges {
		l.spans[r] = pieces[k][0]
	}
	if banded {
		l.bands = pieces[len(ranges)]
	}
}

// cutAge returns the piece of age of every person, and the pieces by way of
// cutting and part.
func cutAge(cuts []cut, n int) (code []int32, pieces [][][]int) {
	pieces = make([][][]int, len(cuts))
	for k, c := range cuts {
		pieces[k] = make([][]int, c.parts)
	}
	known := map[string]int32{}
	code = make([]int32, n)
	var key []byte
	for i := range code {
		key = key[:0]
		for _, c := range cuts {
			key = binary.AppendVarint(key, int64(c.code(i)))
		}
		piece, seen := known[string(key)]
		if !seen {
			piece = int32(len(known))
			known[string(key)] = piece
			for k, c := range cuts {
				if part := c.code(i); part >= 0 {
					pieces[k][part] = append(pieces[k][part], int(piece))
				}
			}
		}
		code[i] = piece
	}
	return code, pieces
}

// comparedAges lists the ranges of age of the published sets with which the study
// is compared, and whether one is compared by the bands of the plan.
func comparedAges(in Input) (ranges []span, banded bool) {
	if !in.Visits.Has("sex") || !in.Visits.Has("age_years") {
		return nil, false
	}
	for _, name := range in.Settings.Analysis.CompareWith {
		set, err := published.Among(in.Own, name)
		if err != nil {
			continue // nothing was compared with a set that cannot be read
		}
		for _, r := range spansOf(set) {
			if !slices.Contains(ranges, r) {
				ranges = append(ranges, r)
			}
		}
		banded = banded || len(set.Equations) > 0
	}
	return ranges, banded
}

func agesOf(in Input, asked bool) []float64 {
	if !asked {
		return nil
	}
	return in.Visits.Numbers("age_years")
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

// group is a stratum of a set: a label per family, or all; and what published
// values stand beside, where no label says it.
type group struct {
	set    int
	labels []string
	beside string // "" where the labels say it
	id     string // the key, "" where it was not yet asked for
}

func (g group) key() string {
	if g.id != "" {
		return g.id
	}
	return strconv.Itoa(g.set) + ":" + strings.Join(g.labels, "\x1f") + "\x1e" + g.beside
}

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
