package tabulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tonocohort/schema"
	"tonocohort/schema/published"
	"tonocohort/stats"
)

func against(sets ...string) schema.Settings {
	return plan(func(a *schema.Analysis) {
		a.Sets["healthy"] = []schema.Rule{{Column: "treated", Levels: []string{"no"}}}
		a.Models, a.CompareWith = nil, sets
	})
}

// Ratio of SDs and the two one-sided tests beside the published value; the
// numbers are those of the two samples by themselves.
func TestRatioAndEquivalence(t *testing.T) {
	f := newTable()
	women(f, 50, 69, 45, "treated", "no")
	s := against("mceniery2005")
	s.Analysis.Equivalence = map[string]float64{"central_pp_mmhg": 4}
	r := run(t, f, s)
	at := func(statistic string) int {
		return find(t, r.Comparison, "variable", "central_pp_mmhg", "sex", "female", "age_band", "60-69", "statistic", statistic)
	}
	here, there := stats.Sample{N: 50, Mean: 45, SD: math.Sqrt(100.0 / 49)}, stats.Sample{N: 509, Mean: 43, SD: 8}
	ratio, interval := stats.StandardDeviationRatio(here, there, 0.95)
	agree(t, "ratio", r.Comparison.Number(at("ratio_of_sds"), "estimate"), ratio)
	agree(t, "ratio low", r.Comparison.Number(at("ratio_of_sds"), "low"), interval.Low)
	e := stats.WelchDifference(here, there, 0.95).Equivalent(4, 0.05)
	agree(t, "P", r.Comparison.Number(at("equivalence_p"), "estimate"), e.P)
	d := at("equivalence_difference")
	agree(t, "high", r.Comparison.Number(d, "high"), e.High)
	if level := r.Comparison.Number(d, "level"); math.Abs(level-0.90) > 1e-12 {
		t.Errorf("level %g", level)
	}
	if note := r.Comparison.TextAt(d, "note"); !strings.HasPrefix(note, "lies within ±4") {
		t.Errorf("note %q", note)
	}
	// 43 ± 1.96 · 8 is 27.3 to 58.7: nobody lies beyond.
	if above := r.Comparison.Number(at("share_above_published_97.5"), "estimate"); above != 0 {
		t.Errorf("share above %g", above)
	}
}

// People made by the equations of Diaz 2018 have z of mean 0 and SD 1, and one
// in forty lies beyond on each side.
func TestPublishedEquationOnItsOwnPeople(t *testing.T) {
	source, err := published.Open("diaz2018")
	if err != nil {
		t.Fatal(err)
	}
	e := source.Equations[0]
	random := rand.New(rand.NewPCG(20, 18))
	f := newTable()
	const n = 4000
	for i := range n {
		age := 8 + 14*random.Float64()
		row := f.AddRow()
		c := cohort{frame: f.Frame}
		f.SetNumber(row, "age_years", age)
		r := c.cellsFor(e.Columns())
		r.row = row
		mean, sd := e.Predict(r)
		f.SetText(row, "subject_id", fmt.Sprintf("s%04d", i))
		f.SetText(row, "status", "used")
		f.SetText(row, "treated", "no")
		f.SetText(row, "sex", []string{"female", "male"}[i%2])
		f.SetNumber(row, "central_sbp_mmhg", e.Scale.From(mean+sd*random.NormFloat64()))
	}
	f.add("old", "v1", "sex", "male", "age_years", 40, "treated", "no", "central_sbp_mmhg", 300) // outside its ages
	r := run(t, f, against("diaz2018"))
	at := func(statistic string) int {
		return find(t, r.Comparison, "variable", "central_sbp_mmhg", "sex", "all", "age_band", "all", "statistic", statistic)
	}
	for statistic, want := range map[string]float64{"mean_z": 0, "sd_z": 1, "share_below_published_2.5": 0.025, "share_above_published_97.5": 0.025} {
		row := at(statistic)
		if low, high := r.Comparison.Number(row, "low"), r.Comparison.Number(row, "high"); !(low <= want && want <= high) || r.Comparison.Number(row, "n") != n {
			t.Errorf("%s: %g to %g, want %g; n %g", statistic, low, high, want, r.Comparison.Number(row, "n"))
		}
	}
}

