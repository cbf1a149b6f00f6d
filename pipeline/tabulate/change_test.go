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

// seenTwice has two visits of everyone, with families of two.
func seenTwice(n int, difference func(i int) float64) table {
	f := newTable(schema.Column{Name: "family_id", Kind: schema.Text})
	for i := range n {
		family := fmt.Sprintf("f%03d", i/2)
		f.add(fmt.Sprintf("s%03d", i), "baseline", "sex", []string{"female", "male"}[i%2], "age_years", 49.5+float64(i%3), "central_pp_mmhg", 40+float64(i), "family_id", family)
		f.add(fmt.Sprintf("s%03d", i), "later", "sex", []string{"female", "male"}[i%2], "age_years", 54.5+float64(i%3), "central_pp_mmhg", 40+float64(i)+difference(i), "family_id", family)
	}
	return f
}

func changePlan(change func(*schema.Analysis)) schema.Settings {
	return plan(func(a *schema.Analysis) {
		a.Variables, a.Models, a.CompareWith, a.Threshold = []string{"central_pp_mmhg"}, nil, nil, nil
		if change != nil {
			change(a)
		}
	})
}

func changeAt(t *testing.T, r Results, from, to, sex, statistic string) int {
	t.Helper()
	return find(t, r.Change, "set", "all", "variable", "central_pp_mmhg", "from_visit", from, "to_visit", to, "sex", sex, "age_band", "all", "statistic", statistic)
}

// With one pair a person the change is the paired t of R 4.2.2: extra sleep by
// Student 1908 (data set sleep of R), mean 1.58, 95 % 0.7001 to 2.4599, t 4.0621.
func TestChangeIsThePairedT(t *testing.T) {
	sleep := []float64{1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4}
	r := run(t, seenTwice(len(sleep), func(i int) float64 { return sleep[i] }), changePlan(nil))
	for _, ids := range [][2]string{{"all", "all"}, {"baseline", "later"}} {
		row := changeAt(t, r, ids[0], ids[1], "all", "mean_change")
		for name, want := range map[string]float64{"estimate": 1.58, "low": 0.7001142, "high": 2.4598858} {
			if got := r.Change.Number(row, name); math.Abs(got-want) > 5e-7 {
				t.Errorf("%s: %.7f, want %.7f", name, got, want)
			}
		}
		se := r.Change.Number(changeAt(t, r, ids[0], ids[1], "all", "se_change"), "estimate")
		if got := r.Change.Number(row, "estimate") / se; math.Abs(got-4.0621) > 5e-5 {
			t.Errorf("t %.4f, want 4.0621", got)
		}
		if years := r.Change.Number(changeAt(t, r, ids[0], ids[1], "all", "mean_years_between"), "estimate"); math.Abs(years-5) > 1e-12 {
			t.Errorf("%g years between", years)
		}
		if n := r.Change.Number(changeAt(t, r, ids[0], ids[1], "male", "n_pairs"), "estimate"); n != 5 {
			t.Errorf("%g pairs of men", n)
		}
	}
}

// Errors by family are those of the family means where all families are of one
// size.
func TestChangeByFamily(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 9))
	difference := make([]float64, 40)
	var families []float64
	for i := range difference {
		difference[i] = 2 + 5*random.NormFloat64()
		if i%2 == 1 {
			families = append(families, (difference[i-1]+difference[i])/2)
		}
	}
	r := run(t, seenTwice(40, func(i int) float64 { return difference[i] }), changePlan(func(a *schema.Analysis) { a.Change.Cluster = "family_id" }))
	want := stats.MeanInterval(stats.Describe(families), 0.95)
	row := changeAt(t, r, "all", "all", "all", "mean_change")
	agree(t, "low", r.Change.Number(row, "low"), want.Low)
	agree(t, "high", r.Change.Number(row, "high"), want.High)
}

// Which visits are set beside each other is the plan's.
func TestChangePairs(t *testing.T) {
	f := newTable()
	for i, pp := range []float64{40, 43, 49} {
		f.add("a", fmt.Sprint("v", i+1), "sex", "male", "age_years", 50+i, "central_pp_mmhg", pp)
	}
	f.add("b", "v1", "sex", "male", "age_years", 50, "central_pp_mmhg", 40)
	f.add("b", "v3", "sex", "male", "age_years", 52, "central_pp_mmhg", 41)
	f.add("c", "v1", "sex", "male", "age_years", 50, "central_pp_mmhg", 70)
	for name, c := range map[string]struct {
		settings schema.ChangeSettings
		pairs    float64
		mean     float64
	}{
		"consecutive": {schema.ChangeSettings{Between: "consecutive"}, 3, (3.0 + 6 + 1) / 3},
		"first_last":  {schema.ChangeSettings{Between: "first_last"}, 2, 5},
		"named":       {schema.ChangeSettings{Between: "none", Visits: []string{"v1", "v2"}}, 1, 3},
	} {
		c.settings.Cluster = "subject_id"
		r := run(t, f, changePlan(func(a *schema.Analysis) { a.Change, a.Strata = c.settings, nil }))
		at := func(statistic string) float64 {
			return r.Change.Number(find(t, r.Change, "from_visit", "all", "statistic", statistic, "variable", "central_pp_mmhg"), "estimate")
		}
		if at("n_pairs") != c.pairs || math.Abs(at("mean_change")-c.mean) > 1e-12 {
			t.Errorf("%s: %g pairs, mean %g", name, at("n_pairs"), at("mean_change"))
		}
	}
	r := run(t, f, changePlan(func(a *schema.Analysis) { a.Change.Between = "none" }))
	if r.Change.N != 0 {
		t.Error("change was described though the plan wants none")
	}
	for _, f := range r.Frames() {
		if f.Table.Name == "change" {
			t.Error("an empty table of change is written")
		}
	}
}

