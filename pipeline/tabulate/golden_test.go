package tabulate

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/testdata"
)

// golden is a tree of numbers that R wrote (testdata/golden, with the scripts
// and versions).
type golden struct {
	t    *testing.T
	node any
}

func readGolden(t *testing.T, name string) golden {
	t.Helper()
	text, err := os.ReadFile(testdata.Path(t, "golden/out/"+name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	g := golden{t: t}
	if err := json.Unmarshal(text, &g.node); err != nil {
		t.Fatal(err)
	}
	return g
}

func (g golden) at(keys ...any) golden {
	g.t.Helper()
	for _, key := range keys {
		switch k := key.(type) {
		case string:
			next, present := g.node.(map[string]any)[k]
			if !present {
				g.t.Fatalf("golden: no %s", k)
			}
			g.node = next
		case int:
			g.node = g.node.([]any)[k]
		}
	}
	return g
}

func (g golden) number(keys ...any) float64 {
	g.t.Helper()
	v, ok := g.at(keys...).node.(float64)
	if !ok {
		return math.NaN()
	}
	return v
}

// goldenCohort is the made-up cohort of testdata/golden as a person-level table,
// with columns that no contract foresees.
func goldenCohort(t *testing.T) table {
	t.Helper()
	file, err := os.Open(testdata.Path(t, "golden/in/cohort.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	f := newTable(
		schema.Column{Name: "bmi_kg_m2", Kind: schema.Number, Unit: "kg/m2"}, schema.Column{Name: "smoker", Kind: schema.Integer},
		schema.Column{Name: "diabetes", Kind: schema.Integer}, schema.Column{Name: "race", Kind: schema.Category, Levels: []string{"A", "B", "C"}},
		schema.Column{Name: "sampling_weight", Kind: schema.Number}, schema.Column{Name: "cluster", Kind: schema.Text})
	names := map[string]string{"age": "age_years", "height": "height_cm", "bmi": "bmi_kg_m2", "hr": "heart_rate_bpm", "map": "brachial_map_mmhg",
		"smoker": "smoker", "diabetes": "diabetes", "wt": "sampling_weight", "cpp": "central_pp_mmhg"}
	for _, line := range rows[1:] {
		cells := []any{"centre", line[1], "cluster", line[1]}
		id := ""
		for k, text := range line {
			switch name := rows[0][k]; {
			case name == "id":
				id = text
			case name == "sex":
				cells = append(cells, "sex", map[string]string{"0": "female", "1": "male"}[text])
			case name == "race":
				cells = append(cells, "race", text)
			case names[name] != "":
				v, err := strconv.ParseFloat(text, 64)
				if err != nil {
					t.Fatal(err)
				}
				cells = append(cells, names[name], v)
			}
		}
		f.add(id, "v1", cells...)
	}
	return f
}

// goldenTerms are the terms of the golden models, and their coefficients in the
// order in which R has them.
func goldenTerms() (terms []schema.Term, names []string) {
	terms = []schema.Term{{Column: "age_years", Degree: 2}}
	terms = append(terms, schema.PlainTerms("sex", "height_cm", "bmi_kg_m2", "heart_rate_bpm", "brachial_map_mmhg", "smoker", "diabetes")...)
	terms = append(terms, schema.Plain("race"))
	return terms, []string{"intercept", "age_years", "age_years^2", "sex=male", "height_cm", "bmi_kg_m2", "heart_rate_bpm", "brachial_map_mmhg", "smoker", "diabetes", "race=B", "race=C"}
}

// cells finds numbers of the regression table.
type cells struct {
	t     *testing.T
	frame *schema.Frame
	model string
}

func (c cells) row(term, statistic string) int {
	c.t.Helper()
	return find(c.t, c.frame, "model", c.model, "variable", "central_pp_mmhg", "term", term, "statistic", statistic)
}

func (c cells) is(term, statistic string, want float64) {
	c.t.Helper()
	agree(c.t, c.model+" "+term+" "+statistic, c.frame.Number(c.row(term, statistic), "estimate"), want)
}

// R 4.2.2 with sandwich 3.0-2, clubSandwich 0.5.8, survey 4.1-1, car 3.1-1 and
// lmtest 0.9.40: every kind of error, test and diagnostic, through the table.
func TestLeastSquaresTableAgainstR(t *testing.T) {
	g := readGolden(t, "r01_linear")
	terms, names := goldenTerms()
	r := run(t, goldenCohort(t), plan(func(a *schema.Analysis) {
		a.Models = []schema.Model{
			{Name: "hc3", Outcome: "central_pp_mmhg", Terms: terms},
			{Name: "hc0", Extends: "hc3", Errors: "hc0"},
			{Name: "hc1", Extends: "hc3", Errors: "hc1"},
			{Name: "hc2", Extends: "hc3", Errors: "hc2"},
			{Name: "classical", Extends: "hc3", Errors: "classical"},
			{Name: "cluster", Extends: "hc3", Errors: "cluster", Cluster: "centre"},
			{Name: "design", Extends: "hc3", Errors: "design"},
			{Name: "numbers", Outcome: "central_pp_mmhg", Terms: schema.PlainTerms("age_years", "sex", "height_cm", "bmi_kg_m2", "heart_rate_bpm", "brachial_map_mmhg")},
			{Name: "crossing", Outcome: "central_pp_mmhg", Errors: "classical", Terms: []schema.Term{schema.Plain("sex"), schema.Plain("age_years"), schema.Plain("brachial_map_mmhg"), {Interaction: schema.PlainTerms("sex", "age_years")}}},
		}
	}))
	in := func(model string) cells { return cells{t, r.Regression, model} }
	for j, name := range names {
		in("hc3").is(name, "estimate", g.number("ols", "coef", j))
		in("hc3").is(name, "se_classical", g.number("ols", "se", j))
		for model, kind := range map[string]string{"hc0": "HC0", "hc1": "HC1", "hc2": "HC2", "hc3": "HC3"} {
			in(model).is(name, "se_"+model, g.number("hc", kind, "se", j))
			in(model).is(name, "p_value", g.number("hc", kind, "p", j))
		}
		in("cluster").is(name, "se_cluster_cr1", g.number("cluster_site", "vcovCL_HC1_stata", "se", j))
		in("cluster").is(name, "se_cluster_cr2", g.number("cluster_site", "CR2_satterthwaite", "se", j))
		in("cluster").is(name, "df", g.number("cluster_site", "CR2_satterthwaite", "df", j))
		in("cluster").is(name, "p_value", g.number("cluster_site", "CR2_satterthwaite", "p", j))
		in("design").is(name, "estimate", g.number("svyglm", "coef", j))
		in("design").is(name, "se_design", g.number("svyglm", "se", j))
	}
	in("design").is("sex=male", "df", g.number("svyglm", "degf"))
	ends := in("classical").row("age_years", "estimate")
	agree(t, "low", r.Regression.Number(ends, "low"), g.number("ols", "ci95", "data_rowmajor", 2))
	agree(t, "high", r.Regression.Number(ends, "high"), g.number("ols", "ci95", "data_rowmajor", 3))
	in("hc3").is("", "r_squared_adjusted", g.number("ols", "adj_r2"))
	in("hc3").is("", "residual_sd", g.number("ols", "sigma"))
	in("hc3").is("", "model_f", g.number("ols", "f", 0))
	in("hc3").is("", "model_p", g.number("ols", "f_p"))
	in("hc3").is("", "breusch_pagan", g.number("tests", "breusch_pagan_koenker", "stat"))
	in("hc3").is("", "breusch_pagan_df1", g.number("tests", "breusch_pagan_koenker", "df"))
	in("hc3").is("", "breusch_pagan_p", g.number("tests", "breusch_pagan_koenker", "p"))
	in("hc3").is("", "reset", g.number("tests", "reset_23_fitted", "stat"))
	in("hc3").is("", "reset_p", g.number("tests", "reset_23_fitted", "p"))
	in("classical").is("race", "joint_f", g.number("tests", "anova_type3", "F", 10))
	in("classical").is("race", "joint_p", g.number("tests", "anova_type3", "p", 10))
	in("hc3").is("race", "gvif", g.number("vif", "gvif", "data_rowmajor", 27))
	in("hc3").is("race", "gvif_per_root", g.number("vif", "gvif", "data_rowmajor", 29))
	for k, name := range []string{"age_years", "sex=male", "height_cm", "bmi_kg_m2", "heart_rate_bpm", "brachial_map_mmhg"} {
		in("numbers").is(name, "standardised", g.number("standardized", "beta_times_sdx_over_sdy", k))
	}
	for label, name := range map[string]string{"age_years": "age", "sex": "sex", "height_cm": "height", "brachial_map_mmhg": "map"} {
		in("numbers").is(label, "vif", g.number("vif", "numeric_only", name))
		in("numbers").is(label, "partial_r_squared", g.number("standardized", "partial_r2", name))
	}
	for k, name := range []string{"intercept", "sex=male", "age_years", "brachial_map_mmhg", "sex=male:age_years"} {
		in("crossing").is(name, "estimate", g.number("interaction", "coef", k))
		in("crossing").is(name, "se_classical", g.number("interaction", "se", k))
	}
	effectsAgainstR(t, r, g)
	influenceAgainstR(t, r, g)
}

// The slope of age in men, which the interaction makes, as the curve shows it.
func effectsAgainstR(t *testing.T, r Results, g golden) {
	t.Helper()
	f := r.Effects
	compared := 0
	for row := range f.N {
		if f.TextAt(row, "model") != "crossing" || f.TextAt(row, "term") != "age_years" || f.TextAt(row, "at") != "sex=male" {
			continue
		}
		reference, err := strconv.ParseFloat(f.TextAt(row, "reference"), 64)
		if err != nil {
			t.Fatal(err)
		}
		step := f.Number(row, "x") - reference
		if step == 0 {
			if f.Number(row, "estimate") != 0 || f.Number(row, "low") != 0 {
				t.Error("the effect at the reference is not zero")
			}
			continue
		}
		compared++
		agree(t, "slope", f.Number(row, "estimate")/step, g.number("interaction", "age_slope_male", "est"))
		half := (f.Number(row, "high") - f.Number(row, "low")) / 2
		agree(t, "error of the slope", half/stats.StudentQuantile(0.975, 295)/math.Abs(step), g.number("interaction", "age_slope_male", "se"))
	}
	if compared < 10 {
		t.Errorf("%d points of the curve", compared)
	}
}

func influenceAgainstR(t *testing.T, r Results, g golden) {
	t.Helper()
	f := schema.NewFrame(schema.ResidualsTable(), 0)
	if err := r.Residuals.Each(func(piece *schema.Frame) error { f.Append(piece); return nil }); err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		if f.TextAt(i, "model") != "hc3" {
			t.Fatal("the residuals of the first model do not come first")
		}
		for ours, theirs := range map[string]string{"residual": "resid", "fitted": "fitted", "leverage": "hat", "standardised": "rstandard", "studentised": "rstudent", "cook": "cooks", "dffits": "dffits"} {
			agree(t, ours, f.Number(i, ours), g.number("diag", theirs, i))
		}
	}
}