// One man and one woman beside Janner 2010: 79.20 + 0.63·50 − 0.002·2500 −
// 0.28·60 − 0.39·180 = 18.7 and 56.28 + 0.90·50 − 0.005·2500 − 0.34·70 − 0.24·160
// = 26.58.
func TestEquationWithoutSpread(t *testing.T) {
	f := newTable()
	f.add("m", "v1", "sex", "male", "age_years", 50, "height_cm", 180, "heart_rate_bpm", 60, "augmentation_index_pct", 20.7)
	f.add("w", "v1", "sex", "female", "age_years", 50, "height_cm", 160, "heart_rate_bpm", 70, "augmentation_index_pct", 25.58)
	f.add("x", "v1", "sex", "female", "age_years", 50, "heart_rate_bpm", 70, "augmentation_index_pct", 25.58)
	r := run(t, f, against("janner2010"))
	for sex, want := range map[string][2]float64{"male": {2, 18.7}, "female": {-1, 26.58}} {
		row := find(t, r.Comparison, "variable", "augmentation_index_pct", "sex", sex, "age_band", "all", "statistic", "mean_difference_from_equation")
		agree(t, sex, r.Comparison.Number(row, "estimate"), want[0])
		agree(t, sex+" predicted", r.Comparison.Number(row, "published_estimate"), want[1])
		if missing := r.Comparison.Number(row, "n_missing"); missing != map[string]float64{"male": 0, "female": 1}[sex] {
			t.Errorf("%s: %g missing", sex, missing)
		}
		if note := r.Comparison.TextAt(row, "note"); !strings.Contains(note, "ages of the published sample") || !strings.Contains(note, "from memory") {
			t.Errorf("note %q", note)
		}
		if set := r.Comparison.TextAt(row, "set"); set != "all" {
			t.Errorf("a sample that was not selected is compared with the set %s", set)
		}
		find(t, r.Comparison, "sex", sex, "age_band", "50-59", "statistic", "sd_of_difference_from_equation")
	}
}

// A cohort made by the published coefficients gives them back within their
// errors; terms without a column are named.
func TestPublishedCoefficients(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 40))
	f := newTable()
	for i := range 3000 {
		sex, female := "male", 0.0
		if i%2 == 0 {
			sex, female = "female", 1
		}
		age, pressure := 25+50*random.Float64(), 93+9*random.NormFloat64()
		pp := 60 - 0.85*age + 0.01*age*age + female*(-21.82+0.44*age) + 0.46*(pressure-90) + 8*random.NormFloat64()
		f.add(fmt.Sprintf("s%04d", i), "v1", "sex", sex, "age_years", age, "brachial_map_mmhg", pressure, "central_pp_mmhg", pp)
	}
	r := run(t, f, against("carotid_pp_pmc10908402"))
	for _, term := range []string{"age_years", "age_years^2", "sex=female", "sex=female*age_years", "brachial_map_mmhg"} {
		row := find(t, r.Comparison, "statistic", "coefficient_"+term)
		low, high, want := r.Comparison.Number(row, "low"), r.Comparison.Number(row, "high"), r.Comparison.Number(row, "published_estimate")
		if !(low-(high-low) <= want && want <= high+(high-low)) {
			t.Errorf("%s: %g to %g, made with %g", term, low, high, want)
		}
		d := find(t, r.Comparison, "statistic", "difference_of_coefficient_"+term)
		if low, high := r.Comparison.Number(d, "low"), r.Comparison.Number(d, "high"); !(low < 0 && 0 < high) {
			t.Errorf("%s: difference %g to %g", term, low, high)
		}
		if note := r.Comparison.TextAt(row, "note"); !strings.Contains(note, "has the term bmi_kg_m2") || !strings.Contains(note, "do not stand for those of a transfer function") {
			t.Errorf("note %q", note)
		}
	}
	r = run(t, invented(100), against("flemengho2013"))
	for _, i := range r.Issues {
		if i.Code == "published_column_absent" && strings.Contains(i.Message, "smoker") {
			return
		}
	}
	t.Errorf("the column of smoking is absent and nothing says so: %v", r.Issues)
}

