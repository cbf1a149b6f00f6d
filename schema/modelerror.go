package schema

import (
	"fmt"
	"slices"
	"strings"
)

// mismeasured judges what a model says of error in a column.
func (c modelChecker) mismeasured(m, whole Model) {
	e := whole.MeasurementError
	if m.MeasurementError == nil {
		return
	}
	switch {
	case e.Column == "":
		c.report("measurement_error.column", "", "missing_setting", "required", "{column: brachial_map_mmhg}")
	case !slices.Contains(whole.Columns(), e.Column):
		c.report("measurement_error.column", e.Column, "unknown_column", "no term of the model has this column", near(e.Column, whole.Columns()))
	}
	if e.Simulations < 2 || e.Simulations > 10000 {
		c.report("measurement_error.simulations", fmt.Sprint(e.Simulations), "out_of_range", "from 2 to 10000", "")
	}
	switch {
	case whole.Kind == RandomIntercept || whole.Errors == DesignErrors:
		c.report("measurement_error", whole.Kind, "setting_not_used", "errors in a column are not corrected in random intercepts or by sampling design", "")
	case whole.Imputes():
		c.report("measurement_error", "", "setting_not_used", "errors in a column are corrected on complete cases only", "missing: {method: complete_case}")
	}
}

// mismeasured judges where the errors of the column come from.
func (c columnChecker) mismeasured() {
	e := c.whole.MeasurementError
	if e == nil || e.Column == "" || !slices.Contains(c.whole.Columns(), e.Column) {
		return
	}
	if i := c.table.Index(e.Column); i >= 0 && !c.table.Columns[i].Numeric() {
		c.report("measurement_error.column", e.Column, "column_not_number", "a column of numbers is needed", "")
		return
	}
	if e.SE != "" {
		if column, ok := c.find("measurement_error.se", e.SE); ok && !column.Numeric() {
			c.report("measurement_error.se", e.SE, "column_not_number", "a column of numbers is needed", "")
		}
	} else if c.table.Index(e.Column+"_se") < 0 && !CuffValue(e.Column) {
		c.report("measurement_error.se", e.Column+"_se", "unknown_column", "no column holds the standard errors of "+e.Column, "name it: se: COLUMN")
	}
	if SharesCuff(e.Column) && SharesCuff(c.whole.Outcome) && (e.SE != "" || !CuffValue(e.Column)) {
		c.report("measurement_error", e.Column, "shared_cuff_error", "the error of the cuff is in "+e.Column+" and in the outcome, and these standard errors do not say how much of it they share", "for a brachial value leave se out: both then come from the spreads of uncertainty")
	}
}

// CuffValue reports a column that holds a cuff pressure.
func CuffValue(name string) bool {
	return slices.Contains([]string{"brachial_sbp_mmhg", "brachial_dbp_mmhg", "brachial_map_mmhg", "brachial_pp_mmhg"}, name)
}

// SharesCuff reports a column whose value scales with the cuff's: a brachial
// pressure, or a central one or the augmentation pressure of a wave that the cuff
// gave its scale. Indices without a unit do not.
func SharesCuff(name string) bool {
	return CuffValue(name) || name == "augmentation_pressure_mmhg" || strings.HasPrefix(name, "central_") && strings.HasSuffix(name, "_mmhg")
}
