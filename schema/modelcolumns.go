package schema

import (
	"fmt"
	"slices"
	"strings"
)

// CheckModelColumns judges the declared models of a plan against the columns
// that they will meet.
func CheckModelColumns(a Analysis, columns []Column, path string, fault Fault) {
	table, declared := Table{Columns: columns}, a.Models
	drawn := a.Weights.Column != "" && a.Weights.Kind == "sampling" ||
		table.Index("sampling_weight") >= 0 || table.Index("stratum") >= 0 || table.Index("cluster") >= 0
	for i, whole := range ResolveModels(declared) {
		c := columnChecker{modelChecker{path: fmt.Sprintf("%s[%d]", path, i), fault: fault}, table, whole}
		c.outcome(a.Threshold)
		for j, t := range declared[i].Terms {
			c.columns(t, fmt.Sprintf("terms[%d]", j))
		}
		c.missing()
		c.mismeasured()
		if whole.Cluster != "" && whole.ClusterColumn() != "subject_id" {
			if column, ok := c.find("cluster", whole.Cluster); ok && column.Kind == Wave {
				c.report("cluster", whole.Cluster, "term_not_usable", "a cluster is a column of labels", "")
			}
		}
		if whole.Errors == DesignErrors && !drawn {
			c.report("errors", whole.Errors, "unknown_column", "errors by sampling design need analysis.weights, or sampling_weight, stratum or cluster in subjects", "errors: hc3")
		}
	}
}

// columnChecker judges one model against a table.
type columnChecker struct {
	modelChecker
	table Table
	whole Model
}

func (c columnChecker) find(at, name string) (Column, bool) {
	if i := c.table.Index(name); i >= 0 {
		return c.table.Columns[i], true
	}
	if name == "" {
		return Column{}, false
	}
	hint := near(name, c.table.Names())
	for _, known := range c.table.Names() {
		if hint == "" && len(name) > 2 && strings.HasPrefix(known, name+"_") {
			hint = "did you mean " + known + "?"
		}
	}
	if hint == "" {
		hint = "declare it under covariates or derive"
	}
	c.report(at, name, "unknown_column", "no column of subject_visits has this name", hint)
	return Column{}, false
}

func (c columnChecker) outcome(threshold map[string]float64) {
	m := c.whole
	column, ok := c.find("outcome", m.Outcome)
	if !ok {
		return
	}
	binary := m.Kind == LogisticModel || m.Kind == PrevalenceRatio
	_, planned := threshold[m.Outcome]
	switch {
	case binary && column.Textual() && m.Event == "":
		c.report("event", "", "missing_setting", "an outcome with levels needs the level that is the event", "event: "+first(column.Levels, "yes"))
	case binary && column.Textual() && len(column.Levels) > 0 && !slices.Contains(column.Levels, m.Event):
		c.report("event", m.Event, "unknown_value", "known values: "+strings.Join(column.Levels, ", "), near(m.Event, column.Levels))
	case binary && column.Textual() && m.Threshold != nil:
		c.report("threshold", plainNumber(*m.Threshold), "setting_not_used", "an outcome with levels has an event", "")
	case binary && column.Textual():
	case !column.Numeric():
		c.report("outcome", m.Outcome, "column_not_number", "a column of numbers is needed; this one holds "+string(column.Kind), "")
	case binary && m.Event != "":
		c.report("event", m.Event, "setting_not_used", "an outcome of numbers has a threshold", "threshold: 50")
	case binary && column.Kind != Boolean && m.Threshold == nil && !planned:
		c.report("threshold", "", "missing_setting", "an outcome of numbers needs the value from which on it counts", "threshold: 50, or analysis.threshold")
	}
}

func (c columnChecker) columns(t Term, at string) {
	for i, part := range t.Interaction {
		c.columns(part, fmt.Sprintf("%s.interaction[%d]", at, i))
	}
	if len(t.Interaction) > 0 {
		return
	}
	column, ok := c.find(at, t.Column)
	form := t.FormOf()
	switch {
	case !ok:
	case t.Column == "subject_id":
		c.report(at, t.Column, "term_of_persons", "every person would be a level", "")
	case column.Kind == Date || column.Kind == Wave:
		c.report(at, t.Column, "term_not_usable", "a term is a number or a column with levels; this one holds "+string(column.Kind), "")
	case column.Textual() && form != Factor && form != Linear:
		c.report(at+".form", form, "term_not_usable", "a column with levels is a factor, not "+form, "form: factor")
	case column.Kind == Number && form == Factor:
		c.report(at+".form", form, "term_not_usable", "a column of numbers has no levels", "declare a category, or use natural_spline")
	case t.Reference != "" && len(column.Levels) > 0 && !slices.Contains(column.Levels, t.Reference):
		c.report(at+".reference", t.Reference, "unknown_value", "known values: "+strings.Join(column.Levels, ", "), near(t.Reference, column.Levels))
	}
}

func first(items []string, otherwise string) string {
	if len(items) > 0 {
		return items[0]
	}
	return otherwise
}
