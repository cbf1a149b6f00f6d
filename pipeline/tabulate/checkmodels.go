package tabulate

import (
	"fmt"
	"slices"

	"tonocohort/schema"
)

// checkModels judges the declared models against the columns that they will
// meet.
func (c *checker) checkModels() {
	schema.CheckModels(c.plan.Models, setNames(c.plan), "models", c.fault)
	schema.CheckSensitivity(c.plan, "sensitivity", c.fault)
	columns := c.table.Columns
	if c.table.Index(ageBand) < 0 && c.table.Index("age_years") >= 0 {
		columns = append(slices.Clone(columns), schema.Column{Name: ageBand, Kind: schema.Category, Levels: c.plan.Age.Labels()})
	}
	schema.CheckModelColumns(c.plan, columns, "models", c.fault)
	for i, m := range schema.ResolveModels(c.plan.Models) {
		for _, text := range arithmeticNotes(m) {
			c.note(fmt.Sprintf("models[%d].terms", i), m.Outcome, "outcome_by_arithmetic", text, "leave one of them out")
		}
	}
}
