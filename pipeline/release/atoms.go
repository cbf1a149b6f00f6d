package release

import (
	"encoding/binary"
	"fmt"
	"slices"
)

// mostEmpty bounds the atoms that are added for combinations of levels in which
// nobody is.
const mostEmpty = 20000

// number makes the atoms: those with people, and where nobody is as telling as
// a few also the combinations of known levels and known sets without any.
func (l *layout) number(in Input) {
	index := map[string]int{}
	atom := func(at []int) int {
		key := fmt.Sprint(at)
		a, known := index[key]
		if !known {
			a = len(l.at)
			index[key] = a
			l.at = append(l.at, slices.Clone(at))
			l.sizes = append(l.sizes, 0)
		}
		return a
	}
	at := make([]int, len(l.axes))
	known := map[string]int32{} // by the same classes, in the form that is quicker to make
	var short []byte
	l.atomOf = make([]int32, len(in.People.Rows))
	patterns := map[string][]int{}
	sets := 0
	for _, a := range l.setAxis {
		sets = max(sets, a+1)
	}
	for i := range in.People.Rows {
		short = short[:0]
		for d, a := range l.axes {
			at[d] = a.code(i)
			short = binary.AppendUvarint(short, uint64(at[d]))
		}
		n, seen := known[string(short)]
		if !seen {
			n = int32(atom(at))
			known[string(short)] = n
			patterns[fmt.Sprint(at[:sets])] = slices.Clone(at[:sets])
		}
		l.atomOf[i] = n
		l.sizes[n] += in.People.times(i)
	}
	if in.Settings.Disclosure.ZeroIsSmall {
		l.addEmpty(patterns, sets, l.ruledApart(in), atom)
	}
}

// ruledApart tells which classes people in a set, or out of it, cannot have
// because the set's rules are about that column: nobody has, and everybody can
// know that. The key holds the axis of the set, in or out, an axis and its class.
func (l *layout) ruledApart(in Input) func(at []int) bool {
	type pair struct{ setAxis, in, axis, class int }
	watched := map[[2]int]bool{}
	for s, a := range l.setAxis {
		for _, rule := range in.Settings.Analysis.Sets[in.People.Sets[s]] {
			for _, f := range l.families {
				if a >= 0 && (rule.Column == f.name || rule.Column == "age_years" && f.axis == l.ageAxis) {
					watched[[2]int{a, f.axis}] = true
				}
			}
		}
	}
	seen := map[pair]bool{}
	for _, at := range l.at {
		for w := range watched {
			seen[pair{w[0], at[w[0]], w[1], at[w[1]]}] = true
		}
	}
	return func(at []int) bool {
		for w := range watched {
			if !seen[pair{w[0], at[w[0]], w[1], at[w[1]]}] {
				return true
			}
		}
		return false
	}
}

func (l *layout) addEmpty(patterns map[string][]int, sets int, impossible func([]int) bool, atom func([]int) int) {
	many := len(patterns)
	for _, a := range l.axes[sets:] {
		many *= a.classes
	}
	if many > mostEmpty {
		return
	}
	var keys []string
	for key := range patterns {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	for _, key := range keys {
		at := append(slices.Clone(patterns[key]), make([]int, len(l.axes)-sets)...)
		var fill func(d int)
		fill = func(d int) {
			if d == len(l.axes) {
				if !impossible(at) {
					atom(at)
				}
				return
			}
			for class := range l.axes[d].classes {
				at[d] = class
				fill(d + 1)
			}
		}
		fill(sets)
	}
}
