package tabulate

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// The numbers of R 4.2.2 on NHANES 2021–2023 (National Center for Health
// Statistics, public domain) and on the Western Collaborative Group Study, as
// they stand beside the data.
type oracle map[[3]string]map[string]float64 // data set, analysis, term → statistic → value

func readOracle(t *testing.T) oracle {
	t.Helper()
	o := oracle{}
	for _, row := range readRows(t, "data/cohort_tables/ref/r_reference_statistics.csv") {
		v, err := strconv.ParseFloat(row["value"], 64)
		if err != nil {
			continue // texts
		}
		key := [3]string{row["dataset"], row["analysis"], row["term"]}
		if o[key] == nil {
			o[key] = map[string]float64{}
		}
		o[key][row["stat"]] = v
	}
	return o
}

func readRows(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(testdata.External(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, cell := range line {
			row[lines[0][i]] = cell
		}
		rows = append(rows, row)
	}
	return rows
}

func parse(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

const nhanes = "nhanes_2021_2023_adults"

func nhanesTable(t *testing.T) table {
	f := newTable()
	for _, row := range readRows(t, "data/cohort_tables/ref/nhanes_2021_2023_adults.csv") {
		f.add(row["SEQN"], "v1", "sex", strings.ToLower(row["Sex"]), "age_years", parse(t, row["Age"]), "height_cm", parse(t, row["HeightCm"]),
			"brachial_sbp_mmhg", parse(t, row["sbp"]), "brachial_dbp_mmhg", parse(t, row["dbp"]), "brachial_pp_mmhg", parse(t, row["pp"]),
			"heart_rate_bpm", parse(t, row["pulse"]))
	}
	return f
}

func TestSummaryAgainstR(t *testing.T) {
	o := readOracle(t)
	names := map[string]string{"sbp": "brachial_sbp_mmhg", "dbp": "brachial_dbp_mmhg", "pp": "brachial_pp_mmhg", "pulse": "heart_rate_bpm", "HeightCm": "height_cm"}
	r := run(t, nhanesTable(t), plan(func(a *schema.Analysis) {
		a.Age.Bands = []float64{18, 30, 40, 50, 60, 70}
		a.Variables = []string{"brachial_sbp_mmhg", "brachial_dbp_mmhg", "brachial_pp_mmhg", "heart_rate_bpm", "height_cm"}
		a.QuantileType = 7
		a.Models = nil
	}))
	compared := 0
	for key, statistics := range o {
		if key[0] != nhanes || key[1] != "stratum" {
			continue
		}
		sex, band, _ := strings.Cut(strings.ToLower(key[2]), "|")
		for short, variable := range names {
			cell := func(statistic string) int {
				return find(t, r.Summary, "set", "all", "variable", variable, "sex", sex, "age_band", band, "statistic", statistic)
			}
			what := key[2] + " " + variable
			mean := cell("mean")
			agree(t, what+" n", r.Summary.Number(mean, "n"), statistics[short+"_n"])
			agree(t, what+" mean", r.Summary.Number(mean, "estimate"), statistics[short+"_mean"])
			agree(t, what+" low", r.Summary.Number(mean, "low"), statistics[short+"_ci_lo"])
			agree(t, what+" high", r.Summary.Number(mean, "high"), statistics[short+"_ci_hi"])
			agree(t, what+" sd", r.Summary.Number(cell("sd"), "estimate"), statistics[short+"_sd"])
			agree(t, what+" p25", r.Summary.Number(cell("p25"), "estimate"), statistics[short+"_q25_type7"])
			agree(t, what+" median", r.Summary.Number(cell("median"), "estimate"), statistics[short+"_median"])
			agree(t, what+" p75", r.Summary.Number(cell("p75"), "estimate"), statistics[short+"_q75_type7"])
			compared += 8
		}
	}
	if compared != 480 {
		t.Errorf("%d numbers compared, want 480", compared)
	}
}

// compareModel compares a fitted model with R's, term by term.
func compareModel(t *testing.T, o oracle, dataset, analysis string, f *schema.Frame, model, outcome string, terms map[string]string) {
	t.Helper()
	at := func(term, statistic string) int {
		return find(t, f, "model", model, "variable", outcome, "term", term, "statistic", statistic)
	}
	for theirs, ours := range terms {
		want := o[[3]string{dataset, analysis, theirs}]
		if len(want) == 0 {
			t.Fatalf("R has no %s in %s", theirs, analysis)
		}
		estimate := at(ours, "estimate")
		agree(t, ours, f.Number(estimate, "estimate"), want["beta"])
		agree(t, ours+" low", f.Number(estimate, "low"), want["ci_lo"])
		agree(t, ours+" high", f.Number(estimate, "high"), want["ci_hi"])
		agree(t, ours+" se", f.Number(at(ours, "se_classical"), "estimate"), want["se"])
		agree(t, ours+" se hc3", f.Number(at(ours, "se_hc3"), "estimate"), want["se_hc3"])
	}
	whole := o[[3]string{dataset, analysis, "(model)"}]
	agree(t, "R²", f.Number(at("", "r_squared"), "estimate"), whole["r2"])
	agree(t, "adjusted R²", f.Number(at("", "r_squared_adjusted"), "estimate"), whole["adj_r2"])
	agree(t, "residual SD", f.Number(at("", "residual_sd"), "estimate"), whole["sigma"])
	agree(t, "n", f.Number(at("", "r_squared"), "n"), whole["n"])
}

// R's intervals rest on the classical errors.
func TestRegressionAgainstR(t *testing.T) {
	o := readOracle(t)
	r := run(t, nhanesTable(t), plan(func(a *schema.Analysis) {
		a.Sets["women"] = []schema.Rule{{Column: "sex", Levels: []string{"female"}}}
		a.Sets["men"] = []schema.Rule{{Column: "sex", Levels: []string{"male"}}}
		a.Models = []schema.Model{
			{Name: "adjusted", Outcome: "brachial_pp_mmhg", Terms: schema.PlainTerms("age_years", "sex", "height_cm", "heart_rate_bpm", "brachial_dbp_mmhg"), Errors: "classical"},
			{Name: "crossing", Outcome: "brachial_sbp_mmhg", Terms: []schema.Term{{Column: "age_years", Degree: 2}, schema.Plain("sex"), {Interaction: []schema.Term{schema.Plain("sex"), {Column: "age_years", Form: schema.Linear}}}}, Errors: "classical"},
			{Name: "women", Set: "women", Outcome: "brachial_pp_mmhg", Terms: schema.PlainTerms("age_years", "height_cm"), Errors: "classical"},
			{Name: "men", Set: "men", Outcome: "brachial_pp_mmhg", Terms: schema.PlainTerms("age_years", "height_cm"), Errors: "classical"},
		}
	}))
	compareModel(t, o, nhanes, "ols_pp~Age+SexMale+HeightCm+pulse+dbp", r.Regression, "adjusted", "brachial_pp_mmhg", map[string]string{
		"(Intercept)": "intercept", "Age": "age_years", "SexMale": "sex=male", "HeightCm": "height_cm", "pulse": "heart_rate_bpm", "dbp": "brachial_dbp_mmhg"})
	compareModel(t, o, nhanes, "ols_sbp~Age*SexMale+I(Age^2)", r.Regression, "crossing", "brachial_sbp_mmhg", map[string]string{
		"(Intercept)": "intercept", "Age": "age_years", "SexMale": "sex=male", "I(Age^2)": "age_years^2", "Age:SexMale": "sex=male:age_years"})
	compareModel(t, o, nhanes, "ols_pp~Age+HeightCm|Female", r.Regression, "women", "brachial_pp_mmhg", map[string]string{
		"(Intercept)": "intercept", "Age": "age_years", "HeightCm": "height_cm"})
	compareModel(t, o, nhanes, "ols_pp~Age+HeightCm|Male", r.Regression, "men", "brachial_pp_mmhg", map[string]string{
		"(Intercept)": "intercept", "Age": "age_years", "HeightCm": "height_cm"})
}

// A study with a column that no one foresaw, cigarettes a day; R had height and
// weight as inches × 2.54 and pounds × 0.45359237.
func TestRegressionOnAStrangersStudy(t *testing.T) {
	o := readOracle(t)
	f := newTable(schema.Column{Name: "cigarettes_per_day", Kind: schema.Integer, Unit: "1/day"}, schema.Column{Name: "weight_kg", Kind: schema.Number, Unit: "kg"})
	for _, row := range readRows(t, "data/cohort_tables/wcgs.csv") {
		f.add(row["id"], "v1", "sex", "male", "age_years", parse(t, row["age0"]), "height_cm", parse(t, row["height0"])*2.54,
			"weight_kg", parse(t, row["weight0"])*0.45359237, "cigarettes_per_day", parse(t, row["ncigs0"]),
			"brachial_pp_mmhg", parse(t, row["sbp0"])-parse(t, row["dbp0"]))
	}
	r := run(t, f, plan(func(a *schema.Analysis) {
		a.Models = []schema.Model{{Name: "smoking", Outcome: "brachial_pp_mmhg", Errors: "classical", Terms: schema.PlainTerms("age_years", "height_cm", "weight_kg", "cigarettes_per_day")}}
	}))
	compareModel(t, o, "wcgs", "ols_pp~age0+height_cm+weight_kg+ncigs0", r.Regression, "smoking", "brachial_pp_mmhg", map[string]string{
		"(Intercept)": "intercept", "age0": "age_years", "height_cm": "height_cm", "weight_kg": "weight_kg", "ncigs0": "cigarettes_per_day"})
	slope := find(t, r.Regression, "model", "smoking", "term", "cigarettes_per_day", "statistic", "estimate")
	if unit := r.Regression.TextAt(slope, "unit"); unit != "mmHg per 1/day" {
		t.Errorf("unit of the slope: %q", unit)
	}
}
