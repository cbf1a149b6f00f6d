package tabulate

import (
	"fmt"

	"tonocohort/schema"
)

// checkCentiles judges the declared centiles against the columns that they will
// meet.
func (c *checker) checkCentiles() {
	schema.CheckCentiles(c.plan.Centiles, setNames(c.plan), "centiles", c.fault)
	resolved := schema.ResolveCentiles(c.plan.Centiles, setNames(c.plan))
	for i, d := range resolved {
		if d.Variable != "" {
			c.numeric(fmt.Sprintf("centiles[%d].variable", i), d.Variable)
		}
	}
	if len(resolved) == 0 {
		return
	}
	for _, needed := range []string{"sex", "age_years"} {
		if c.table.Index(needed) < 0 {
			c.note("centiles", needed, "centiles_without_column", "centiles stand by sex and age, and this column is missing: none are computed", "")
		}
	}
}
