package pipeline

import (
	"math"
	"testing"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// A scheme of central pressure reads the central columns (Cheng 2013, J Am Coll
// Cardiol 62:1780-7: 130/90 mmHg), any other the brachial; rows of another
// scheme are classified anew, and the levels stand in their order.
func TestClassesFollowTheScheme(t *testing.T) {
	f := schema.NewFrame(schema.SubjectVisitsTable(nil), 0)
	for _, p := range [][4]float64{{150, 80, 128, 79}, {128, 78, 131, 78}, {math.NaN(), 80, 100, 70}} {
		row := f.AddRow()
		for i, name := range []string{"brachial_sbp_mmhg", "brachial_dbp_mmhg", "central_sbp_mmhg", "central_dbp_mmhg"} {
			f.SetNumber(row, name, p[i])
		}
	}
	for _, c := range []struct {
		scheme string
		want   [3]string
	}{
		{"JNC7", [3]string{"stage1", "prehypertension", ""}},
		{"CENTRAL_CHENG_2013", [3]string{"prehypertension", "hypertension", "optimal"}},
		{"ACC_AHA_2017", [3]string{"stage2", "elevated", ""}},
		{"ESC_ESH_2018", [3]string{"grade1", "normal", ""}},
	} {
		var err error
		if f, err = classed(f, c.scheme); err != nil {
			t.Fatal(err)
		}
		scheme, err := study.SchemeByName(c.scheme)
		if err != nil {
			t.Fatal(err)
		}
		for row, want := range c.want {
			if got := f.TextAt(row, "bp_class"); got != want || f.TextAt(row, "bp_class_scheme") != c.scheme {
				t.Errorf("%s, row %d: %q, want %q", c.scheme, row, got, want)
			}
		}
		if column := f.Column("bp_class"); column.Kind != schema.Category || len(column.Levels) != len(scheme.Categories) {
			t.Errorf("%s: %+v", c.scheme, column)
		}
	}
	if _, err := classed(f, "JNC_6"); err == nil {
		t.Error("an unknown scheme was accepted")
	}
}
