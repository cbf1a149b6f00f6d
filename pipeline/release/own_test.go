package release_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"tonocohort/pipeline/release"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
	"tonocohort/schema/published"
)

// A published set of the study's own cuts age in its own way. Beside the bands of
// the plan that gives away who lies between, unless it is known to do so.
const ownBands = `# source: invented
# reading: invented
# selection: any
# ages: 18-90
variable,sex,age_band,n,mean,sd,status,note
central_pp_mmhg,female,18-41,500,36,8,read,
central_pp_mmhg,male,18-41,500,36,8,read,
`

func TestOwnPublishedBandsTellNoFew(t *testing.T) {
	own, err := published.Read("ours.csv", strings.NewReader(ownBands))
	if err != nil {
		t.Fatal(err)
	}
	between := 0
	for seed := range uint64(4) {
		f := invented(rand.New(rand.NewPCG(seed, 5)), 400)
		for row := range f.N {
			if f.Missing(row, "age_years") {
				f.SetNumber(row, "age_years", 50)
			}
		}
		s := settings(func(s *schema.Settings) {
			s.Analysis.Sets, s.Analysis.CompareWith = map[string][]schema.Rule{"all": {}}, []string{"ours.csv"}
			s.Analysis.Variables, s.Analysis.Threshold, s.Analysis.Centiles = []string{"central_pp_mmhg"}, nil, nil
		})
		results := tabulate.Tables(f, s, "study.yaml", "analysis", own)
		out, err := release.Check(release.Input{Tables: results.Frames(), Visits: f, People: release.People(results.People), Settings: s, Own: []published.Set{own}})
		if err != nil {
			t.Fatal(err)
		}
		for _, sex := range []string{"female", "male"} {
			few := func(summary, comparison *schema.Frame) bool {
				n, ours := ofStratum(summary, sex, "18-39"), ofStratum(comparison, sex, "18-41")
				return n > 0 && ours-n > 0 && ours-n < 10 // false where one is hidden
			}
			if few(results.Summary, results.Comparison) {
				between++
			}
			if few(frame(t, out.Tables, "summary"), frame(t, out.Tables, "comparison")) {
				t.Errorf("seed %d: the few %s people of 40 and 41 years are the difference of two released numbers", seed, sex)
			}
		}
	}
	if between == 0 {
		t.Fatal("no cohort has few people between the bands: the test tries nothing")
	}
}

// ofStratum is the number of people behind the mean of a stratum.
func ofStratum(f *schema.Frame, sex, band string) float64 {
	for row := range f.N {
		if f.TextAt(row, "variable") == "central_pp_mmhg" && f.TextAt(row, "statistic") == "mean" && f.TextAt(row, "sex") == sex && f.TextAt(row, "age_band") == band {
			return f.Number(row, "n")
		}
	}
	return 0
}