// The published 50 mmHg is called what it is, and P90 of Hao 2016 is for ages 35
// to 65 alone.
func TestPublishedLimits(t *testing.T) {
	f := newTable()
	for i, pp := range []float64{49.99, 50, 60, 20} {
		f.add(fmt.Sprint("s", i), "v1", "sex", "male", "age_years", 30+10*float64(i), "central_pp_mmhg", pp, "central_sbp_mmhg", 126)
	}
	r := run(t, f, against("outcome_thresholds"))
	row := find(t, r.Comparison, "variable", "central_pp_mmhg", "sex", "all", "statistic", "share_at_least_50")
	if share, limit := r.Comparison.Number(row, "estimate"), r.Comparison.Number(row, "published_estimate"); share != 0.5 || limit != 50 {
		t.Errorf("share %g at %g", share, limit)
	}
	if note := r.Comparison.TextAt(row, "note"); !strings.HasPrefix(note, "outcome threshold, not a reference limit") || !strings.Contains(note, "Roman 2009") {
		t.Errorf("note %q", note)
	}
	row = find(t, r.Comparison, "variable", "central_sbp_mmhg", "sex", "male", "statistic", "share_at_least_125")
	if n, share := r.Comparison.Number(row, "n"), r.Comparison.Number(row, "estimate"); n != 3 || share != 1 {
		t.Errorf("share %g of %g between 35 and 65", share, n)
	}
}

// Both sexes together and no n: the published mean counts as exact, and the row
// says so.
func TestPublishedMeansWithoutSize(t *testing.T) {
	f := newTable()
	for i := range 60 {
		f.add(fmt.Sprint("s", i), "v1", "sex", []string{"female", "male"}[i%2], "age_years", 45, "treated", "no", "central_sbp_mmhg", 110+i%7)
	}
	r := run(t, f, against("hungary2015"))
	row := find(t, r.Comparison, "variable", "central_sbp_mmhg", "sex", "all", "age_band", "40-49", "statistic", "difference_of_means")
	s := stats.Describe(f.Numbers("central_sbp_mmhg"))
	want := stats.MeanInterval(s, 0.95)
	agree(t, "low", r.Comparison.Number(row, "low"), want.Low-115.88)
	if n := r.Comparison.Number(row, "published_n"); !math.IsNaN(n) {
		t.Errorf("published n %g", n)
	}
	if method, note := r.Comparison.TextAt(row, "method"), r.Comparison.TextAt(row, "note"); !strings.Contains(method, "exact") || !strings.Contains(note, "age band inferred") || !strings.Contains(note, "oscillometric") {
		t.Errorf("method %q, note %q", method, note)
	}
}

// A set of the study's own, in the documented format.
func TestOwnPublishedSet(t *testing.T) {
	own, err := published.Read("ours.csv", strings.NewReader("# source: our pilot\n# reading: computed by us\n# selection: any\n# ages: 18-80\n"+
		"variable,sex,age_band,n,mean,sd,status,note\nlead_ug_l,female,all,80,20,5,read,\n"))
	if err != nil {
		t.Fatal(err)
	}
	s := against("ours.csv")
	r := Tables(invented(300).Frame, s, "study.yaml", "analysis", own)
	if schema.AnyStructural(r.Issues) {
		t.Fatal(r.Issues)
	}
	row := find(t, r.Comparison, "published", "ours.csv", "variable", "lead_ug_l", "sex", "female", "age_band", "all", "statistic", "difference_of_means")
	if d := r.Comparison.Number(row, "estimate"); math.Abs(d) > 3 {
		t.Errorf("difference %g", d)
	}
	if r := Tables(invented(30).Frame, s, "study.yaml", "analysis"); !schema.AnyStructural(r.Issues) {
		t.Error("a set that nobody gave was accepted")
	}
}
