package tabulate

import (
	"compress/gzip"
	"encoding/csv"
	"math"
	"os"
	"strings"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// nhanes2015 is everyone examined in NHANES 2015–2016 (National Center for
// Health Statistics, public domain) with the columns of the design.
func nhanes2015(t *testing.T) table {
	t.Helper()
	f, err := os.Open(testdata.External(t, "data/cohort_tables/nhanes_1999_2020_bp.csv.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(z).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range lines[0] {
		at[name] = i
	}
	out := newTable(
		schema.Column{Name: "sampling_weight", Kind: schema.Number}, schema.Column{Name: "stratum", Kind: schema.Text}, schema.Column{Name: "cluster", Kind: schema.Text},
		schema.Column{Name: "subpopulation", Kind: schema.Boolean}, schema.Column{Name: "race", Kind: schema.Text}, schema.Column{Name: "pregnant", Kind: schema.Category, Levels: []string{"no", "yes"}},
		schema.Column{Name: "hypertension", Kind: schema.Category, Levels: []string{"No", "Yes"}})
	for _, row := range lines[1:] {
		if row[at["svy_year"]] != "2015-2016" {
			continue
		}
		cell := func(name string) string {
			if text := row[at[name]]; text != "NA" {
				return text
			}
			return ""
		}
		number := func(name string) float64 {
			if text := cell(name); text != "" {
				return parse(t, text)
			}
			return math.NaN()
		}
		pregnant := "no"
		if cell("demo_pregnant") == "Yes" {
			pregnant = "yes"
		}
		sex := map[string]string{"Men": "male", "Women": "female"}[cell("demo_gender")]
		out.add(cell("svy_id"), "v1", "sex", sex, "age_years", number("demo_age_years"), "sampling_weight", number("svy_weight_mec"),
			"stratum", cell("svy_strata"), "cluster", cell("svy_psu"), "subpopulation", number("svy_subpop_htn"),
			"race", cell("demo_race"), "pregnant", pregnant, "hypertension", cell("htn_jnc7"), "brachial_sbp_mmhg", number("bp_sys_mean"))
	}
	return out
}

func nhanesPlan(change func(*schema.Analysis)) schema.Settings {
	one := 1.0
	return plan(func(a *schema.Analysis) {
		a.Age.Bands = []float64{18, 40, 60}
		a.Sets = map[string][]schema.Rule{"all": {}, "adults": {{Column: "subpopulation", AtLeast: &one}}, "not_pregnant": {{Column: "pregnant", Levels: []string{"no"}}}}
		a.Variables, a.Models, a.CompareWith, a.Threshold = []string{"hypertension"}, nil, nil, nil
		a.Weights = schema.WeightSettings{Column: "sampling_weight", Kind: "sampling", Stratum: "stratum", Cluster: "cluster", SinglePSU: "centred"}
		if change != nil {
			change(a)
		}
	})
}

// Prevalence of hypertension in adults by NCHS Data Brief 289 (Fryar, Ostchega,
// Hales, Zhang and Kruszon-Moran 2017), figure 1: all nine cells within 0.5
// points. The numbers of R's survey package leave pregnant women out and nobody
// else: six by sex, with their errors, to nine digits.
func TestPrevalenceByDesign(t *testing.T) {
	r := run(t, nhanes2015(t), nhanesPlan(nil))
	cell := func(set, sex, band string) int {
		return find(t, r.Summary, "set", set, "variable", "hypertension", "sex", sex, "age_band", band, "statistic", "proportion_Yes")
	}
	sexes := map[string]string{"Overall": "all", "Men": "male", "Women": "female"}
	published := readRows(t, "data/cohort_tables/published_cdc_db289_figure_1.csv")
	if len(published) != 9 {
		t.Fatalf("%d published cells", len(published))
	}
	for _, p := range published {
		row := cell("adults", sexes[p["demo_gender"]], p["demo_age_cat"])
		got := 100 * r.Summary.Number(row, "estimate")
		if want := parse(t, p["estimate"]); math.Abs(got-want) > 0.5 {
			t.Errorf("%s %s: %.2f %%, published %.1f", p["demo_gender"], p["demo_age_cat"], got, want)
		}
		t.Logf("%s %s: %.2f %%, published %s", p["demo_gender"], p["demo_age_cat"], got, p["estimate"])
	}
	compared := 0
	for key, want := range readOracle(t) {
		if key[0] != "nhanes_2015_2016" || key[1] != "svymean_htn_jnc7" {
			continue
		}
		sex, band, _ := strings.Cut(key[2], "|")
		row := cell("not_pregnant", sexes[sex], band)
		agree(t, key[2], r.Summary.Number(row, "estimate"), want["mean"])
		p, low, high := r.Summary.Number(row, "estimate"), r.Summary.Number(row, "low"), r.Summary.Number(row, "high")
		if note := r.Summary.TextAt(row, "note"); !strings.HasPrefix(note, "15 degrees of freedom") {
			t.Errorf("%s: note %q", key[2], note)
		}
		// The width on the scale of log odds is that of the error with 15 degrees
		// of freedom: 2.131449545559323 (R's qt).
		odds := func(p float64) float64 { return math.Log(p / (1 - p)) }
		agree(t, key[2]+" error", (odds(high)-odds(low))/2/2.131449545559323*p*(1-p), want["se"])
		compared += 2
	}
	if compared != 12 {
		t.Errorf("%d numbers of R compared, want 12", compared)
	}
}

// The weighted mean of the R statistics on NHANES 2021–2023.
func TestWeightedMeanAgainstR(t *testing.T) {
	o := readOracle(t)
	f := newTable(schema.Column{Name: "sampling_weight", Kind: schema.Number})
	for _, row := range readRows(t, "data/cohort_tables/ref/nhanes_2021_2023_adults.csv") {
		f.add(row["SEQN"], "v1", "brachial_sbp_mmhg", parse(t, row["sbp"]), "sampling_weight", parse(t, row["SamplingWeight"]))
	}
	for _, kind := range schema.WeightKinds[:1] {
		r := run(t, f, plan(func(a *schema.Analysis) {
			a.Variables, a.Strata, a.Models = []string{"brachial_sbp_mmhg"}, nil, nil
			a.Weights = schema.WeightSettings{Column: "sampling_weight", Kind: kind, SinglePSU: "centred"}
		}))
		row := find(t, r.Summary, "variable", "brachial_sbp_mmhg", "statistic", "mean")
		agree(t, kind, r.Summary.Number(row, "estimate"), o[[3]string{nhanes, "weighted_mean", "sbp"}]["mean"])
	}
}

// weightedFive is the worked example: 1 to 5 for 1, 2, 3, 2 and 1 people.
func weightedFive(scale float64) table {
	f := newTable(schema.Column{Name: "people", Kind: schema.Number})
	for i, w := range []float64{1, 2, 3, 2, 1} {
		f.add(string(rune('a'+i)), "v1", "central_pp_mmhg", i+1, "people", w*scale)
	}
	return f
}

// Replicated, type 7 gives 1.8, 2, 3, 4 and 4.2, mean 3 and variance 1.5 of nine
// people (R 4.2.2). The three kinds of weight have one mean and three errors.
func TestKindsOfWeight(t *testing.T) {
	errors := map[string]float64{}
	for _, kind := range schema.WeightKinds {
		r := run(t, weightedFive(1), plan(func(a *schema.Analysis) {
			a.Variables, a.Strata, a.Models, a.QuantileType = []string{"central_pp_mmhg"}, nil, nil, 7
			a.Weights = schema.WeightSettings{Column: "people", Kind: kind, SinglePSU: "centred"}
		}))
		at := func(statistic string) int {
			return find(t, r.Summary, "variable", "central_pp_mmhg", "statistic", statistic)
		}
		agree(t, kind, r.Summary.Number(at("mean"), "estimate"), 3)
		errors[kind] = r.Summary.Number(at("se"), "estimate")
		if method := r.Summary.TextAt(at("mean"), "method") + r.Summary.TextAt(at("mean"), "note"); kind == "sampling" && !strings.Contains(method, "sampling weights") ||
			kind == "frequency" && !strings.Contains(method, "counts") || kind == "precision" && !strings.Contains(method, "precisions") {
			t.Errorf("%s is not named: %q", kind, method)
		}
		if kind != "frequency" {
			continue
		}
		for statistic, want := range map[string]float64{"n": 9, "p10": 1.8, "p25": 2, "median": 3, "p75": 4, "p90": 4.2} {
			agree(t, statistic, r.Summary.Number(at(statistic), "estimate"), want)
		}
		agree(t, "variance", math.Pow(r.Summary.Number(at("sd"), "estimate"), 2), 1.5)
		if n := r.Summary.Number(at("mean"), "n"); n != 9 {
			t.Errorf("n %g", n)
		}
	}
	// By hand: √(1.5/9); √(12/4/9) with s² = Σw(x − 3)²/4 = 12/4; linearised
	// √(5/4 · Σ(w(x − 3)/9)²) = √(5/4 · 16/81).
	agree(t, "frequency", errors["frequency"], math.Sqrt(1.5/9))
	agree(t, "precision", errors["precision"], math.Sqrt(3.0/9))
	agree(t, "sampling", errors["sampling"], math.Sqrt(1.25*16/81))
}

// Rows that cannot be weighed leave at a stage of their own, and are noted.
func TestRowsWithoutWeight(t *testing.T) {
	f := weightedFive(0.5)
	f.SetNumber(0, "people", math.NaN())
	s := plan(func(a *schema.Analysis) {
		a.Variables, a.Strata, a.Models = []string{"central_pp_mmhg"}, nil, nil
		a.Weights = schema.WeightSettings{Column: "people", Kind: "frequency", SinglePSU: "centred"}
	})
	r := run(t, f, s)
	row := find(t, r.Flow, "stage", "weighted", "reason", "weight not a whole number")
	if in, out, n := r.Flow.Number(row, "in"), r.Flow.Number(row, "out"), r.Flow.Number(row, "n"); in != 5 || out != 2 || n != 2 {
		t.Errorf("in %g, out %g, n %g", in, out, n)
	}
	found := false
	for _, i := range r.Issues {
		found = found || i.Code == "rows_without_weight"
	}
	if !found {
		t.Errorf("issues %v", r.Issues)
	}
}
