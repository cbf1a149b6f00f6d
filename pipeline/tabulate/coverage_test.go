package tabulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/testdata"
)

// centileTruth is the population of the simulations, one curve for each sex: the
// logarithm is normal, its median rises with the square of age.
func centileTruth(sex string, age, p float64) float64 {
	median := 26 + 0.0075*(age-20)*(age-20)
	if sex == "male" {
		median = 30 + 0.006*(age-20)*(age-20)
	}
	return median * math.Exp((0.17+0.0004*age)*stats.NormalQuantile(p))
}

// peopleOfTruth draws n people of each sex, aged 18 to 80.
func peopleOfTruth(n int, random *rand.Rand) table {
	t := newTable()
	for i := range 2 * n {
		sex, age := []string{"female", "male"}[i%2], 18+62*random.Float64()
		t.add(fmt.Sprintf("S%05d", i), "v1", "sex", sex, "age_years", age,
			"central_pp_mmhg", centileTruth(sex, age, stats.NormalProbability(random.NormFloat64())))
	}
	return t
}

// The bands in the table of centiles, from a plan that says nothing but the
// method, hold the true centile in 92 to 98 % of cohorts of 200 and of 2,000
// people of each sex; a row without an interval holds nothing.
func TestCentileTableCoverage(t *testing.T) {
	zero := 0.0
	plans := map[string]schema.CentileSettings{
		schema.CentilesLMS:        {Variable: "central_pp_mmhg"},
		schema.CentilesFractional: {Variable: "central_pp_mmhg", Method: schema.CentilesFractional, Power: &zero},
		schema.CentilesQuantile:   {Variable: "central_pp_mmhg", Method: schema.CentilesQuantile},
	}
	for _, n := range []int{200, 2000} {
		for name, plan := range plans {
			t.Run(fmt.Sprintf("%s/%d", name, n), func(t *testing.T) {
				t.Parallel()
				replicates, full := testdata.Replicates(t, map[int]int{200: 30, 2000: 6}[n])
				checkCentileTables(t, plan, n, (replicates+1)/2, full)
			})
		}
	}
}

// checkCentileTables makes as many studies, each of two samples of n people.
func checkCentileTables(t *testing.T, plan schema.CentileSettings, n, studies int, full bool) {
	t.Helper()
	settings := planOf(plan)
	settings.Analysis.Variables, settings.Analysis.Models, settings.Analysis.CompareWith, settings.Analysis.Threshold = nil, nil, nil, nil
	type place struct {
		statistic string
		age       float64
	}
	levels := map[string]float64{"p5": 0.05, "p50": 0.5, "p95": 0.95}
	ages := map[float64]bool{30: true, 50: true, 70: true}
	hits, exist := map[place]int{}, map[place]int{}
	for study := range studies {
		f := Tables(peopleOfTruth(n, rand.New(rand.NewPCG(uint64(study), uint64(n)))).Frame, settings, "study.yaml", "analysis").Centiles
		for row := range f.N {
			at := place{f.TextAt(row, "statistic"), f.Number(row, "age_years")}
			if levels[at.statistic] == 0 || !ages[at.age] {
				continue
			}
			low, high := f.Number(row, "low"), f.Number(row, "high")
			if !math.IsNaN(low) {
				exist[at]++
			}
			if truth := centileTruth(f.TextAt(row, "sex"), f.Number(row, "evaluated_at_years"), levels[at.statistic]); low <= truth && truth <= high {
				hits[at]++
			}
		}
	}
	samples := float64(2 * studies)
	low, high := 0.92, 0.98
	if !full { // room for three standard errors of the lowest that may be
		low, high = low-3*math.Sqrt(low*(1-low)/samples), 1
	}
	for _, statistic := range []string{"p5", "p50", "p95"} {
		for _, age := range []float64{30, 50, 70} {
			at := place{statistic, age}
			share := float64(hits[at]) / samples
			t.Logf("%s at %g years: %.1f %% of %.0f samples, %d of which have an interval", statistic, age, 100*share, samples, exist[at])
			if share < low || share > high {
				t.Errorf("%s at %g years is covered in %.1f %% of %.0f samples", statistic, age, 100*share, samples)
			}
		}
	}
}
