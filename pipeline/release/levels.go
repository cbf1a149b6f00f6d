package release

import (
	"fmt"
	"slices"

	"tonocohort/stats/disclose"
)

// byLevel counts people by the axes that the groups use and by level; find
// returns where an atom of the layout is counted.
func (c *checker) byLevel(x characteristic) (atoms []disclose.Atom, axes []int, find func(atom, level int) (int, bool)) {
	for d := range c.layout.axes {
		for _, i := range x.used {
			if c.groups.classes[i][d] != nil || slices.Contains(c.layout.setAxis, d) {
				axes = append(axes, d)
				break
			}
		}
	}
	place := func(atom, level int) []int {
		at := make([]int, len(axes)+1)
		for d, a := range axes {
			at[d] = c.layout.at[atom][a]
		}
		at[len(axes)] = level
		return at
	}
	index := map[string]int{}
	find = func(atom, level int) (int, bool) {
		k, known := index[fmt.Sprint(place(atom, level))]
		return k, known
	}
	number := func(atom, level int) int {
		at := place(atom, level)
		k, known := index[fmt.Sprint(at)]
		if !known {
			k = len(atoms)
			index[fmt.Sprint(at)] = k
			atoms = append(atoms, disclose.Atom{At: at, Capacity: disclose.Unbounded})
		}
		return k
	}
	seen := make([][]bool, len(x.levels))
	for level := range seen {
		seen[level] = make([]bool, len(c.layout.at))
	}
	for i, a := range c.layout.atomOf {
		if level := int(x.code[i]); !seen[level][a] {
			seen[level][a] = true
			k := number(int(a), level)
			atoms[k].Value += x.counts[level][a]
		}
	}
	for a := range c.layout.at {
		for level := range x.levels {
			if c.rules.ZeroIsSmall && !c.impossible(x, a, level) {
				number(a, level)
			}
		}
	}
	return atoms, axes, find
}

// impossible reports a level that the people of an atom cannot have: they are of
// another stratum by that very column, or a rule of a set that they are in says so.
func (c *checker) impossible(x characteristic, atom, level int) bool {
	for _, f := range c.layout.families {
		if f.name == x.name && !slices.Contains(f.holds[x.levels[level]], c.layout.at[atom][f.axis]) {
			return true
		}
	}
	for set, axis := range c.layout.setAxis {
		if axis >= 0 && c.layout.at[atom][axis] == 1 && c.ruledOut(x, set, level) {
			return true
		}
	}
	return false
}

func levelKey(variable, level string, g group) string {
	return level + "\x00" + stateKey(variable, g)
}
