package tabulate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
	"tonocohort/schema/published"
	"tonocohort/stats"
)

// mostStrata bounds the stratum columns: every combination of margins is a
// table of its own, and there are two to the number of columns of them.
const mostStrata = 6

// checker judges a plan against the columns that it will meet.
type checker struct {
	reporter
	table schema.Table
	plan  schema.Analysis
}

// Check judges a plan against the columns of a subject_visits table. A
// structural issue means that the plan cannot be carried out; a note that it
// can, but that a reader must know something. Issues have the path of the
// setting in Name, below section, and no place in the file; they are sorted.
func Check(plan schema.Analysis, columns []schema.Column, file, section string, own ...published.Set) []schema.Issue {
	c := checker{reporter: reporter{file: file, section: section}, table: schema.Table{Columns: columns}, plan: plan}
	c.checkAge()
	c.checkVariables()
	c.checkStrata()
	c.checkWeights()
	c.checkChange()
	c.checkStandardise()
	c.checkPrecision()
	c.checkEquivalence()
	for _, name := range sortedKeys(plan.Sets) {
		for i, rule := range plan.Sets[name] {
			c.checkRule(rule, fmt.Sprintf("sets.%s[%d]", name, i))
		}
	}
	c.checkModels()
	c.checkComparison(own)
	c.checkCentiles()
	c.checkTables()
	schema.SortIssues(c.issues)
	return c.issues
}

func (c *checker) checkAge() {
	age := c.plan.Age
	if len(age.Bands) == 0 {
		c.fault("age.bands", "", "empty_setting", "no age band", "name the lower bounds, ascending")
	}
	for i, low := range age.Bands {
		path := fmt.Sprintf("age.bands[%d]", i)
		switch {
		case math.IsNaN(low) || math.IsInf(low, 0) || low < 0:
			c.fault(path, plain(low), "bad_age_band", "a lower bound is an age", "")
		case i > 0 && !(low > age.Bands[i-1]):
			c.fault(path, plain(low), "bands_not_ascending", "each lower bound lies above the one before", "")
		case age.CompletedYears && low != math.Floor(low):
			c.fault(path, plain(low), "band_not_whole", "completed years cannot begin a band within a year", "age.completed_years: false counts exact age")
		}
	}
}

func (c *checker) checkVariables() {
	c.once("variables", c.plan.Variables, "duplicate_item", "named twice")
	for i, name := range c.plan.Variables {
		c.described(fmt.Sprintf("variables[%d]", i), name)
	}
	for _, name := range sortedKeys(c.plan.Threshold) {
		path := "threshold." + name
		if v := c.plan.Threshold[name]; math.IsNaN(v) || math.IsInf(v, 0) {
			c.fault(path, plain(v), "bad_threshold", "a threshold is a number", "")
		}
		c.numeric(path, name)
	}
	if !stats.QuantileType(c.plan.QuantileType).Valid() {
		c.fault("quantile_type", fmt.Sprint(c.plan.QuantileType), "out_of_range", "one of the types 1 to 9 of Hyndman and Fan", "8 is the default")
	}
}

func (c *checker) checkStrata() {
	c.once("strata", c.plan.Strata, "duplicate_item", "named twice")
	if len(c.plan.Strata) > mostStrata {
		c.fault("strata", "", "too_many_strata", fmt.Sprintf("%d columns would make %.0f tables; at most %d columns", len(c.plan.Strata), math.Exp2(float64(len(c.plan.Strata))), mostStrata), "")
	}
	taken := schema.Released(schema.SummaryTable(nil)).Names()
	for i, name := range c.plan.Strata {
		path := fmt.Sprintf("strata[%d]", i)
		if slices.Contains(taken, name) {
			c.fault(path, name, "stratum_name_taken", "the table of statistics has a column of its own with this name", "rename the covariate")
		}
		column, ok := c.levelled(path, name)
		switch {
		case !ok:
		case name == "subject_id":
			c.fault(path, name, "stratum_of_persons", "every person would be a stratum", "")
		case column.Kind == schema.Number || column.Kind == schema.Date || column.Kind == schema.Wave:
			c.fault(path, name, "stratum_not_levels", "a stratum is a column with levels", "declare a category, or use age_band")
		case slices.Contains(column.Levels, everyLevel):
			c.fault(path, name, "level_name_taken", "a level is called all, as the row of all levels is", "recode the level")
		}
	}
}

