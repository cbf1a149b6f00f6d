package tabulate

import (
	"math"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
)

func columns(extra ...schema.Column) []schema.Column {
	return schema.SubjectVisitsTable(carried(extra...)).Columns
}

func TestDefaultPlanPasses(t *testing.T) {
	issues := Check(schema.DefaultAnalysis(), columns(), "study.yaml", "analysis")
	if schema.AnyStructural(issues) {
		t.Fatalf("%v", issues)
	}
	if len(issues) != 1 || issues[0].Code != "comparison_not_healthy" {
		t.Errorf("%v", issues)
	}
}

func TestCheckFindsFaults(t *testing.T) {
	limit, nan := 3.0, math.NaN()
	model := func(change func(*schema.Model)) func(*schema.Analysis) {
		return func(a *schema.Analysis) { change(&a.Models[0]) }
	}
	for name, c := range map[string]struct {
		change func(*schema.Analysis)
		path   string
		code   string
		hint   string
	}{
		"no bands":            {func(a *schema.Analysis) { a.Age.Bands = nil }, "age.bands", "empty_setting", ""},
		"bands reversed":      {func(a *schema.Analysis) { a.Age.Bands = []float64{30, 30} }, "age.bands[1]", "bands_not_ascending", ""},
		"band within a year":  {func(a *schema.Analysis) { a.Age.Bands = []float64{17.5} }, "age.bands[0]", "band_not_whole", "completed_years"},
		"band NaN":            {func(a *schema.Analysis) { a.Age.Bands = []float64{nan} }, "age.bands[0]", "bad_age_band", ""},
		"unknown variable":    {func(a *schema.Analysis) { a.Variables = []string{"central_sbp_mmgh"} }, "variables[0]", "unknown_column", "central_sbp_mmhg"},
		"date variable":       {func(a *schema.Analysis) { a.Variables = []string{"visit_date"} }, "variables[0]", "column_not_described", ""},
		"persons as variable": {func(a *schema.Analysis) { a.Variables = []string{"subject_id"} }, "variables[0]", "column_not_described", ""},
		"weight column":       {func(a *schema.Analysis) { a.Weights.Column, a.Weights.Kind = "sex", "sampling" }, "weights.column", "column_not_number", ""},
		"weight kind":         {func(a *schema.Analysis) { a.Weights.Column, a.Weights.Kind = "height_cm", "samplig" }, "weights.kind", "unknown_value", "sampling"},
		"kind without weight": {func(a *schema.Analysis) { a.Weights.Kind = "sampling" }, "weights.kind", "weights_without_column", ""},
		"single unit":         {func(a *schema.Analysis) { a.Weights = schema.WeightSettings{Column: "height_cm", Kind: "sampling"} }, "weights.single_psu", "unknown_value", ""},
		"strata of counts": {func(a *schema.Analysis) {
			a.Weights = schema.WeightSettings{Column: "height_cm", Kind: "frequency", Stratum: "centre", SinglePSU: "centred"}
		}, "weights.stratum", "design_without_sampling", "sampling"},
		"cluster of numbers": {func(a *schema.Analysis) {
			a.Weights = schema.WeightSettings{Column: "height_cm", Kind: "sampling", Cluster: "age_years", SinglePSU: "centred"}
		}, "weights.cluster", "group_not_levels", ""},
		"change between":    {func(a *schema.Analysis) { a.Change.Between = "first_lst" }, "change.between", "unknown_value", "first_last"},
		"change of one":     {func(a *schema.Analysis) { a.Change.Visits = []string{"v1"} }, "change.visits", "change_of_one_visit", ""},
		"change cluster":    {func(a *schema.Analysis) { a.Change.Cluster = "age_years" }, "change.cluster", "group_not_levels", ""},
		"shares without by": {func(a *schema.Analysis) { a.Standardise.Shares = map[string]float64{"x": 1} }, "standardise.by", "missing_setting", "age_band"},
		"standard column":   {func(a *schema.Analysis) { a.Standardise.By = "age_bands" }, "standardise.by", "unknown_column", "age_band"},
		"standard class": {func(a *schema.Analysis) {
			a.Standardise = schema.StandardSettings{By: "age_band", Shares: map[string]float64{"30-40": 1}}
		}, "standardise.shares.30-40", "unknown_value", "30-39"},
		"standard share": {func(a *schema.Analysis) {
			a.Standardise = schema.StandardSettings{By: "age_band", Shares: map[string]float64{"30-39": -1}}
		}, "standardise.shares.30-39", "bad_share", ""},
		"centile":             {func(a *schema.Analysis) { a.Precision.Centiles = []float64{100} }, "precision.centiles[0]", "out_of_range", ""},
		"precision":           {func(a *schema.Analysis) { a.Precision.SE = []float64{0} }, "precision.se_in_sd[0]", "out_of_range", ""},
		"margin":              {func(a *schema.Analysis) { a.Equivalence = map[string]float64{"central_pp_mmhg": 0} }, "equivalence.central_pp_mmhg", "out_of_range", ""},
		"margin of a level":   {func(a *schema.Analysis) { a.Equivalence = map[string]float64{"sex": 1} }, "equivalence.sex", "column_not_number", ""},
		"variable twice":      {func(a *schema.Analysis) { a.Variables = []string{"height_cm", "height_cm"} }, "variables[1]", "duplicate_item", ""},
		"threshold":           {func(a *schema.Analysis) { a.Threshold = map[string]float64{"central_p_mmhg": 1} }, "threshold.central_p_mmhg", "unknown_column", "central_pp_mmhg"},
		"threshold NaN":       {func(a *schema.Analysis) { a.Threshold = map[string]float64{"central_pp_mmhg": nan} }, "threshold.central_pp_mmhg", "bad_threshold", ""},
		"quantile type":       {func(a *schema.Analysis) { a.QuantileType = 10 }, "quantile_type", "out_of_range", ""},
		"unknown stratum":     {func(a *schema.Analysis) { a.Strata = []string{"sexx"} }, "strata[0]", "unknown_column", "sex"},
		"number as stratum":   {func(a *schema.Analysis) { a.Strata = []string{"height_cm"} }, "strata[0]", "stratum_not_levels", ""},
		"date as stratum":     {func(a *schema.Analysis) { a.Strata = []string{"visit_date"} }, "strata[0]", "stratum_not_levels", ""},
		"persons as strata":   {func(a *schema.Analysis) { a.Strata = []string{"subject_id"} }, "strata[0]", "stratum_of_persons", ""},
		"taken name":          {func(a *schema.Analysis) { a.Strata = []string{"note"} }, "strata[0]", "stratum_name_taken", ""},
		"taken level":         {func(a *schema.Analysis) { a.Strata = []string{"coverage"} }, "strata[0]", "level_name_taken", ""},
		"rule column":         {func(a *schema.Analysis) { a.Sets["x"] = []schema.Rule{{Column: "treatd", Levels: []string{"no"}}} }, "sets.x[0].treatd", "unknown_column", "treated"},
		"rule level":          {func(a *schema.Analysis) { a.Sets["x"] = []schema.Rule{{Column: "treated", Levels: []string{"non"}}} }, "sets.x[0].treated.levels[0]", "unknown_value", "did you mean no?"},
		"rule band":           {func(a *schema.Analysis) { a.Sets["x"] = []schema.Rule{{Column: "age_band", Levels: []string{"30-40"}}} }, "sets.x[0].age_band.levels[0]", "unknown_value", "30-39"},
		"rule without any":    {func(a *schema.Analysis) { a.Sets["x"] = []schema.Rule{{Column: "treated"}} }, "sets.x[0].treated", "empty_rule", ""},
		"levels of a number":  {func(a *schema.Analysis) { a.Sets["x"] = []schema.Rule{{Column: "height_cm", Levels: []string{"3"}}} }, "sets.x[0].height_cm", "rule_needs_bounds", ""},
		"bounds of a text":    {func(a *schema.Analysis) { a.Sets["x"] = []schema.Rule{{Column: "centre", Below: &limit}} }, "sets.x[0].centre", "rule_needs_levels", ""},
		"model without name":  {model(func(m *schema.Model) { m.Name = "" }), "models[0].name", "missing_setting", ""},
		"two models":          {func(a *schema.Analysis) { a.Models = append(a.Models, a.Models[0]) }, "models[1].name", "duplicate_model", ""},
		"no outcome":          {model(func(m *schema.Model) { m.Outcome = "" }), "models[0].outcome", "missing_setting", ""},
		"text outcome":        {model(func(m *schema.Model) { m.Outcome = "sex" }), "models[0].outcome", "column_not_number", ""},
		"unknown term":        {model(func(m *schema.Model) { m.Terms[0] = schema.Plain("age_year") }), "models[0].terms[0]", "unknown_column", "age_years"},
		"outcome as term":     {model(func(m *schema.Model) { m.Terms = schema.PlainTerms("sex", "central_pp_mmhg") }), "models[0].terms[1]", "outcome_as_term", ""},
		"date as term":        {model(func(m *schema.Model) { m.Terms = schema.PlainTerms("visit_date") }), "models[0].terms[0]", "term_not_usable", ""},
		"persons as term":     {model(func(m *schema.Model) { m.Terms = schema.PlainTerms("subject_id") }), "models[0].terms[0]", "term_of_persons", ""},
		"term twice":          {model(func(m *schema.Model) { m.Terms = schema.PlainTerms("sex", "sex") }), "models[0].terms[1]", "duplicate_item", ""},
		"unknown set":         {model(func(m *schema.Model) { m.Set = "alll" }), "models[0].set", "unknown_set", "did you mean all?"},
		"unknown errors":      {model(func(m *schema.Model) { m.Errors = "hc33" }), "models[0].errors", "unknown_value", "hc3"},
		"heart rate twice":    {model(func(m *schema.Model) { m.Outcome = "augmentation_index_hr75_pct" }), "models[0].terms", "adjusted_twice", ""},
		"unknown publication": {func(a *schema.Analysis) { a.CompareWith = []string{"mceniery2006"} }, "compare_with[0]", "unknown_value", "mceniery2005"},
		"too many strata": {func(a *schema.Analysis) {
			a.Strata = []string{"sex", "age_band", "treated", "posture", "centre", "quality", "calibration"}
		}, "strata", "too_many_strata", ""},
		"publication repeated": {func(a *schema.Analysis) { a.CompareWith = []string{"mceniery2005", "mceniery2005"} }, "compare_with[1]", "duplicate_item", ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := plan(c.change)
			available := columns(schema.Column{Name: "note", Kind: schema.Text}, schema.Column{Name: "coverage", Kind: schema.Category, Levels: []string{"some", "all"}})
			issues := Check(s.Analysis, available, "study.yaml", "analysis")
			i := slices.IndexFunc(issues, func(i schema.Issue) bool { return i.Name == "analysis."+c.path && i.Code == c.code })
			if i < 0 {
				t.Fatalf("not found among %v", issues)
			}
			if issues[i].Size != schema.SizeStructural || issues[i].File != "study.yaml" || issues[i].Message == "" {
				t.Errorf("%+v", issues[i])
			}
			if !strings.Contains(issues[i].Hint, c.hint) {
				t.Errorf("hint %q, want %q in it", issues[i].Hint, c.hint)
			}
		})
	}
}

