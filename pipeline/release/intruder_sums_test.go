package release_test

import (
	"fmt"
	"math"
	"slices"
)

// derived lists the groups of one to nine whose number is a combination of the
// published ones.
func (x *intruder) derived() (found []string, tried int) {
	atom := map[string]int{}
	var where []int
	for i := range x.people.rows {
		key := make([]byte, len(x.crowds))
		for k, c := range x.crowds {
			if c.in[i] {
				key[k] = 1
			}
		}
		if _, known := atom[string(key)]; !known {
			atom[string(key)] = len(atom)
		}
		where = append(where, atom[string(key)])
	}
	b := basis{}
	vector := func(in []bool) []float64 {
		v := make([]float64, len(atom))
		for i, yes := range in {
			if yes {
				v[where[i]] = 1
			}
		}
		return v
	}
	for _, c := range x.crowds {
		if x.known[keyOf(c.in)] {
			b.add(vector(c.in))
		}
	}
	seen := map[string]bool{}
	try := func(name string, in []bool) {
		n := crowd{in: in}.size()
		if n == 0 || n >= 10 {
			return
		}
		key := keyOf(in)
		if seen[key] {
			return
		}
		seen[key] = true
		tried++
		if b.holds(vector(in)) {
			found = append(found, fmt.Sprintf("%s: %d people", name, n))
		}
	}
	for _, c := range x.crowds {
		try(c.name, c.in)
	}
	for k, c := range x.crowds {
		for _, d := range x.crowds[:k] {
			try(c.name+" without "+d.name, minus(c.in, d.in))
			try(d.name+" without "+c.name, minus(d.in, c.in))
			try(c.name+" and "+d.name, minus(c.in, minus(c.in, d.in)))
		}
	}
	return found, tried
}

func minus(a, b []bool) []bool {
	out := make([]bool, len(a))
	for i := range a {
		out[i] = a[i] && !b[i]
	}
	return out
}

// basis is a reduced system of equations: every row has a one where no other has
// anything.
type basis struct {
	rows   [][]float64
	pivots map[int]int
}

const nearZero = 1e-7

func (b *basis) rest(v []float64) []float64 {
	out := slices.Clone(v)
	for j, value := range v {
		if k, pivot := b.pivots[j]; pivot && value != 0 {
			for i, r := range b.rows[k] {
				out[i] -= value * r
			}
		}
	}
	return out
}

func (b *basis) holds(v []float64) bool {
	return !slices.ContainsFunc(b.rest(v), func(r float64) bool { return math.Abs(r) > nearZero })
}

func (b *basis) add(v []float64) {
	rest := b.rest(v)
	at := slices.IndexFunc(rest, func(r float64) bool { return math.Abs(r) > nearZero })
	if at < 0 {
		return
	}
	lead := rest[at]
	for i := range rest {
		rest[i] /= lead
	}
	for _, row := range b.rows {
		if factor := row[at]; factor != 0 {
			for i, r := range rest {
				row[i] -= factor * r
			}
		}
	}
	if b.pivots == nil {
		b.pivots = map[int]int{}
	}
	b.pivots[at] = len(b.rows)
	b.rows = append(b.rows, rest)
}
