package tabulate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
)

// described reports whether a column can be a variable of the summary: numbers,
// or levels of which shares are told.
func (c *checker) described(path, name string) {
	column, ok := c.column(path, name)
	switch {
	case !ok || column.Numeric() || column.Kind == schema.Category:
	case column.Kind == schema.Text && !slices.Contains([]string{"subject_id", "visit_id", "reason", "departures"}, name):
	default:
		c.fault(path, name, "column_not_described", "a variable is a column of numbers or of levels; this one holds "+string(column.Kind), "")
	}
}

func (c *checker) checkWeights() {
	w := c.plan.Weights
	if w.Column == "" {
		for _, other := range [][2]string{{"kind", w.Kind}, {"stratum", w.Stratum}, {"cluster", w.Cluster}} {
			if other[1] != "" {
				c.fault("weights."+other[0], other[1], "weights_without_column", "no column of weights is named", "weights: {column: sampling_weight, kind: sampling}")
			}
		}
		return
	}
	c.numeric("weights.column", w.Column)
	c.known("weights.kind", w.Kind, schema.WeightKinds)
	c.known("weights.single_psu", w.SinglePSU, schema.SinglePSURules)
	for _, part := range [][2]string{{"stratum", w.Stratum}, {"cluster", w.Cluster}} {
		if part[1] == "" {
			continue
		}
		path := "weights." + part[0]
		if w.Kind != samplingWeights {
			c.fault(path, part[1], "design_without_sampling", "only sampling weights have strata and clusters", "kind: sampling")
		}
		c.grouping(path, part[1])
	}
}

// grouping reports a column whose cells cannot be groups.
func (c *checker) grouping(path, name string) {
	column, ok := c.levelled(path, name)
	if ok && (column.Kind == schema.Number || column.Kind == schema.Date || column.Kind == schema.Wave) {
		c.fault(path, name, "group_not_levels", "a group is a column with levels; this one holds "+string(column.Kind), "declare it as category, integer or text")
	}
}

func (c *checker) known(path, value string, known []string) {
	if !slices.Contains(known, value) {
		c.fault(path, value, "unknown_value", "known values: "+strings.Join(known, ", "), didYouMean(value, known))
	}
}

func (c *checker) checkChange() {
	change := c.plan.Change
	c.known("change.between", change.Between, schema.ChangeRules)
	c.once("change.visits", change.Visits, "duplicate_item", "named twice")
	if len(change.Visits) == 1 {
		c.fault("change.visits", change.Visits[0], "change_of_one_visit", "change is between two visits", "name at least two")
	}
	c.grouping("change.cluster", change.Cluster)
}

func (c *checker) checkStandardise() {
	s := c.plan.Standardise
	if s.By == "" {
		if len(s.Shares) > 0 {
			c.fault("standardise.by", "", "missing_setting", "the column of the classes is not named", "by: age_band")
		}
		return
	}
	column, ok := c.levelled("standardise.by", s.By)
	if !ok {
		return
	}
	c.grouping("standardise.by", s.By)
	for _, class := range sortedKeys(s.Shares) {
		path := "standardise.shares." + class
		if v := s.Shares[class]; !(v >= 0) || math.IsInf(v, 0) {
			c.fault(path, plain(v), "bad_share", "a share is a number from 0 up", "")
		}
		if len(column.Levels) > 0 && !slices.Contains(column.Levels, class) {
			c.fault(path, class, "unknown_value", "known values: "+strings.Join(column.Levels, ", "), didYouMean(class, column.Levels))
		}
	}
}

func (c *checker) checkPrecision() {
	for i, p := range c.plan.Precision.Centiles {
		if !(p > 0 && p < 100) {
			c.fault(fmt.Sprintf("precision.centiles[%d]", i), plain(p), "out_of_range", "a centile lies between 0 and 100 %", "")
		}
	}
	for i, se := range c.plan.Precision.SE {
		if !(se > 0) {
			c.fault(fmt.Sprintf("precision.se_in_sd[%d]", i), plain(se), "out_of_range", "a standard error is above zero", "")
		}
	}
}

func (c *checker) checkEquivalence() {
	for _, name := range sortedKeys(c.plan.Equivalence) {
		path := "equivalence." + name
		c.numeric(path, name)
		if v := c.plan.Equivalence[name]; !(v > 0) || math.IsInf(v, 0) {
			c.fault(path, plain(v), "out_of_range", "a margin is above zero", "")
		}
	}
}
