package study

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"tonocohort/schema"
)

// LoadAnalysis reads the plan of the statistics from a file of its own: the
// keys below analysis, or analysis itself as the only key. Columns are those
// of the subject_visits table that the plan will meet; with nil, names of
// columns are not checked. The issues are sorted; a structural one means that
// the plan must not be used. As in study.yaml, a default model loses, with a
// note, the terms that the table has no column for.
func LoadAnalysis(data []byte, name string, columns []schema.Column, o Options) (schema.Analysis, []schema.Issue) {
	d, a := newDecoder(name), schema.DefaultAnalysis()
	root := d.parse(data)
	if root == nil {
		return a, d.issues
	}
	section := ""
	if root.Kind == yaml.MappingNode && len(root.Content) == 2 && root.Content[0].Value == "analysis" {
		root, section = root.Content[1], "analysis"
	}
	d.value(root, reflect.ValueOf(&a).Elem(), section)
	d.fillModels(&a, join(section, "models"))
	d.checkAnalysis(a, section, o)
	if columns != nil {
		d.checkColumns(&a, section, columns)
	}
	schema.SortIssues(d.issues)
	return a, d.issues
}

// fillModels gives the models what they do not say.
func (d *decoder) fillModels(a *schema.Analysis, path string) {
	for i := range a.Models {
		at := fmt.Sprintf("%s[%d]", path, i)
		if a.Models[i].Set == "" && !d.given(join(at, "set")) {
			a.Models[i].Set = "all"
		}
		if a.Models[i].Errors == "" && !d.given(join(at, "errors")) {
			a.Models[i].Errors = "hc3"
		}
	}
}

// checkAnalysis judges what needs no knowledge of the tables.
func (d *decoder) checkAnalysis(a schema.Analysis, section string, o Options) {
	at := func(path string) string { return join(section, path) }
	if !isIdentifier(a.Visit) {
		d.fault(at("visit"), a.Visit, "bad_id", "first, last, all or a visit_id", "")
	}
	for i, low := range a.Age.Bands {
		path := fmt.Sprintf("%s[%d]", at("age.bands"), i)
		d.within(path, low, 0, 120)
		if i > 0 && low <= a.Age.Bands[i-1] {
			d.fault(path, plainNumber(low), "bands_not_ascending", "each lower bound lies above the one before", "")
		}
	}
	if len(a.Age.Bands) == 0 {
		d.fault(at("age.bands"), "", "empty_setting", "no age band", "name the lower bounds, ascending")
	}
	for _, name := range slices.Sorted(maps.Keys(a.Sets)) {
		if !isIdentifier(name) {
			d.fault(at("sets."+name), name, "bad_name", identifierRule, "")
		}
	}
	d.within(at("quantile_type"), float64(a.QuantileType), 1, 9)
	d.oneOf(at("bp_scheme"), a.BPScheme, schemeNames())
	d.once(at("variables"), a.Variables)
	d.once(at("strata"), a.Strata)
	d.once(at("compare_with"), a.CompareWith)
	if o.Published != nil {
		for i, name := range a.CompareWith {
			d.oneOf(fmt.Sprintf("%s[%d]", at("compare_with"), i), name, o.Published)
		}
	}
	seen := map[string]bool{}
	for i, m := range a.Models {
		path := fmt.Sprintf("%s[%d]", at("models"), i)
		if seen[m.Name] {
			d.fault(join(path, "name"), m.Name, "duplicate_model", "two models have this name", "")
		}
		seen[m.Name] = true
		d.checkModel(m, a, path, o)
	}
}

func (d *decoder) checkModel(m schema.Model, a schema.Analysis, path string, o Options) {
	switch {
	case m.Name == "":
		d.fault(join(path, "name"), "", "missing_setting", "required for a model", "")
	case !isIdentifier(m.Name):
		d.fault(join(path, "name"), m.Name, "bad_name", identifierRule, "")
	}
	if m.Outcome == "" {
		d.fault(join(path, "outcome"), "", "missing_setting", "required for a model", "")
	}
	if len(m.Terms) == 0 {
		d.fault(join(path, "terms"), "", "missing_setting", "a model has at least one term", "")
	}
	d.once(join(path, "terms"), m.Terms)
	if i := slices.Index(m.Terms, m.Outcome); i >= 0 && m.Outcome != "" {
		d.fault(fmt.Sprintf("%s.terms[%d]", path, i), m.Outcome, "outcome_as_term", "the outcome is among its own terms", "")
	}
	if _, ok := a.Sets[m.Set]; !ok {
		known := slices.Sorted(maps.Keys(a.Sets))
		d.fault(join(path, "set"), m.Set, "unknown_set", "no such set; declared: "+strings.Join(known, ", "), "declare it under sets, or name the model's set")
	}
	d.supported(join(path, "errors"), m.Errors, []string{"classical", "hc3"}, o.ModelErrors)
}

