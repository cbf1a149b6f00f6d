package study

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"tonocohort/schema"
)

// modelStudy is fullStudy with other models, written one below another.
func modelStudy(t *testing.T, models string) folder {
	t.Helper()
	from := strings.Index(fullSettings, "  models:\n")
	to := strings.Index(fullSettings, "  compare_with:")
	return fullStudy().with("study.yaml", fullSettings[:from]+"  models:\n"+models+fullSettings[to:])
}

const sequence = `    - name: m1
      outcome: central_pp_mmhg
      terms: [{column: age_years, form: centred, at: 0}, sex]
    - name: m2
      extends: m1
      terms: [height_cm, {column: heart_rate_bpm, per: 10}, brachial_map_mmhg]
    - name: m3
      extends: m2
      kind: quantile
      terms: [{column: age_years, form: natural_spline, knots: [40, 60]}, {column: smoker, reference: former}, {interaction: [sex, {column: age_years, at: 50}]}]
    - {name: m4, extends: m1, kind: logistic, threshold: 50, set: healthy, cluster: centre}
`

// A sequence is short: a model takes over what it does not say, adds its terms,
// and puts a term of its own in the place of one on the same column.
func TestModelsExtendEachOther(t *testing.T) {
	f := modelStudy(t, sequence)
	f["subjects.csv"] = strings.Replace(strings.Replace(f["subjects.csv"], ",diabetes\n", ",diabetes,centre\n", 1), ",no\n", ",no,north\n", 2)
	s := Load(f, Options{})
	if schema.AnyStructural(s.Issues) {
		t.Fatalf("unexpected:\n%s", allIssues(s.Issues))
	}
	zero, fifty := 0.0, 50.0
	age := schema.Term{Column: "age_years", Form: schema.Centred, At: &zero}
	first := schema.Model{Name: "m1", Outcome: "central_pp_mmhg", Set: "all", Kind: schema.LeastSquares, Errors: "hc3", Terms: []schema.Term{age, schema.Plain("sex")}}
	second := first
	second.Name, second.Extends = "m2", "m1"
	second.Terms = []schema.Term{age, schema.Plain("sex"), schema.Plain("height_cm"), {Column: "heart_rate_bpm", Per: 10}, schema.Plain("brachial_map_mmhg")}
	third := second
	third.Name, third.Extends, third.Kind, third.Quantile, third.Errors = "m3", "m2", schema.QuantileModel, 0.5, schema.LocalDensity
	third.Terms = append([]schema.Term{{Column: "age_years", Form: schema.NaturalSpline, Knots: []float64{40, 60}}}, second.Terms[1:]...)
	third.Terms = append(third.Terms, schema.Term{Column: "smoker", Reference: "former"},
		schema.Term{Interaction: []schema.Term{schema.Plain("sex"), {Column: "age_years", At: &fifty}}})
	fourth := first
	fourth.Name, fourth.Extends, fourth.Kind, fourth.Threshold, fourth.Set = "m4", "m1", schema.LogisticModel, &fifty, "healthy"
	fourth.Errors, fourth.Cluster = schema.ClusterErrors, "centre"
	want := []schema.Model{first, second, third, fourth}
	got := s.Settings.Analysis.Models
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	if again := schema.ResolveModels(got); !reflect.DeepEqual(again, want) {
		t.Errorf("resolving twice changes: %+v", again)
	}
	data, err := json.Marshal(got)
	if err != nil || !strings.Contains(string(data), `"terms":[{"column":"age_years","form":"centred","at":0},"sex"]`) {
		t.Errorf("%s, %v", data, err)
	}
	var back []schema.Model
	if err := json.Unmarshal(data, &back); err != nil || !reflect.DeepEqual(back, want) {
		t.Errorf("read back: %+v, %v", back, err)
	}
}

