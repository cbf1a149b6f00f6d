package release

import (
	"errors"
	"strings"

	"tonocohort/stats/disclose"
)

// tier says what a stratum still shows that lost what adds up. The less it
// shows, the less anybody knows of its number, and the more room there is to
// protect another with it.
type tier int

const (
	tierPercentiles tier = iota // every percentile that its own number allows
	tierMedian
	tierNothing
)

// protectByTier runs the search on the table that build makes for a tier, from
// the given one on, and takes the next where a hidden number finds no protection.
func protectByTier(from tier, build func(tier) disclose.Table) (p disclose.Protection, weak []int, at tier, err error) {
	for at = from; at < tierNothing; at++ {
		p, err = disclose.Protect(build(at))
		if !errors.As(err, new(*disclose.ErrUnprotected)) {
			return p, nil, at, err
		}
	}
	p, weak, err = protect(build(at))
	return p, weak, at, err
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
	if at == tierNothing || c.besidePublished(g) {
		return
	}
	d.Floor = c.rules.MinCell
	if at == tierMedian {
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

// besidePublished reports a stratum by the age bands of a published set.
func (c *checker) besidePublished(g group) bool {
	for i, label := range g.labels {
		if label != everyLevel && strings.HasPrefix(c.layout.families[i].name, publishedPrefix) {
			return true
		}
	}
	return false
}
