package tabulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tonocohort/schema"
)

// carried are columns as a study might declare them, beside some that no one
// foresaw.
func carried(extra ...schema.Column) []schema.Column {
	low, high := 0.0, 120.0
	return append([]schema.Column{
		{Name: "sex", Kind: schema.Category, Levels: []string{"female", "male", "other", "unknown"}},
		{Name: "age_years", Kind: schema.Number, Unit: "years", Low: &low, High: &high},
		{Name: "visit_date", Kind: schema.Date},
		{Name: "height_cm", Kind: schema.Number, Unit: "cm"},
		{Name: "treated", Kind: schema.Category, Levels: schema.YesNo},
		{Name: "posture", Kind: schema.Category, Levels: []string{"supine", "seated", "standing", "unknown"}},
		{Name: "centre", Kind: schema.Text},
	}, extra...)
}

// table builds a frame row by row.
type table struct{ *schema.Frame }

func newTable(extra ...schema.Column) table {
	return table{schema.NewFrame(schema.SubjectVisitsTable(carried(extra...)), 0)}
}

// add adds a used row; cells are given as name, value, name, value.
func (t table) add(subject, visit string, cells ...any) {
	row := t.AddRow()
	t.SetText(row, "subject_id", subject)
	t.SetText(row, "visit_id", visit)
	t.SetText(row, "status", "used")
	t.SetText(row, "calibration", "sbp_dbp")
	t.SetText(row, "central_method", "tube_constant")
	for i := 0; i < len(cells); i += 2 {
		switch v := cells[i+1].(type) {
		case string:
			t.SetText(row, cells[i].(string), v)
		case float64:
			t.SetNumber(row, cells[i].(string), v)
		case int:
			t.SetNumber(row, cells[i].(string), float64(v))
		default:
			panic(fmt.Sprintf("cell of %T", v))
		}
	}
}

// invented is a made-up cohort for tests of the plumbing: nothing is checked
// against its numbers.
func invented(n int) table {
	random := rand.New(rand.NewPCG(3, 5))
	t := newTable(schema.Column{Name: "lead_ug_l", Kind: schema.Number, Unit: "µg/L"})
	for i := range n {
		sex := []string{"female", "male"}[random.IntN(2)]
		age := 18 + 67*random.Float64()
		pp := 25 + 0.3*age + 6*random.NormFloat64()
		brachial := pp * (1.6 - 0.005*age) * (1 + 0.03*random.NormFloat64())
		dbp := 75 + 8*random.NormFloat64()
		lead := 20 + 5*random.NormFloat64()
		if i%17 == 0 {
			lead = math.NaN()
		}
		t.add(fmt.Sprintf("s%05d", i), "v1", "sex", sex, "age_years", age, "height_cm", 170+9*random.NormFloat64(),
			"treated", schema.YesNo[random.IntN(3)], "centre", []string{"north", "south"}[random.IntN(2)], "posture", "supine",
			"heart_rate_bpm", 68+9*random.NormFloat64(), "brachial_pp_mmhg", brachial, "brachial_dbp_mmhg", dbp,
			"brachial_sbp_mmhg", dbp+brachial, "brachial_map_mmhg", dbp+0.4*brachial, "brachial_map_source", "form_factor",
			"central_pp_mmhg", pp, "central_dbp_mmhg", dbp, "central_sbp_mmhg", dbp+pp, "pp_amplification_ratio", brachial/pp,
			"augmentation_index_pct", 25+10*random.NormFloat64(), "lead_ug_l", lead)
	}
	return t
}

// plan is the default plan with changes.
func plan(change func(*schema.Analysis)) schema.Settings {
	s := schema.DefaultSettings()
	if change != nil {
		change(&s.Analysis)
	}
	return s
}

// run computes the tables and fails on structural issues.
func run(t *testing.T, f table, s schema.Settings) Results {
	t.Helper()
	r := Tables(f.Frame, s, "study.yaml", "analysis")
	if schema.AnyStructural(r.Issues) {
		t.Fatalf("structural: %v", r.Issues)
	}
	noHiddenNaN(t, r)
	return r
}

// noHiddenNaN checks that no row has an interval without both ends or a level.
func noHiddenNaN(t *testing.T, r Results) {
	t.Helper()
	for _, f := range []*schema.Frame{r.Summary, r.Regression, r.Comparison} {
		for i := range f.N {
			low, high, level := f.Number(i, "low"), f.Number(i, "high"), f.Number(i, "level")
			if math.IsNaN(low) != math.IsNaN(high) || math.IsNaN(low) != math.IsNaN(level) || low > high {
				t.Errorf("%s row %d: %g to %g at level %g", f.Table.Name, i, low, high, level)
			}
			if e := f.Number(i, "estimate"); low > e || high < e {
				t.Errorf("%s row %d: estimate %g outside %g to %g", f.Table.Name, i, e, low, high)
			}
			for _, name := range []string{"method", "statistic", "set", "variable", "unit"} {
				if f.TextAt(i, name) == "" {
					t.Errorf("%s row %d: no %s (%s, %s)", f.Table.Name, i, name, f.TextAt(i, "variable"), f.TextAt(i, "statistic"))
				}
			}
		}
	}
}

// find returns the only row whose cells are as given: name, text, name, text.
func find(t *testing.T, f *schema.Frame, cells ...string) int {
	t.Helper()
	found := -1
	for row := range f.N {
		match := true
		for i := 0; i < len(cells); i += 2 {
			match = match && f.TextAt(row, cells[i]) == cells[i+1]
		}
		if match && found >= 0 {
			t.Fatalf("%s: two rows with %v", f.Table.Name, cells)
		}
		if match {
			found = row
		}
	}
	if found < 0 {
		t.Fatalf("%s: no row with %v", f.Table.Name, cells)
	}
	return found
}

// digits is how many digits of got agree with want.
func digits(got, want float64) float64 {
	d := math.Abs(got - want)
	if want != 0 {
		d /= math.Abs(want)
	}
	if d == 0 {
		return 16
	}
	return -math.Log10(d)
}

func agree(t *testing.T, what string, got, want float64) {
	t.Helper()
	if d := digits(got, want); !(d >= 9) {
		t.Errorf("%s: %.17g, want %.17g (%.1f digits)", what, got, want, d)
	}
}