// Every fault of a declaration has its line, its rule and a word of help.
func TestModelFaults(t *testing.T) {
	for _, c := range []settingFault{
		{"extends: m1\n      terms", "extends: m9\n      terms", "unknown_model", "m9", "did you mean m1?"},
		{"kind: quantile", "kind: quantle", "unknown_value", "quantle", "did you mean quantile?"},
		{"kind: quantile\n", "kind: quantile\n      quantile: 1\n", "out_of_range", "1", "between 0 and 1"},
		{"kind: quantile\n", "kind: quantile\n      errors: hc3\n", "unknown_value", "hc3", "local_density"},
		{"kind: quantile\n", "quantile: 0.9\n", "setting_not_used", "0.9", "kind: quantile"},
		{"kind: quantile\n", "threshold: 50\n", "setting_not_used", "50", ""},
		{"kind: logistic, threshold: 50", "kind: prevalence_ratio, errors: classical", "unknown_value", "classical", "must be robust"},
		{"threshold: 50", "event: yes", "setting_not_used", "yes", "threshold: 50"},
		{"cluster: centre", "cluster: centr", "unknown_column", "centr", "did you mean centre?"},
		{"cluster: centre", "cluster: centre, errors: hc0", "setting_not_used", "centre", "errors: cluster"},
		{"cluster: centre", "errors: design", "unknown_column", "design", "sampling_weight"},
		{"per: 10", "pr: 10", "unknown_setting", "pr", "did you mean per?"},
		{"per: 10", "per: -1", "out_of_range", "-1", ""},
		{"per: 10", "form: scaled", "missing_setting", "{column: heart_rate_bpm", "per: 10"},
		{"per: 10", "form: polynomal, degree: 2", "unknown_value", "polynomal", "did you mean polynomial?"},
		{"per: 10", "form: polynomial", "missing_setting", "{column: heart_rate_bpm", "degree: 2"},
		{"per: 10", "form: polynomial, degree: 11", "out_of_range", "11", ""},
		{"per: 10", "form: linear, at: 3", "setting_not_used", "3", "centred"},
		{"per: 10", "form: factor", "term_not_usable", "factor", "no levels"},
		{"per: 10", "form: fractional_polynomial, powers: [1, 4]", "unknown_value", "4", "the logarithm"},
		{"knots: [40, 60]", "knots: [60, 40]", "knots_not_ascending", "40", ""},
		{"knots: [40, 60]", "df: 4, knots: [40, 60]", "setting_not_used", "4", "not both"},
		{"knots: [40, 60]", "df: 0", "missing_setting", "0", "df: 4"},
		{"reference: former", "reference: forme", "unknown_value", "forme", "did you mean former?"},
		{"reference: former", "form: centred", "term_not_usable", "centred", "form: factor"},
		{"kind: quantile\n", "missing: {imputation: 5}\n", "unknown_setting", "imputation", "did you mean imputations?"},
		{"kind: quantile\n", "missing: {method: chained, variables: {smoker: logistic}}\n", "unknown_value", "chained", "chained_equations"},
		{"kind: quantile\n", "missing: {variables: {smoker: pmm}}\n", "method_of_another_kind", "pmm", "logistic or multinomial"},
		{"kind: quantile\n", "missing: {auxiliary: [glucos_mmol_l]}\n", "unknown_column", "glucos", "did you mean glucose_mmol_l?"},
		{"sex, {column: age_years, at: 50}", "sex, sex", "duplicate_item", "sex]", ""},
		{"sex, {column: age_years, at: 50}", "sex", "term_not_usable", "{interaction", "two or three"},
		{"sex, {column: age_years, at: 50}", "sex, {interaction: [sex, smoker]}", "term_not_usable", "{interaction: [sex, sm", "one list"},
		{"sex, {column: age_years, at: 50}", "sex, {column: age_year}", "unknown_column", "{column: age_year}", "did you mean age_years?"},
		{"[height_cm", "[[height_cm]", "wrong_type", "[height_cm]", "reference: never"},
		{"[height_cm", "[augmentation_index_hr75_pct", "adjusted_twice", "[augm", "use augmentation_index_pct"},
	} {
		t.Run(c.code+" "+c.new, func(t *testing.T) {
			f := modelStudy(t, sequence)
			f["subjects.csv"] = strings.Replace(strings.Replace(f["subjects.csv"], ",diabetes\n", ",diabetes,centre\n", 1), ",no\n", ",no,north\n", 2)
			f = f.swap(t, "study.yaml", c.old, c.new)
			issue := find(t, Load(f, Options{}).Issues, c.code)
			line := strings.Split(f["study.yaml"], "\n")[issue.Row-1]
			if got := line[max(issue.Column, 1)-1:]; issue.Size != schema.SizeStructural || !strings.HasPrefix(got, c.points) {
				t.Errorf("%s points to %q, want %q", issue, got, c.points)
			}
			if !strings.Contains(issue.String(), c.says) {
				t.Errorf("%q does not say %q", issue, c.says)
			}
		})
	}
}