func (c *checker) checkRule(rule schema.Rule, path string) {
	path += "." + rule.Column
	column, ok := c.levelled(path, rule.Column)
	if column.Kind == schema.Boolean && len(rule.Levels) > 0 {
		column.Kind, column.Levels = schema.Category, []string{"no", "yes"}
	}
	bounds := rule.Below != nil || rule.AtLeast != nil || rule.Above != nil || rule.AtMost != nil
	switch {
	case !ok:
	case len(rule.Levels) == 0 && !bounds:
		c.fault(path, "", "empty_rule", "neither a level nor a bound", "{"+rule.Column+": [level, …]} or {"+rule.Column+": {at_least: …}}")
	case len(rule.Levels) > 0 && column.Numeric():
		c.fault(path, rule.Column, "rule_needs_bounds", "a column of numbers takes bounds, not levels", "{"+rule.Column+": {at_least: …}}")
	case bounds && !column.Numeric():
		c.fault(path, rule.Column, "rule_needs_levels", "a column of "+string(column.Kind)+" takes levels, not bounds", "{"+rule.Column+": [level, …]}")
	case len(column.Levels) > 0:
		for i, level := range rule.Levels {
			if !slices.Contains(column.Levels, level) {
				c.fault(fmt.Sprintf("%s.levels[%d]", path, i), level, "unknown_value", "known values: "+strings.Join(column.Levels, ", "), didYouMean(level, column.Levels))
			}
		}
	}
}

func (c *checker) checkComparison(own []published.Set) {
	c.once("compare_with", c.plan.CompareWith, "duplicate_item", "named twice")
	healthy := false
	for i, name := range c.plan.CompareWith {
		source, err := published.Among(own, name)
		healthy = healthy || source.Selection == healthySet
		if err != nil {
			hint := didYouMean(name, published.Names())
			if hint == "" {
				hint = "a set of the study's own is a file of the study folder that ends in .csv"
			}
			c.fault(fmt.Sprintf("compare_with[%d]", i), name, "unknown_value", "known values: "+strings.Join(published.Names(), ", "), hint)
		}
	}
	if len(c.plan.CompareWith) == 0 {
		return
	}
	for _, needed := range []string{"sex", "age_years"} {
		if c.table.Index(needed) < 0 {
			c.note("compare_with", needed, "comparison_without_column", "published values stand by sex and age, and this column is missing: nothing is compared", "")
		}
	}
	if _, declared := c.plan.Sets[healthySet]; !declared && healthy {
		c.note("compare_with", "", "comparison_not_healthy", "no analysis set is called "+healthySet+": published healthy people are compared with everyone", "declare sets: {healthy: […]}")
	}
}

// column finds a column of the table by its name.
func (c *checker) column(path, name string) (schema.Column, bool) {
	if i := c.table.Index(name); i >= 0 {
		return c.table.Columns[i], true
	}
	hint := didYouMean(name, append(c.table.Names(), ageBand))
	if hint == "" {
		hint = "declare it under covariates or derive"
	}
	c.fault(path, name, "unknown_column", "no column of subject_visits has this name", hint)
	return schema.Column{}, false
}

// levelled finds a column where age_band, made from the plan, may stand too.
func (c *checker) levelled(path, name string) (schema.Column, bool) {
	if name != ageBand {
		return c.column(path, name)
	}
	switch {
	case c.table.Index(ageBand) >= 0:
		c.fault(path, name, "column_name_taken", "age_band is made from age_years and age.bands, and a covariate has the same name", "rename the covariate")
	case c.table.Index("age_years") < 0:
		c.fault(path, name, "unknown_column", "age_band is made from age_years, and there is no such column", "")
	default:
		return schema.Column{Name: ageBand, Kind: schema.Category, Levels: c.plan.Age.Labels()}, true
	}
	return schema.Column{}, false
}

func (c *checker) numeric(path, name string) (schema.Column, bool) {
	column, ok := c.column(path, name)
	if ok && !column.Numeric() {
		c.fault(path, name, "column_not_number", "a column of numbers is needed; this one holds "+string(column.Kind), "")
		return column, false
	}
	return column, ok
}

// once reports items of a list that stand in it twice.
func (c *checker) once(path string, items []string, code, message string) {
	for i, item := range items {
		if slices.Index(items, item) < i {
			c.fault(fmt.Sprintf("%s[%d]", path, i), item, code, message, "keep one")
		}
	}
}

func didYouMean(word string, candidates []string) string {
	if near, ok := schema.Nearest(word, candidates); ok {
		return "did you mean " + near + "?"
	}
	return ""
}
