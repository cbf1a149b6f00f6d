package tabulate

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// goldenMissing is the made-up cohort of testdata/golden that lacks values.
func goldenMissing(t *testing.T) table {
	t.Helper()
	file, err := os.Open(testdata.Path(t, "golden/in/cohort_missing.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	f := newTable(schema.Column{Name: "bmi_kg_m2", Kind: schema.Number, Unit: "kg/m2"})
	names := map[string]string{"age": "age_years", "bmi": "bmi_kg_m2", "hr": "heart_rate_bpm", "map": "brachial_map_mmhg", "cpp": "central_pp_mmhg"}
	for i, line := range rows[1:] {
		var cells []any
		for k, text := range line {
			name := rows[0][k]
			if v, err := strconv.ParseFloat(text, 64); err == nil && names[name] != "" {
				cells = append(cells, names[name], v)
			}
			if name == "sex" {
				cells = append(cells, "sex", map[string]string{"0": "female", "1": "male"}[text])
			}
		}
		f.add(fmt.Sprintf("s%03d", i), "v1", cells...)
	}
	return f
}

// The complete cases are R's to the last digits; the imputed model lies within
// the noise of five imputations of mice 3.15.0 (R 4.2.2) on the same cohort.
func TestImputedModelAgainstMice(t *testing.T) {
	g := readGolden(t, "r06_rubin")
	terms := schema.PlainTerms("age_years", "sex", "bmi_kg_m2", "heart_rate_bpm", "brachial_map_mmhg")
	settings := plan(func(a *schema.Analysis) {
		a.Models = []schema.Model{
			{Name: "complete", Outcome: "central_pp_mmhg", Errors: "classical", Terms: terms},
			{Name: "imputed", Extends: "complete", Missing: &schema.MissingSettings{Imputations: 30, Iterations: 5, Variables: map[string]string{"bmi_kg_m2": "normal", "heart_rate_bpm": "normal", "brachial_map_mmhg": "normal"}}},
		}
	})
	settings.Study.ID = "golden"
	r := run(t, goldenMissing(t), settings)
	complete, imputed := cells{t, r.Regression, "complete"}, cells{t, r.Regression, "imputed"}
	value := func(term, statistic string) float64 {
		return r.Regression.Number(imputed.row(term, statistic), "estimate")
	}
	for j, name := range []string{"intercept", "age_years", "sex=male", "bmi_kg_m2", "heart_rate_bpm", "brachial_map_mmhg"} {
		complete.is(name, "estimate", g.number("complete_case", "coef", j))
		complete.is(name, "se_classical", g.number("complete_case", "se", j))
		want, se := g.number("pooled", "estimate", j), g.number("pooled", "se", j)
		if d := math.Abs(value(name, "estimate") - want); d > 0.25*se {
			t.Errorf("%s: %g, mice has %g with error %g", name, value(name, "estimate"), want, se)
		}
		if ratio := value(name, "se_classical") / se; ratio < 0.9 || ratio > 1.1 {
			t.Errorf("%s: error %g, mice has %g", name, value(name, "se_classical"), se)
		}
		if fmi := value(name, "missing_information"); !(fmi > 0 && fmi < 0.3) {
			t.Errorf("%s: fraction of missing information %g", name, fmi)
		}
		if df := value(name, "df"); !(df > 100 && df < 294) {
			t.Errorf("%s: %g degrees of freedom", name, df)
		}
	}
	for name, want := range map[string]float64{"bmi_kg_m2": g.number("missing_counts", "bmi"), "heart_rate_bpm": 28, "central_pp_mmhg": 0} {
		imputed.is(name, "missing", want)
	}
	row := imputed.row("age_years", "estimate")
	if n, method := r.Regression.Number(row, "n"), r.Regression.TextAt(row, "method"); n != 300 || !strings.Contains(method, "pooled over 30 imputations") {
		t.Errorf("n %g, method %q", n, method)
	}
	if got := r.Seeds["imputation of imputed/central_pp_mmhg"]; got == "" {
		t.Errorf("seeds %v", r.Seeds)
	}
	if r.Traces.N != 3*30*5 || r.Traces.TextAt(0, "method") != "normal" {
		t.Errorf("%d rows of traces", r.Traces.N)
	}
}

// Numbers, two levels and three levels, through curves, joint tests and odds; the
// same names give the same tables, another study id gives others.
func TestImputationOfEveryKind(t *testing.T) {
	made := func(id string) Results {
		f := newTable(schema.Column{Name: "smoker", Kind: schema.Category, Levels: []string{"never", "former", "current"}}, schema.Column{Name: "lead_ug_l", Kind: schema.Number, Unit: "µg/L"})
		source := invented(240)
		for row := range source.N {
			to := f.AddRow()
			f.CopyRow(to, source.Frame, row)
			f.SetText(to, "smoker", []string{"never", "former", "current", ""}[row%4])
			if row%7 == 0 {
				f.SetText(to, "treated", "unknown")
			}
			if row%5 == 0 {
				f.SetNumber(to, "age_years", math.NaN())
			}
		}
		f.SetNumber(9, "height_cm", math.NaN())
		settings := plan(func(a *schema.Analysis) {
			missing := &schema.MissingSettings{Imputations: 3, Iterations: 2, Auxiliary: []string{"lead_ug_l", "posture"}}
			a.Models = []schema.Model{
				{Name: "mean", Outcome: "height_cm", Missing: missing, Terms: []schema.Term{{Column: "age_years", DF: 3}, schema.Plain("treated"), schema.Plain("smoker"), schema.Plain("centre"), {Interaction: schema.PlainTerms("treated", "centre")}}},
				{Name: "odds", Extends: "mean", Outcome: "central_pp_mmhg", Kind: schema.LogisticModel, Threshold: &[]float64{45}[0], Terms: []schema.Term{{Column: "age_years", Degree: 2}}},
				{Name: "median", Extends: "mean", Kind: schema.QuantileModel},
			}
		})
		settings.Study.ID = id
		return run(t, f, settings)
	}
	r := made("a")
	at := func(model, term, statistic string) int {
		return find(t, r.Regression, "model", model, "term", term, "statistic", statistic, "variable", map[string]string{"odds": "central_pp_mmhg"}[model]+map[bool]string{true: "height_cm"}[model != "odds"])
	}
	for _, model := range []string{"mean", "odds", "median"} {
		for _, term := range []string{"treated=no", "smoker=former", "smoker=current", "centre=south"} {
			if row := at(model, term, "estimate"); math.IsNaN(r.Regression.Number(row, "low")) {
				t.Errorf("%s, %s: no interval; %s", model, term, r.Regression.TextAt(row, "note"))
			}
		}
		if row := at(model, "smoker", "joint_p"); math.IsNaN(r.Regression.Number(row, "estimate")) {
			t.Errorf("%s: no joint test", model)
		}
	}
	// The outcome of row 9 is missing, and is not imputed.
	if n := r.Regression.Number(at("mean", "treated=no", "estimate"), "n"); n != 239 {
		t.Errorf("%g rows", n)
	}
	curve := 0
	for row := range r.Effects.N {
		if r.Effects.TextAt(row, "model") == "odds" && r.Effects.TextAt(row, "term") == "age_years" && !math.IsNaN(r.Effects.Number(row, "low")) {
			curve++
		}
	}
	if curve < 5 {
		t.Error("no curve")
	}
	again, other := made("a"), made("b")
	if !reflect.DeepEqual(printed(r.Regression), printed(again.Regression)) {
		t.Error("the same names give other numbers")
	}
	if reflect.DeepEqual(printed(r.Regression), printed(other.Regression)) {
		t.Error("another study id gives the same numbers")
	}
}

func printed(f *schema.Frame) []string {
	var out []string
	for row := range f.N {
		out = append(out, fmt.Sprint(f.TextAt(row, "model"), f.TextAt(row, "term"), f.TextAt(row, "statistic"), f.Number(row, "estimate"), f.Number(row, "low")))
	}
	return out
}

// Where nothing lacks a value nothing is imputed, and the model says so.
func TestNothingToImpute(t *testing.T) {
	r := run(t, invented(80), model(schema.Model{Name: "m", Outcome: "height_cm", Terms: schema.PlainTerms("age_years"), Missing: &schema.MissingSettings{}}))
	row := find(t, r.Regression, "term", "age_years", "statistic", "estimate")
	if note, method := r.Regression.TextAt(row, "note"), r.Regression.TextAt(row, "method"); !strings.Contains(note, "nothing was imputed") || strings.Contains(method, "pooled") {
		t.Errorf("note %q, method %q", note, method)
	}
}

func TestImputationSettingsAreJudged(t *testing.T) {
	for name, c := range map[string]struct {
		settings schema.MissingSettings
		path     string
	}{
		"method":        {schema.MissingSettings{Method: "mean"}, "models[0].missing.method"},
		"nothing to do": {schema.MissingSettings{Method: "complete_case", Imputations: 5}, "models[0].missing.method"},
		"one copy":      {schema.MissingSettings{Imputations: 1}, "models[0].missing.imputations"},
		"no column":     {schema.MissingSettings{Variables: map[string]string{"weight": "pmm"}}, "models[0].missing.variables.weight"},
		"levels":        {schema.MissingSettings{Variables: map[string]string{"sex": "pmm"}}, "models[0].missing.variables.sex"},
		"number":        {schema.MissingSettings{Variables: map[string]string{"age_years": "logistic"}}, "models[0].missing.variables.age_years"},
		"helps itself":  {schema.MissingSettings{Auxiliary: []string{"sex"}}, "models[0].missing.auxiliary[0]"},
		"helps not":     {schema.MissingSettings{Auxiliary: []string{"visit_date"}}, "models[0].missing.auxiliary[0]"},
	} {
		t.Run(name, func(t *testing.T) {
			s := model(schema.Model{Name: "m", Outcome: "central_pp_mmhg", Terms: schema.PlainTerms("age_years", "sex"), Missing: &c.settings})
			issues := Check(s.Analysis, columns(), "study.yaml", "analysis")
			if len(issues) == 0 || !schema.AnyStructural(issues) || issues[len(issues)-1].Name != "analysis."+c.path {
				t.Errorf("%v", issues)
			}
		})
	}
}
