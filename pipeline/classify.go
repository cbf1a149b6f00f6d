package pipeline

import (
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// classify writes the class of a row's pressure and its scheme. A scheme of
// central pressure classifies that, any other the brachial.
func classify(f *schema.Frame, row int, scheme study.Scheme) {
	site := "brachial"
	if scheme.Central() {
		site = "central"
	}
	class := study.Classify(f.Number(row, site+"_sbp_mmhg"), f.Number(row, site+"_dbp_mmhg"), scheme)
	f.SetText(row, "bp_class", class)
	f.SetText(row, "bp_class_scheme", scheme.Name)
}

// classed makes bp_class of a person-level table follow the named scheme, its
// levels in their order.
func classed(f *schema.Frame, name string) error {
	scheme, err := study.SchemeByName(name)
	if err != nil {
		return err
	}
	f.Table = scheme.WithClasses(f.Table)
	for row, other := range f.Texts("bp_class_scheme") {
		if other != name {
			classify(f, row, scheme)
		}
	}
	return nil
}