// once reports items of a list that stand in it twice.
func (d *decoder) once(path string, items []string) {
	seen := make(map[string]bool, len(items))
	for i, item := range items {
		if seen[item] {
			d.fault(fmt.Sprintf("%s[%d]", path, i), item, "duplicate_item", "named twice", "keep one")
		}
		seen[item] = true
	}
}

// checkColumns judges the plan against the columns that it will meet.
func (d *decoder) checkColumns(a *schema.Analysis, section string, columns []schema.Column) {
	table := schema.Table{Columns: columns}
	at := func(path string) string { return join(section, path) }
	for _, name := range slices.Sorted(maps.Keys(a.Sets)) {
		for i, rule := range a.Sets[name] {
			d.checkRule(rule, fmt.Sprintf("%s[%d]", at("sets."+name), i), table)
		}
	}
	for i, name := range a.Variables {
		d.column(fmt.Sprintf("%s[%d]", at("variables"), i), name, table)
	}
	for i, name := range a.Strata {
		path := fmt.Sprintf("%s[%d]", at("strata"), i)
		if name == "age_band" {
			continue
		}
		if c, ok := d.column(path, name, table); ok && (c.Kind == schema.Number || c.Kind == schema.Date) {
			d.fault(path, name, "stratum_not_levels", "a stratum is a column with levels", "declare a category, or use age_band")
		}
	}
	for _, name := range slices.Sorted(maps.Keys(a.Threshold)) {
		d.numeric(at("threshold."+name), name, table)
	}
	for i := range a.Models {
		path := fmt.Sprintf("%s[%d]", at("models"), i)
		d.numeric(path+".outcome", a.Models[i].Outcome, table)
		if !d.given(at("models")) {
			d.dropTerms(&a.Models[i], path, table)
		}
		for j, term := range a.Models[i].Terms {
			if term != "age_band" {
				d.column(fmt.Sprintf("%s.terms[%d]", path, j), term, table)
			}
		}
	}
}

// dropTerms takes out of a default model what the study has no column for,
// and says so: a study that declares no model must run without these columns.
func (d *decoder) dropTerms(m *schema.Model, path string, table schema.Table) {
	m.Terms = slices.DeleteFunc(m.Terms, func(term string) bool {
		absent := table.Index(term) < 0
		if absent {
			d.fault(path+".terms", term, "default_term_absent", "no such column here: left out of the default model", "declare analysis.models to choose the terms")
			d.issues[len(d.issues)-1].Size = schema.SizeNote
		}
		return absent
	})
}

// column finds the named column or reports that there is none.
func (d *decoder) column(path, name string, table schema.Table) (schema.Column, bool) {
	if i := table.Index(name); i >= 0 {
		return table.Columns[i], true
	}
	if name == "" {
		return schema.Column{}, false // reported as wrong type or missing
	}
	hint := didYouMean(name, table.Names())
	if hint == "" {
		hint = "declare it under covariates or derive"
	}
	d.fault(path, name, "unknown_column", "no column of subject_visits has this name", hint)
	return schema.Column{}, false
}

func (d *decoder) numeric(path, name string, table schema.Table) {
	if c, ok := d.column(path, name, table); ok && !c.Numeric() {
		d.fault(path, name, "column_not_number", "a column of numbers is needed; this one holds "+string(c.Kind), "")
	}
}

func (d *decoder) checkRule(rule schema.Rule, path string, table schema.Table) {
	path = join(path, rule.Column)
	c, ok := d.column(path, rule.Column, table)
	if c.Kind == schema.Boolean && len(rule.Levels) > 0 {
		c.Kind, c.Levels = schema.Category, []string{"no", "yes"}
	}
	switch {
	case !ok:
	case rule.Levels == nil && rule.Below == nil && rule.AtLeast == nil && rule.Above == nil && rule.AtMost == nil: // reported
	case len(rule.Levels) > 0 && c.Numeric():
		d.fault(path, rule.Column, "rule_needs_bounds", "a column of numbers takes bounds, not levels", "{"+rule.Column+": {at_least: …}}")
	case rule.Levels == nil && !c.Numeric():
		d.fault(path, rule.Column, "rule_needs_levels", "a column of "+string(c.Kind)+" takes levels, not bounds", "{"+rule.Column+": [level, …]}")
	case len(c.Levels) > 0:
		for i, level := range rule.Levels {
			d.oneOf(fmt.Sprintf("%s.levels[%d]", path, i), level, c.Levels)
		}
	}
}
