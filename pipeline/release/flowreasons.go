package release

import "slices"

// flowReason is a reason of the flow that counts levels of a characteristic.
type flowReason struct {
	text   string
	levels []int
}

// flowReasons lists the first rules of sets about a characteristic: those who
// leave by one are everyone at the levels that it does not name, and what the
// levels count can be subtracted from them.
func (c *checker) flowReasons(x characteristic) []flowReason {
	var list []flowReason
	for _, name := range c.People.Sets {
		rules := c.Settings.Analysis.Sets[name]
		if len(rules) == 0 || rules[0].Column != x.name || len(rules[0].Levels) == 0 {
			continue
		}
		var r flowReason
		_, r.text = rules[0].Reasons()
		for level, label := range x.levels {
			if label != missingLevel && !slices.Contains(rules[0].Levels, label) {
				r.levels = append(r.levels, level)
			}
		}
		if len(r.levels) > 1 {
			list = append(list, r)
		}
	}
	return list
}
