package release

import (
	"testing"

	"tonocohort/schema"
)

// How many values stood behind a row is hidden with how many people did.
func TestObservationsAreHiddenWithPeople(t *testing.T) {
	for name, hide := range map[string]func(*row){
		"all":    func(r *row) { r.hideAll(ruleMinimum) },
		"counts": func(r *row) { r.hideCounts(ruleMinimum) },
	} {
		f := schema.NewFrame(schema.Released(schema.AgreementTable()), 1)
		f.AddRow()
		for _, column := range []string{"n", "n_missing", "observations"} {
			f.SetNumber(0, column, 4)
		}
		r := &row{f: f, log: &reporter{}}
		hide(r)
		r.finish()
		for _, column := range []string{"n", "n_missing", "observations"} {
			if !f.Missing(0, column) {
				t.Errorf("%s hidden, and %s is %v", name, column, f.Number(0, column))
			}
		}
		if got := f.TextAt(0, schema.Suppressed); got != name {
			t.Errorf("hidden: %q", got)
		}
	}
}
