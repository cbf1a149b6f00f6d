package release_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tonocohort/pipeline/release"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
	"tonocohort/schema/published"
)

// invented is a made-up cohort with small strata, missing ages and missing
// values; nothing is checked against its numbers.
func invented(random *rand.Rand, n int) *schema.Frame {
	columns := []schema.Column{
		{Name: "sex", Kind: schema.Category, Levels: []string{"female", "male", "other", "unknown"}},
		{Name: "age_years", Kind: schema.Number, Unit: "years"},
		{Name: "height_cm", Kind: schema.Number, Unit: "cm"},
		{Name: "treated", Kind: schema.Category, Levels: schema.YesNo},
		{Name: "smoker", Kind: schema.Category, Levels: []string{"never", "former", "current"}},
	}
	f := schema.NewFrame(schema.SubjectVisitsTable(columns), n)
	for i := range n {
		row := f.AddRow()
		age := 18 + 67*random.Float64()
		pp := 25 + 0.3*age + 8*random.NormFloat64()
		f.SetText(row, "subject_id", fmt.Sprintf("s%05d", i))
		f.SetText(row, "visit_id", "v1")
		f.SetText(row, "status", "used")
		f.SetText(row, "sex", []string{"female", "male"}[random.IntN(2)])
		f.SetText(row, "treated", []string{"no", "no", "no", "yes"}[random.IntN(4)])
		f.SetText(row, "smoker", []string{"never", "never", "former", "current"}[random.IntN(4)])
		f.SetNumber(row, "age_years", age)
		f.SetNumber(row, "height_cm", 170+9*random.NormFloat64())
		f.SetNumber(row, "central_pp_mmhg", pp)
		f.SetNumber(row, "brachial_pp_mmhg", 1.3*pp+3*random.NormFloat64())
		f.SetNumber(row, "brachial_sbp_mmhg", 120+15*random.NormFloat64())
		f.SetNumber(row, "augmentation_index_pct", 25+10*random.NormFloat64())
		if random.IntN(100) == 0 {
			f.SetNumber(row, "age_years", math.NaN())
		}
		if random.IntN(12) == 0 {
			f.SetNumber(row, "augmentation_index_pct", math.NaN())
		}
		if random.IntN(60) == 0 {
			f.SetText(row, "smoker", "")
		}
	}
	return f
}

func settings(change func(*schema.Settings)) schema.Settings {
	s := schema.DefaultSettings()
	below, atLeast := 140.0, 30.0
	s.Analysis.Sets = map[string][]schema.Rule{"all": {},
		"healthy": {{Column: "treated", Levels: []string{"no"}}, {Column: "brachial_sbp_mmhg", Below: &below}},
		"older":   {{Column: "age_years", AtLeast: &atLeast}}}
	s.Analysis.Age.Bands = []float64{18, 40, 60}
	s.Analysis.Variables = []string{"central_pp_mmhg", "augmentation_index_pct", "smoker"}
	s.Analysis.Models = nil
	if change != nil {
		change(&s)
	}
	return s
}

// study is a cohort with its statistics and what may leave of them.
type study struct {
	visits  *schema.Frame
	results tabulate.Results
	out     release.Output
}

// released runs the statistics and the disclosure control.
func released(t *testing.T, f *schema.Frame, s schema.Settings, own ...published.Set) (tabulate.Results, release.Output) {
	t.Helper()
	results := tabulate.Tables(f, s, "study.yaml", "analysis", own...)
	if schema.AnyStructural(results.Issues) {
		t.Fatal(results.Issues)
	}
	out, err := release.Check(release.Input{Tables: results.Frames(), Visits: f, People: release.People(results.People), Settings: s, Own: own})
	if err != nil {
		t.Fatal(err)
	}
	return results, out
}

func frame(t *testing.T, frames []*schema.Frame, name string) *schema.Frame {
	t.Helper()
	for _, f := range frames {
		if f.Table.Name == name {
			return f
		}
	}
	t.Fatalf("no table %s", name)
	return nil
}
