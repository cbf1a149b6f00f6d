package tabulate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats"
)

// mostCategories bounds the levels of a text column in Table 1, so that a column
// of names is not printed as one.
const mostCategories = 30

// tableBy is the column by which Table 1 is split: the declared one, else the
// first stratum column but age_band, else none.
func tableBy(plan schema.Analysis) string {
	if plan.Tables.By != "" {
		return plan.Tables.By
	}
	for _, name := range plan.Strata {
		if name != ageBand {
			return name
		}
	}
	return ""
}

// notCharacteristics are columns that say how the study was run, not who the
// people are.
func notCharacteristics() []string {
	return []string{"subject_id", "visit_id", "birth_date", "visit_date", "family_id", "sampling_weight", "stratum", "cluster",
		"rest_min", "caffeine_h", "exercise_h", "tobacco_h", "meal_h", "alcohol_h", "vasoactive", "legs_crossed"}
}

// characteristicColumns lists what Table 1 describes: the declared columns, else what the
// study knows of its people, the cuff's values and the plan's variables.
func (c *cohort) characteristicColumns(plan schema.Analysis) []string {
	if len(plan.Tables.Characteristics) > 0 {
		return plan.Tables.Characteristics
	}
	var names []string
	for _, column := range c.frame.Table.Columns[carriedFrom(c.frame.Table):] {
		if column.Kind != schema.Date && column.Kind != schema.Wave && !slices.Contains(notCharacteristics(), column.Name) && !isValue(column.Name) {
			names = append(names, column.Name)
		}
	}
	names = append(names, "heart_rate_bpm", "brachial_sbp_mmhg", "brachial_dbp_mmhg", "brachial_map_mmhg", "brachial_pp_mmhg")
	for _, name := range plan.Variables {
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	by := tableBy(plan)
	return slices.DeleteFunc(names, func(name string) bool {
		return name == by || !c.frame.Has(name) || strings.HasPrefix(name, "departed_")
	})
}

// carriedFrom is where the columns begin that came with the subject.
func carriedFrom(t schema.Table) int {
	own := schema.SubjectVisitsTable(nil)
	for i, column := range t.Columns {
		if own.Index(column.Name) < 0 {
			return i
		}
	}
	return len(t.Columns)
}

func isValue(name string) bool { return schema.SubjectVisitsTable(nil).Index(name) >= 0 }

// characteristicStatistic tells the statistics that Table 1 is made of.
func characteristicStatistic(name string) bool {
	return slices.Contains([]string{"n", "n_missing", "mean", "sd", "p25", "median", "p75"}, name) ||
		strings.HasPrefix(name, "count_") || strings.HasPrefix(name, "proportion_")
}

// characterise describes the people of every set, over all and by the levels of
// one column. It has no interval: Table 1 describes the sample.
func characterise(c *cohort, plan schema.Analysis, sets []set) *schema.Frame {
	by := tableBy(plan)
	var split []string
	if by != "" {
		split = []string{by}
	}
	out := schema.NewFrame(schema.CharacteristicsTable(by), 0)
	names := c.characteristicColumns(plan)
	for _, set := range sets {
		strata := c.newStrata(split, set.rows)
		frames := make([]*schema.Frame, len(names))
		inParallel(len(names), c.dealtBytes(strata, len(set.rows)), func(number int) func(i int) {
			s := summariser{c: c, est: c.estimator(), memory: c.memory(number), brief: true, columns: split, quantile: stats.QuantileType(plan.QuantileType)}
			return func(i int) {
				frames[i] = schema.NewFrame(out.Table, 0)
				if !c.tooManyLevels(names[i]) {
					s.variable(frames[i], set, strata, described{name: names[i], full: true})
				}
			}
		})
		for _, f := range frames {
			for row := range f.N {
				if characteristicStatistic(f.TextAt(row, "statistic")) {
					out.CopyRow(out.AddRow(), f, row)
				}
			}
		}
	}
	for _, column := range []string{"low", "high", "level"} {
		for row := range out.N {
			out.SetNumber(row, column, math.NaN())
		}
	}
	return out
}

// tooManyLevels reports a column of names that no table can list.
func (c *cohort) tooManyLevels(name string) bool {
	column := c.column(name)
	return !column.Numeric() && len(c.factor(name).levels) > mostCategories
}

// checkTables judges what the plan says of Table 1.
func (c *checker) checkTables() {
	tables := c.plan.Tables
	if by := tableBy(c.plan); by != "" {
		path := "tables.by"
		column, ok := c.levelled(path, by)
		switch {
		case !ok || slices.Contains(c.plan.Strata, by): // a stratum is judged as one
		case by == "subject_id" || column.Kind == schema.Number || column.Kind == schema.Date || column.Kind == schema.Wave:
			c.fault(path, by, "stratum_not_levels", "Table 1 is split by a column with levels", "declare a category")
		case slices.Contains(column.Levels, everyLevel):
			c.fault(path, by, "level_name_taken", "a level is called all, as the column of everybody is", "recode the level")
		}
		if slices.Contains(schema.Released(schema.CharacteristicsTable("")).Names(), by) && !slices.Contains(c.plan.Strata, by) {
			c.fault(path, by, "stratum_name_taken", "the table of characteristics has a column of its own with this name", "rename the covariate, or name another under tables.by")
		}
	}
	c.once("tables.characteristics", tables.Characteristics, "duplicate_item", "named twice")
	for i, name := range tables.Characteristics {
		path := fmt.Sprintf("tables.characteristics[%d]", i)
		column, ok := c.column(path, name)
		if ok && (name == "subject_id" || column.Kind == schema.Date || column.Kind == schema.Wave) {
			c.fault(path, name, "not_a_characteristic", "Table 1 describes numbers and columns with levels; this one holds "+string(column.Kind), "")
		}
	}
	for i, name := range tables.Median {
		c.numeric(fmt.Sprintf("tables.median[%d]", i), name)
	}
}
