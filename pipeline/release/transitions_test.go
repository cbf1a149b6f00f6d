package release_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"tonocohort/schema"
)

// Ninety come to a second visit and two to a third: pairs of all visits less those
// from the first to the second would count the two.
func TestPairsOfFewDoNotFollow(t *testing.T) {
	f := invented(rand.New(rand.NewPCG(51, 52)), 120)
	again := func(from, to int, visit string, years float64) {
		for row := from; row < to; row++ {
			at := f.AddRow()
			f.CopyRow(at, f, row)
			f.SetText(at, "visit_id", visit)
			f.SetNumber(at, "age_years", f.Number(row, "age_years")+years)
			f.SetNumber(at, "central_pp_mmhg", f.Number(row, "central_pp_mmhg")+1)
		}
	}
	again(0, 90, "v2", 1)
	again(0, 2, "v3", 2)
	_, out := released(t, f, settings(func(s *schema.Settings) {
		s.Analysis.Sets = map[string][]schema.Rule{"all": {}}
		s.Analysis.Strata = []string{"sex"}
		s.Analysis.Centiles, s.Analysis.CompareWith = nil, nil
		s.Analysis.Variables = []string{"central_pp_mmhg"}
	}))
	table := frame(t, out.Tables, "change")
	told := map[string]string{}
	for row := range table.N {
		if table.TextAt(row, "sex") == "all" && table.TextAt(row, "statistic") == "n_pairs" && table.TextAt(row, "variable") == "central_pp_mmhg" {
			told[table.TextAt(row, "from_visit")+"-"+table.TextAt(row, "to_visit")] = fmt.Sprint(table.Number(row, "estimate"))
		}
	}
	if told["all-all"] != "92" || told["v1-v2"] != "NaN" || told["v2-v3"] != "NaN" {
		t.Errorf("pairs: %v", told)
	}
}
