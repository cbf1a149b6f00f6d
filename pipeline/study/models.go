package study

import (
	"fmt"
	"reflect"
	"slices"

	"go.yaml.in/yaml/v3"

	"tonocohort/schema"
)

// term decodes a term of a model: the name of a column, or keys with values.
func (d *decoder) term(n *yaml.Node, t *schema.Term, path string) {
	switch {
	case n.Kind == yaml.ScalarNode:
		d.value(n, reflect.ValueOf(&t.Column).Elem(), path)
	case n.Kind == yaml.MappingNode:
		d.structure(n, reflect.ValueOf(t).Elem(), path)
	default:
		d.wrongType(n, path, "a column or {column: …, form: …}", "[age_years, {column: smoker, reference: never}, {interaction: [sex, age_years]}]")
	}
}

// checkModelColumns judges the models against the columns that they will meet.
// Default models lose what the study has no column for.
func (d *decoder) checkModelColumns(a *schema.Analysis, path string, columns []schema.Column) {
	table := schema.Table{Columns: columns}
	if !d.given(path) {
		for i := range a.Models {
			d.dropTerms(&a.Models[i], fmt.Sprintf("%s[%d]", path, i), table)
		}
	}
	if table.Index("age_band") < 0 && table.Index("age_years") >= 0 {
		columns = append(slices.Clone(columns), schema.Column{Name: "age_band", Kind: schema.Category})
	}
	schema.CheckModelColumns(*a, columns, path, d.fault)
}

// dropTerms takes out of a default model what the study has no column for,
// and says so: a study that declares no model must run without these columns.
func (d *decoder) dropTerms(m *schema.Model, path string, table schema.Table) {
	m.Terms = slices.DeleteFunc(m.Terms, func(t schema.Term) bool {
		absent := slices.ContainsFunc(t.Columns(), func(name string) bool { return table.Index(name) < 0 })
		if absent {
			d.fault(path+".terms", t.Label(), "default_term_absent", "no such column here: left out of the default model", "declare analysis.models to choose the terms")
			d.issues[len(d.issues)-1].Size = schema.SizeNote
		}
		return absent
	})
}
