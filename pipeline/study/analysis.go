package study

import (
	"cmp"
	"fmt"
	"maps"
	"reflect"
	"slices"

	"go.yaml.in/yaml/v3"

	"tonocohort/schema"
)

// Plan is the plan of the statistics from a file of its own.
type Plan struct {
	schema.Analysis
	Section string         // below which the settings stand: "" or analysis
	Issues  []schema.Issue // sorted; with a structural one the plan must not be used

	settings *decoder
}

// Locate gives issues about the plan's file that name a setting the place where
// it, or the nearest section around it, stands.
func (p Plan) Locate(issues []schema.Issue) { p.settings.locate(issues) }

// LoadAnalysis reads the plan of the statistics from a file of its own: the
// keys below analysis, or analysis itself as the only key. Columns are those
// of the subject_visits table that the plan will meet; with nil, names of
// columns are not checked. As in study.yaml, a default model loses, with a
// note, the terms that the table has no column for.
func LoadAnalysis(data []byte, name string, columns []schema.Column, o Options) Plan {
	d := newDecoder(name)
	p := Plan{Analysis: schema.DefaultAnalysis(), settings: d}
	root := d.parse(data)
	if root == nil {
		p.Issues = d.issues
		return p
	}
	if root.Kind == yaml.MappingNode && len(root.Content) == 2 && root.Content[0].Value == "analysis" {
		root, p.Section = root.Content[1], "analysis"
	}
	d.value(root, reflect.ValueOf(&p.Analysis).Elem(), p.Section)
	p.CompareFiles = d.compareFiles
	d.orderSets(&p.Analysis, p.Section)
	d.checkAnalysis(p.Analysis, p.Section, o)
	if columns != nil {
		table := schema.Table{Columns: columns}
		if scheme, err := SchemeByName(p.BPScheme); err == nil { // else it is reported
			table = scheme.WithClasses(table)
		}
		d.checkColumns(&p.Analysis, p.Section, table.Columns)
	}
	p.Models = schema.ResolveModels(p.Models)
	p.Centiles = schema.ResolveCentiles(p.Centiles, setNames(p.Analysis))
	schema.SortIssues(d.issues)
	p.Issues = d.issues
	return p
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
	d.once(at("set_order"), a.SetOrder)
	for i, name := range a.SetOrder {
		d.oneOf(fmt.Sprintf("%s[%d]", at("set_order"), i), name, setNames(a))
	}
	d.within(at("quantile_type"), float64(a.QuantileType), 1, 9)
	d.oneOf(at("bp_scheme"), a.BPScheme, schemeNames())
	d.once(at("variables"), a.Variables)
	d.once(at("strata"), a.Strata)
	d.oneOf(at("tables.style"), a.Tables.Style, schema.TableStyles)
	d.once(at("tables.characteristics"), a.Tables.Characteristics)
	d.once(at("tables.median"), a.Tables.Median)
	d.checkCompared(a, at("compare_with"), o)
	schema.CheckModels(a.Models, setNames(a), at("models"), d.fault)
	schema.CheckSensitivity(a, at("sensitivity"), d.fault)
	schema.CheckCentiles(a.Centiles, setNames(a), at("centiles"), d.fault)
}

// orderSets puts the sets in the order in which the file has them where the plan
// does not say it; everyone comes first unless the file has it elsewhere.
func (d *decoder) orderSets(a *schema.Analysis, section string) {
	path := join(section, "set_order")
	if d.given(path) || len(a.Sets) == 0 {
		return
	}
	line := func(name string) place { return d.at[join(section, "sets."+name)] } // zero for one that the file does not have
	a.SetOrder = setNames(*a)
	slices.SortStableFunc(a.SetOrder, func(x, y string) int {
		p, q := line(x), line(y)
		return cmp.Or(cmp.Compare(p.line, q.line), cmp.Compare(p.column, q.column))
	})
	if len(a.SetOrder) < 2 {
		a.SetOrder = nil
	}
}

// setNames lists the analysis sets of a plan, sorted.
func setNames(a schema.Analysis) []string {
	return slices.Sorted(maps.Keys(withEveryone(a.Sets)))
}

// withEveryone adds the analysis set that every plan has.
func withEveryone(sets map[string][]schema.Rule) map[string][]schema.Rule {
	all := maps.Clone(sets)
	if all == nil {
		all = map[string][]schema.Rule{}
	}
	all["all"] = nil
	return all
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
	d.checkModelColumns(a, at("models"), columns)
	for i, c := range a.Centiles {
		if c.Variable != "" {
			d.numeric(fmt.Sprintf("%s[%d].variable", at("centiles"), i), c.Variable, table)
		}
	}
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
