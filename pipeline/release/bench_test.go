package release_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"tonocohort/pipeline/release"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

// BenchmarkCheck is the disclosure control of summaries, Table 1, comparison and
// flow, by the number of people and by the strata that they are split by.
func BenchmarkCheck(b *testing.B) {
	tall := 165.0
	for _, c := range []struct {
		people int
		bands  []float64
		strata []string
		sets   int // beside all, healthy and older
	}{
		{600, []float64{18, 30, 40, 50, 60, 70, 80}, []string{"sex", "age_band"}, 0},
		{2000, []float64{18, 30, 40, 50, 60, 70, 80}, []string{"sex", "age_band"}, 0},
		{2000, []float64{18, 40, 60}, []string{"sex", "age_band", "smoker"}, 0},
		{2000, []float64{18, 30, 40, 50, 60, 70, 80}, []string{"sex", "age_band", "smoker"}, 0},
		{5000, []float64{18, 30, 40, 50, 60, 70, 80}, []string{"sex", "age_band", "smoker"}, 0},
		{200000, []float64{18, 30, 40, 50, 60, 70, 80}, []string{"sex", "age_band", "smoker"}, 2},
		{480, []float64{18, 40, 60}, []string{"sex", "age_band", "smoker"}, 2},
		{480, []float64{18, 40, 60}, []string{"sex", "age_band", "smoker", "treated"}, 2},
	} {
		f := invented(rand.New(rand.NewPCG(1, 2)), c.people)
		s := settings(func(s *schema.Settings) {
			s.Analysis.Age.Bands, s.Analysis.Strata = c.bands, c.strata
			s.Analysis.Sets["tall"] = []schema.Rule{{Column: "height_cm", AtLeast: &tall}}
			s.Analysis.Sets["untreated"] = []schema.Rule{{Column: "treated", Levels: []string{"no"}}}
			for _, name := range []string{"tall", "untreated"}[c.sets:] {
				delete(s.Analysis.Sets, name)
			}
			s.Analysis.Variables = []string{"central_pp_mmhg", "brachial_sbp_mmhg", "augmentation_index_pct"}
		})
		results := tabulate.Tables(f, s, "study.yaml", "analysis")
		if schema.AnyStructural(results.Issues) {
			b.Fatal(results.Issues)
		}
		in := release.Input{Tables: results.Frames(), Visits: f, People: release.People(results.People), Settings: s}
		b.Run(fmt.Sprintf("people=%d/strata=%d/bands=%d/sets=%d", c.people, len(c.strata), len(c.bands), len(s.Analysis.Sets)), func(b *testing.B) {
			for b.Loop() {
				if _, err := release.Check(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