func TestStructuralIssueStopsTheTables(t *testing.T) {
	s := plan(func(a *schema.Analysis) { a.Variables = []string{"no_such_column"} })
	r := Tables(invented(10).Frame, s, "study.yaml", "analysis")
	if !schema.AnyStructural(r.Issues) {
		t.Fatal("no structural issue")
	}
	for _, f := range []*schema.Frame{r.Summary, r.Regression, r.Comparison, r.Flow} {
		if f == nil || f.N != 0 {
			t.Error("a table was written")
		}
	}
}

func TestAgeBandNeedsAge(t *testing.T) {
	issues := Check(schema.DefaultAnalysis(), schema.SubjectVisitsTable([]schema.Column{{Name: "sex", Kind: schema.Text}}).Columns, "study.yaml", "")
	if !slices.ContainsFunc(issues, func(i schema.Issue) bool { return i.Name == "strata[1]" && i.Code == "unknown_column" }) {
		t.Errorf("%v", issues)
	}
	issues = Check(schema.DefaultAnalysis(), columns(schema.Column{Name: "age_band", Kind: schema.Text}), "study.yaml", "")
	if !slices.ContainsFunc(issues, func(i schema.Issue) bool { return i.Name == "strata[1]" && i.Code == "column_name_taken" }) {
		t.Errorf("%v", issues)
	}
}

