package disclose

import (
	"math"
	"slices"
)

// Rules are the limits by which one number is judged.
type Rules struct {
	MinCell     int     // fewest people behind a number
	ZeroIsSmall bool    // nobody is as telling as a few
	MinDegrees  int     // fewest residual degrees of freedom of a model
	DominanceN  int     // with DominanceK: the N largest contributions may hold
	DominanceK  float64 // at most this share of a sum; N = 0: no such rule
	PPercent    float64 // nobody may work out the largest contribution to within p percent; 0: no such rule
}

// Small reports whether a group of people is too small to be shown.
func (r Rules) Small(people int) bool {
	if people == 0 {
		return r.ZeroIsSmall
	}
	return people < r.MinCell
}

// Few reports whether a count of things that may well be none, as missing
// values or losses at a stage, is too small to be shown. That there is none
// describes nobody and may always be said.
func (r Rules) Few(count int) bool { return count > 0 && count < r.MinCell }

// PeopleFor returns how many people a sample percentile needs so that MinCell
// of them lie beyond it on its shorter side. The median needs MinCell in all.
func (r Rules) PeopleFor(p float64) int {
	tail := math.Min(p, 1-p)
	switch {
	case !(tail > 0):
		return math.MaxInt // a minimum or a maximum is one person's value
	case p == 0.5:
		return r.MinCell
	}
	return int(math.Ceil(float64(r.MinCell)/tail - 1e-9))
}

// RanksShown reports whether two values of a sorted sample of n, by rank from
// 1, may be shown as the ends of an interval: each is one person's value, so
// MinCell people must lie beyond it.
func (r Rules) RanksShown(low, high, n int) bool {
	return low > r.MinCell && high > low && n-high >= r.MinCell
}

// Names of the rules on contributions.
const (
	RuleDominance = "dominance"
	RulePPercent  = "p_percent"
)

// Dominated names the rule that a sum or a mean of these contributions breaks,
// "" for none. Signs are ignored: what a person adds is how far it moves the sum.
func (r Rules) Dominated(contributions []float64) string {
	c := r.Contributions()
	for _, v := range contributions {
		c.Add(v)
	}
	return r.DominatedBy(c)
}

// DominatedBy is Dominated for contributions that have been gathered.
func (r Rules) DominatedBy(c Contributions) string {
	if len(c.top) == 0 {
		return ""
	}
	if r.DominanceN > 0 {
		top := 0.0
		for _, v := range c.top[:min(r.DominanceN, len(c.top))] {
			top += v
		}
		if top > r.DominanceK*c.total {
			return RuleDominance
		}
	}
	// The second largest contributor knows his own part: what the others add is
	// all that hides the largest from him.
	if r.PPercent > 0 {
		rest := c.total - c.top[0]
		if len(c.top) > 1 {
			rest -= c.top[1]
		}
		if rest < r.PPercent/100*c.top[0] {
			return RulePPercent
		}
	}
	return ""
}

// Contributions is what the rules ask of many contributions: the largest, downwards,
// and the sum of all.
type Contributions struct {
	keep  int
	top   []float64
	total float64
}

// Contributions gathers none yet.
func (r Rules) Contributions() Contributions {
	if r.DominanceN <= 0 && r.PPercent <= 0 {
		return Contributions{}
	}
	return Contributions{keep: max(2, r.DominanceN)}
}

// Add adds a contribution.
func (c *Contributions) Add(v float64) {
	v = math.Abs(v)
	c.total += v
	c.rank(v)
}

// Join adds the contributions of another group of people.
func (c *Contributions) Join(o Contributions) {
	c.total += o.total
	for _, v := range o.top {
		c.rank(v)
	}
}

func (c *Contributions) rank(v float64) {
	if c.keep == 0 || len(c.top) == c.keep && v <= c.top[c.keep-1] {
		return
	}
	at := 0
	for at < len(c.top) && c.top[at] >= v {
		at++
	}
	c.top = slices.Insert(c.top, at, v)[:min(len(c.top)+1, c.keep)]
}