// Age-adjusted prevalence of hypertension in adults by NCHS Data Brief 289,
// figure 2: standardised to the year 2000 population in three age groups
// (0.420263, 0.357202 and 0.222535: from memory). All cells within 0.5 points
// and their errors within 0.5.
func TestStandardisedPrevalence(t *testing.T) {
	r := run(t, nhanes2015(t), nhanesPlan(func(a *schema.Analysis) {
		a.Strata = []string{"sex", "race", "age_band"}
		a.Standardise = schema.StandardSettings{By: "age_band", Shares: map[string]float64{"18-39": 0.420263, "40-59": 0.357202, "60+": 0.222535}}
	}))
	sexes := map[string]string{"Total": "all", "Men": "male", "Women": "female"}
	published := readRows(t, "data/cohort_tables/published_cdc_db289_figure_2.csv")
	if len(published) < 8 {
		t.Fatalf("%d published cells", len(published))
	}
	for _, p := range published {
		row := find(t, r.Standardised, "set", "adults", "variable", "hypertension", "sex", sexes[p["demo_gender"]], "race", p["demo_race"], "statistic", "proportion_Yes")
		got := 100 * r.Standardised.Number(row, "estimate")
		se := 100 * (r.Standardised.Number(row, "high") - r.Standardised.Number(row, "low")) / 2 / 2.131449545559323
		if want := parse(t, p["estimate"]); math.Abs(got-want) > 0.5 || math.Abs(se-parse(t, p["std_error"])) > 0.5 {
			t.Errorf("%s, %s: %.2f ± %.2f, published %s ± %s", p["demo_race"], p["demo_gender"], got, se, p["estimate"], p["std_error"])
		}
	}
}

// The pooled study standardised to itself is its own mean; a stratum without
// somebody in a class has no estimate and says so.
func TestStandardiseToThePool(t *testing.T) {
	f := invented(500)
	s := changePlan(func(a *schema.Analysis) { a.Standardise.By = "age_band" })
	r := run(t, f, s)
	at := func(f *schema.Frame, cells ...string) int {
		return find(t, f, append([]string{"set", "all", "variable", "central_pp_mmhg", "statistic", "mean"}, cells...)...)
	}
	standard, plain := at(r.Standardised, "sex", "all"), at(r.Summary, "sex", "all", "age_band", "all")
	agree(t, "mean", r.Standardised.Number(standard, "estimate"), r.Summary.Number(plain, "estimate"))
	if width, whole := r.Standardised.Number(standard, "high")-r.Standardised.Number(standard, "low"), r.Summary.Number(plain, "high")-r.Summary.Number(plain, "low"); width >= whole {
		t.Errorf("standardised by age the interval is not narrower: %g, %g", width, whole)
	}
	f.add("child", "v1", "sex", "female", "age_years", 12, "central_pp_mmhg", 30)
	r = run(t, f, s)
	row := at(r.Standardised, "sex", "male")
	if !math.IsNaN(r.Standardised.Number(row, "estimate")) || r.Standardised.TextAt(row, "note") == "" {
		t.Errorf("nobody below 18 among men, and yet %g", r.Standardised.Number(row, "estimate"))
	}
}

// Sizes by reference: 146 for the interval of P2.5 (binomial), 183 and 293
// people for an error of a tenth of an SD of P10 and P97.5.
func TestPrecisionTable(t *testing.T) {
	f := precision(schema.DefaultPrecision())
	for row := range f.N {
		centile, statistic, people := f.Number(row, "centile_pct"), f.TextAt(row, "statistic"), f.Number(row, "people")
		want, known := map[string]float64{"2.5 for_an_interval": 146, "10 from_mean_and_sd": 183, "97.5 from_mean_and_sd": 293, "50 for_an_interval": 6}[plain(centile)+" "+statistic]
		if known && people != want {
			t.Errorf("P%g %s: %g people, want %g", centile, statistic, people, want)
		}
	}
	if f.N != 21 {
		t.Errorf("%d rows", f.N)
	}
}

// Coverage of the mean's interval in a stratum by simulation from a normal and a
// skewed (lognormal) made-up population.
func TestCoverageOfMeans(t *testing.T) {
	replicates, full := testdata.Replicates(t, 300)
	low, high := 0.91, 0.98
	if full {
		low, high = 0.94, 0.96
	}
	for _, n := range []int{40, 200} {
		var random *rand.Rand
		for name, draw := range map[string]func() float64{
			"normal": func() float64 { return 40 + 9*random.NormFloat64() },
			"skewed": func() float64 { return 40 * math.Exp(0.22*random.NormFloat64()-0.0242) },
		} {
			random = rand.New(rand.NewPCG(94, 96))
			covered := 0
			for range replicates {
				f := newTable()
				for i := range n {
					f.add(fmt.Sprintf("s%03d", i), "v1", "sex", "female", "central_pp_mmhg", draw())
				}
				c := newCohort(f.Frame, plan(nil).Analysis, newFlow(), &reporter{})
				s := summariser{c: c, est: c.estimator(), memory: c.memory(0)}
				s.eachCell(set{rows: c.rows}, c.newStrata(nil, c.rows), "central_pp_mmhg", func(_ int, g sampled) {
					if mean, _, _ := g.means(); mean.interval.Low <= 40 && 40 <= mean.interval.High {
						covered++
					}
				})
			}
			share := float64(covered) / float64(replicates)
			t.Logf("%s, n %d: coverage %.4f of %d", name, n, share, replicates)
			if share < low || share > high {
				t.Errorf("%s, n %d: coverage %.4f of %d", name, n, share, replicates)
			}
		}
	}
}