// What makes an outcome by arithmetic is noted, and does not stop the run.
func TestArithmeticModels(t *testing.T) {
	for _, c := range []struct {
		outcome string
		terms   []string
		noted   bool
	}{
		{"central_pp_mmhg", []string{"brachial_pp_mmhg", "brachial_map_mmhg", "brachial_dbp_mmhg"}, true},
		{"central_sbp_mmhg", []string{"age_years", "brachial_sbp_mmhg", "brachial_dbp_mmhg", "brachial_map_mmhg"}, true},
		{"central_pp_mmhg", []string{"brachial_map_mmhg", "brachial_dbp_mmhg"}, true},
		{"central_pp_mmhg", []string{"brachial_map_mmhg", "age_years"}, false},
		{"central_pp_mmhg", []string{"central_sbp_mmhg", "central_dbp_mmhg"}, true},
		{"brachial_dbp_mmhg", []string{"brachial_pp_mmhg", "brachial_sbp_mmhg"}, true},
		{"pp_amplification_ratio", []string{"brachial_pp_mmhg", "central_pp_mmhg"}, true},
		{"augmentation_index_pct", []string{"age_years", "heart_rate_bpm"}, false},
	} {
		s := plan(func(a *schema.Analysis) {
			a.Models = []schema.Model{{Name: "m", Outcome: c.outcome, Terms: schema.PlainTerms(c.terms...)}}
		})
		issues := Check(s.Analysis, columns(), "study.yaml", "analysis")
		noted := slices.ContainsFunc(issues, func(i schema.Issue) bool { return i.Code == "outcome_by_arithmetic" && i.Size == schema.SizeNote })
		if noted != c.noted || schema.AnyStructural(issues) {
			t.Errorf("%s on %v: %v", c.outcome, c.terms, issues)
		}
	}
}
