package schema

import (
	"fmt"
	"maps"
	"slices"
)

// ImputationMethods lists the ways of imputing one column.
var ImputationMethods = []string{"pmm", "normal", "logistic", "multinomial"}

// mostCopies bounds imputations and iterations: more can only be a slip.
const mostCopies = 200

// missing judges how a model meets missing values.
func (c modelChecker) missing(m Model) {
	if m.Missing == nil {
		return
	}
	s := m.Missing.filled()
	if !c.oneOf("missing.method", s.Method, []string{CompleteCase, ChainedEquations}) {
		return
	}
	given := s.Imputations != 0 || s.Iterations != 0 || s.Variables != nil || s.Auxiliary != nil
	if s.Method == CompleteCase {
		if given {
			c.report("missing.method", s.Method, "setting_not_used", "complete cases need nothing beside the method", "method: chained_equations")
		}
		return
	}
	if s.Imputations < 2 || s.Imputations > mostCopies {
		c.report("missing.imputations", fmt.Sprint(s.Imputations), "out_of_range", fmt.Sprintf("from 2 to %d", mostCopies), "as many as the percentage of incomplete rows")
	}
	if s.Iterations < 1 || s.Iterations > mostCopies {
		c.report("missing.iterations", fmt.Sprint(s.Iterations), "out_of_range", fmt.Sprintf("from 1 to %d", mostCopies), "")
	}
	for _, name := range slices.Sorted(maps.Keys(s.Variables)) {
		c.oneOf("missing.variables."+name, s.Variables[name], ImputationMethods)
	}
}

// missing judges the columns that are imputed or help to.
func (c columnChecker) missing() {
	if !c.whole.Imputes() {
		return
	}
	s := c.whole.Missing
	taking := append(c.whole.Columns(), c.whole.Outcome)
	for i, name := range s.Auxiliary {
		at := fmt.Sprintf("missing.auxiliary[%d]", i)
		column, ok := c.find(at, name)
		switch {
		case !ok:
		case name == "subject_id" || column.Kind == Date || column.Kind == Wave:
			c.report(at, name, "term_not_usable", "a helping column is a number or has levels", "")
		case slices.Contains(taking, name):
			c.report(at, name, "duplicate_item", "in the model already", "leave it out here")
		}
	}
	taking = append(taking, s.Auxiliary...)
	for _, name := range slices.Sorted(maps.Keys(s.Variables)) {
		at := "missing.variables." + name
		if !slices.Contains(taking, name) {
			c.report(at, name, "unknown_column", "no term, outcome or auxiliary column of the model", near(name, taking))
			continue
		}
		column, ok := c.find(at, name)
		if !ok {
			continue
		}
		levels := column.Textual() || c.whole.asFactor(name) || name == c.whole.Outcome && (c.whole.Kind == LogisticModel || c.whole.Kind == PrevalenceRatio)
		if method := s.Variables[name]; levels != (method == "logistic" || method == "multinomial") {
			hint := "pmm or normal"
			if levels {
				hint = "logistic or multinomial"
			}
			c.report(at, method, "method_of_another_kind", "a column of "+string(column.Kind)+" is not imputed so", hint)
		}
	}
}

// asFactor reports whether a term takes the column's numbers for levels.
func (m Model) asFactor(name string) bool {
	var is func(t Term) bool
	is = func(t Term) bool {
		return t.Column == name && t.FormOf() == Factor || slices.ContainsFunc(t.Interaction, is)
	}
	return slices.ContainsFunc(m.Terms, is)
}
