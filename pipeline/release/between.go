package release

import (
	"math/bits"
	"slices"
)

// side is the people on one side of a limit in a group: how many they are is told.
type side struct {
	in    flags
	count int
}

// fewBetween hides a share beside published values where few people lie between
// its limit and another of the same variable, in the same group of people or in
// one around it: the difference of two numbers would tell them.
func (c *checker) fewBetween(keys []threshold, all map[threshold]*limited) error {
	byColumn := map[string][]threshold{}
	var columns []string
	for _, compared := range []bool{false, true} { // what is no comparison is told first
		for _, key := range keys {
			if all[key].compared != compared || all[key].beyond == nil {
				continue
			}
			column := key.variable
			if n, ok := c.needs[column]; ok {
				column = n.variable
			}
			if compared && !slices.Contains(columns, column) {
				columns = append(columns, column)
			}
			byColumn[column] = append(byColumn[column], key)
		}
	}
	for _, column := range columns {
		for {
			anew := false
			var told []side
			for _, key := range byColumn[column] {
				own, refused := c.sidesOf(key, all[key], told)
				told = append(told, own...)
				if len(refused) == 0 {
					continue
				}
				anew = true
				for _, i := range refused {
					all[key].refused[i] = true
				}
				if err := c.share(key, all[key]); err != nil {
					return err
				}
			}
			if !anew {
				break
			}
		}
	}
	return nil
}

// sidesOf returns the sides that the shares of a limit tell, and the groups of
// which they may not, being few apart from one that is told.
func (c *checker) sidesOf(key threshold, l *limited, told []side) (own []side, refused []int) {
	v, _ := c.variable(key.variable)
	for _, i := range l.used {
		g := c.groups.list[i]
		if c.shares[shareKey(key, g)] || c.stateOf(key.variable, g).hides >= counts {
			continue
		}
		inside := make([]bool, len(c.layout.at))
		for _, a := range c.groups.atoms[i] {
			inside[a] = true
		}
		words := (len(c.People.Rows) + 63) / 64
		two := []side{{in: make(flags, words)}, {in: make(flags, words)}}
		for person, a := range c.layout.atomOf {
			if !inside[a] || !v.present.at(person) {
				continue
			}
			s := &two[0]
			if !l.beyond(c.People.Rows[person]) {
				s = &two[1]
			}
			s.in[person>>6] |= 1 << (person & 63)
			s.count += c.People.times(person)
		}
		if l.compared && slices.ContainsFunc(told, func(t side) bool { return c.fewApart(t, two[0]) || c.fewApart(t, two[1]) }) {
			refused = append(refused, i)
			continue
		}
		own = append(own, two...)
	}
	return own, refused
}

// fewApart reports that one side holds the other and few people more.
func (c *checker) fewApart(a, b side) bool {
	difference := a.count - b.count
	if !c.rules.Few(max(difference, -difference)) {
		return false
	}
	more, less := 0, 0
	for k := range a.in {
		more += bits.OnesCount64(a.in[k] &^ b.in[k])
		less += bits.OnesCount64(b.in[k] &^ a.in[k])
	}
	return more == 0 || less == 0
}
