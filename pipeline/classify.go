package pipeline

import (
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// classify writes the class of a row's pressure and its scheme.
func classify(f *schema.Frame, row int, scheme study.Scheme) {
	sbp, dbp := classedBy(scheme)
	f.SetText(row, "bp_class", study.Classify(f.Number(row, sbp), f.Number(row, dbp), scheme))
	f.SetText(row, "bp_class_scheme", scheme.Name)
}

// classedBy names the columns that a scheme classifies: a scheme of central pressure
// that, any other the brachial.
func classedBy(scheme study.Scheme) (sbp, dbp string) {
	site := "brachial"
	if scheme.Central() {
		site = "central"
	}
	return site + "_sbp_mmhg", site + "_dbp_mmhg"
}

// classed makes bp_class of a person-level table follow the named scheme, its
// levels in their order.
func classed(f *schema.Frame, name string) (*schema.Frame, error) {
	scheme, err := study.SchemeByName(name)
	if err != nil {
		return nil, err
	}
	others := false
	schemes := f.Labels("bp_class_scheme")
	schemes.Each(func(_ int, other string) { others = others || other != name })
	out := f
	if others {
		classes, names := schema.NewLabelsBuilder(f.N), schema.NewLabelsBuilder(f.N)
		given := f.Labels("bp_class")
		sbp, dbp := classedBy(scheme)
		systolic, diastolic := f.Numbers(sbp), f.Numbers(dbp)
		for row := range f.N {
			class := given.At(row)
			if schemes.At(row) != name {
				class = study.Classify(systolic[row], diastolic[row], scheme)
			}
			classes.Add(class)
			names.Add(name)
		}
		out = f.With("bp_class", schema.Data{Labels: classes.Labels()}).With("bp_class_scheme", schema.Data{Labels: names.Labels()})
	}
	out.Table = scheme.WithClasses(out.Table)
	return out, nil
}
