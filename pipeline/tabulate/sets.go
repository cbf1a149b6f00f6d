package tabulate

import (
	"slices"

	"tonocohort/schema"
)

// set is an analysis set with its rows.
type set struct {
	name string
	rows []int32
}

// sets applies the rules of every analysis set, each a stage of the flow that
// starts from the same rows. A row leaves for the first rule that it fails.
func (c *cohort) sets(plan schema.Analysis, flow *flow) []set {
	var sets []set
	for _, name := range setNames(plan) {
		s := set{name: name}
		rules := c.conditions(plan.Sets[name])
		left := newTally()
		for _, rule := range rules {
			left.reasons = append(left.reasons, rule.missing, rule.failed)
		}
		left.reasons = distinct(left.reasons)
		if len(rules) == 0 {
			flow.stage("set:"+name, len(c.rows), left)
			sets = append(sets, set{name: name, rows: c.rows})
			continue
		}
		for _, row := range c.rows {
			if reason := firstFailure(rules, row); reason != "" {
				left.add(reason)
				continue
			}
			s.rows = append(s.rows, row)
		}
		flow.stage("set:"+name, len(c.rows), left)
		sets = append(sets, s)
	}
	return sets
}

func (c *cohort) conditions(rules []schema.Rule) []condition {
	ready := make([]condition, len(rules))
	for i, rule := range rules {
		ready[i] = c.condition(rule)
	}
	return ready
}

func firstFailure(rules []condition, row int32) string {
	for _, rule := range rules {
		if reason := rule.judge(row); reason != "" {
			return reason
		}
	}
	return ""
}

// condition is a rule made ready: judge returns why a row fails it, or "".
type condition struct {
	missing, failed string // the reasons
	judge           func(row int32) string
}

func (c *cohort) condition(rule schema.Rule) condition {
	missing, failed := rule.Reasons()
	k := condition{missing: missing, failed: failed}
	if len(rule.Levels) > 0 {
		f := c.factor(rule.Column)
		k.judge = func(row int32) string {
			label := f.label(row)
			if label == "" {
				return k.missing
			}
			if !slices.Contains(rule.Levels, label) {
				return k.failed
			}
			return ""
		}
		return k
	}
	cells := c.frame.Numbers(rule.Column)
	k.judge = func(row int32) string {
		v := cells[row]
		if v != v {
			return k.missing
		}
		if !rule.Admits(v) {
			return k.failed
		}
		return ""
	}
	return k
}

func distinct(items []string) []string {
	var out []string
	for _, item := range items {
		if !slices.Contains(out, item) {
			out = append(out, item)
		}
	}
	return out
}
