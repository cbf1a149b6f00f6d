package release

import (
	"errors"

	"tonocohort/stats/disclose"
)

// tier says what a stratum still shows that lost what adds up. The less it
// shows, the less anybody knows of its number, and the more room there is to
// protect another with it.
type tier int

const (
	tierPercentiles tier = iota // every percentile that its own number allows
	tierFirst                   // the same in the set named first, nothing in others
	tierMedian                  // the median in the set named first
	tierNothing
)

// bare reports a group of which nothing is left once it is hidden for another.
func (c *checker) bare(g group, at tier) bool {
	return at == tierNothing || at >= tierFirst && c.rank[g.set] > 0
}

// protectByTier runs the search on the table that build makes for a tier, from
// the given one on, and takes the next where a hidden number finds no protection.
// The further sets lose their percentiles where that leaves more of the set that
// is named first: list are the groups that the first domains stand for.
func (c *checker) protectByTier(from tier, list []int, build func(tier) disclose.Table) (p disclose.Protection, weak []int, at tier, err error) {
	for at = from; at < tierNothing; at++ {
		t := build(at)
		p, err = disclose.Protect(t)
		switch {
		case errors.As(err, new(*disclose.ErrUnprotected)):
			continue
		case err == nil && at == tierPercentiles && len(c.People.Sets) > 1:
			if other, failed := disclose.Protect(build(tierFirst)); failed == nil && c.loss(t, other, list) < c.loss(t, p, list)*(1-1e-9) {
				return other, nil, tierFirst, nil
			}
		}
		return p, nil, at, err
	}
	p, weak, err = protect(build(at))
	return p, weak, at, err
}

// loss is what a protection costs the set that is named first.
func (c *checker) loss(t disclose.Table, p disclose.Protection, list []int) float64 {
	sum := 0.0
	for _, k := range p.Added {
		if k < len(list) && c.rank[c.groups.list[list[k]].set] == 0 {
			sum += t.Domains[k].Cost
		}
	}
	return sum
}

// protect runs the search. Where what anybody knows of a hidden number is
// narrower than the protection asked for (eleven of twelve have a value, and
// that ten have one is seen from what is shown), it gives the width that there
// is; weak lists these domains.
func protect(t disclose.Table) (p disclose.Protection, weak []int, err error) {
	for {
		p, err = disclose.Protect(t)
		var unprotected *disclose.ErrUnprotected
		if !errors.As(err, &unprotected) {
			return p, weak, err
		}
		d := &t.Domains[unprotected.Domain]
		d.Need, d.Hidden = unprotected.Width, true
		weak = append(weak, unprotected.Domain)
	}
}

// bounds says what anybody knows of the number of a group that is hidden to
// protect another: its percentiles still show, and each needs so many people. Of
// a stratum beside published values nothing is left.
func (c *checker) bounds(d *disclose.Domain, g group, n int, at tier) {
	d.Floor, d.Ceiling = 0, 0
	if c.bare(g, at) || g.beside != "" {
		return
	}
	d.Floor = c.rules.MinCell
	if at >= tierMedian {
		return
	}
	for _, p := range []float64{0.25, 0.10, 0.05, 0.025} {
		limit := c.rules.PeopleFor(p) + c.rules.MinCell
		if n < limit {
			d.Ceiling = limit - 1
			return
		}
		d.Floor = limit
	}
}
