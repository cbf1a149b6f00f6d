package study

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
)

// fullSettings sets every section of the contract.
const fullSettings = `format: 1
study: {id: lantern-bay, title: "Lantern Bay vascular survey"}
tables: {subjects: subjects.csv, visits: visits.csv, cuff: cuff.csv, recordings: recordings.csv}
covariates:
  - {name: smoker, in: subjects, type: category, levels: [never, former, current]}
  - {name: glucose_mmol_l, in: visits, type: number, unit: mmol/L, range: [2, 40]}
  - {name: creatinine_mg_dl, in: visits, type: number, unit: mg/dL, range: [0.1, 20]}
  - {name: diabetes, in: subjects, type: category, levels: [yes, no, unknown]}
recode:   {sex: {M: male, F: female, "1": male, 2: female}, smoker: {x: null}}
units:    {height_cm: m, weight_kg: lb}
derive:   [bmi_kg_m2, bsa_m2, egfr_ckdepi2021]
cuff:     {rule: drop_first_of_three}
calibration: {primary: sbp_dbp, map: cuff_or_factor, form_factor: 0.40}
beats:    {lowpass_hz: 20, min_accepted: 8, min_seconds: 5}
central:  {method: tube_constant, also: [moving_average]}
quality:  {min_grade: doubtful}
protocol: {on_departure: flag, rest_min: 5, caffeine_h: ignore, vasoactive: ignore, posture: standing}
replicates: {rule: mean}
analysis:
  visit: first
  age: {completed_years: true, bands: [18, 30, 40, 50, 60, 70, 80]}
  sets:
    all: []
    healthy: [{treated: [no]}, {diabetes: [no]}, {brachial_sbp_mmhg: {below: 140}}, {age_years: {at_least: 18, at_most: 90}}]
  variables: [central_sbp_mmhg, central_pp_mmhg, pp_amplification_ratio, augmentation_index_pct]
  strata: [sex, age_band]
  threshold: {central_pp_mmhg: 50}
  models:
    - {name: adjusted, outcome: central_pp_mmhg, terms: [age_years, sex, height_cm, heart_rate_bpm, brachial_map_mmhg], errors: hc3}
    - {name: risk, outcome: central_pp_mmhg, terms: [age_years, smoker, bmi_kg_m2], set: healthy, errors: classical}
  compare_with: [mceniery2005]
disclosure: {min_cell: 10, on_violation: suppress}
waveforms: {delimiter: semicolon, decimal: comma}
privacy:  {ids: as_given, age_top: 90, date_shift: none}
`

// fullStudy fits fullSettings.
func fullStudy() folder {
	return folder{
		"study.yaml":     fullSettings,
		"subjects.csv":   "subject_id,sex,height_cm,weight_kg,smoker,diabetes\n001,F,1.65,154.3,never,no\n002,1,1.80,180,x,no\n",
		"visits.csv":     "subject_id,visit_id,age_years,treated,glucose_mmol_l,creatinine_mg_dl,rest_min,caffeine_h,posture,weight_kg\n001,V1,50,no,5.2,1.0,4,0,standing,\n002,V1,60,yes,,,10,0,supine,200\n",
		"cuff.csv":       "subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg\n001,V1,1,120,80\n002,V1,1,130,80\n",
		"recordings.csv": "recording_id,subject_id,visit_id,file,format\nR1,001,V1,a.csv,csv\n",
	}
}

func TestFullSettings(t *testing.T) {
	s := Load(fullStudy(), Options{})
	if len(s.Issues) > 0 {
		t.Fatalf("unexpected:\n%s", allIssues(s.Issues))
	}
	c := s.Settings
	if got := c.Recode["sex"]; got["2"] != "female" || got["1"] != "male" || c.Recode["smoker"]["x"] != "" {
		t.Errorf("recode: %v", c.Recode)
	}
	if _, kept := c.Protocol.Limits["caffeine_h"]; kept || c.Protocol.Limits["rest_min"] != 5 || c.Protocol.Limits["tobacco_h"] != 3 {
		t.Errorf("limits: %v", c.Protocol.Limits)
	}
	if _, kept := c.Protocol.Forbidden["vasoactive"]; kept || c.Protocol.Forbidden["posture"] != "standing" || c.Protocol.Forbidden["legs_crossed"] != "yes" {
		t.Errorf("forbidden: %v", c.Protocol.Forbidden)
	}
	healthy := c.Analysis.Sets["healthy"]
	if len(healthy) != 4 || healthy[0].Column != "treated" || !slices.Equal(healthy[0].Levels, []string{"no"}) || *healthy[2].Below != 140 ||
		*healthy[3].AtLeast != 18 || *healthy[3].AtMost != 90 || healthy[3].Above != nil {
		t.Errorf("healthy: %+v", healthy)
	}
	if m := c.Analysis.Models; len(m) != 2 || m[0].Set != "all" || m[1].Set != "healthy" || m[1].Errors != "classical" {
		t.Errorf("models: %+v", m)
	}
	if c.Beats != schema.DefaultSettings().Beats {
		t.Errorf("beats: %+v", c.Beats)
	}
	first, second := s.Subjects[0], s.Subjects[1]
	if first.ID != "001" || first.Sex != "female" || second.Sex != "male" {
		t.Errorf("persons: %+v %+v", first, second)
	}
	cell := func(p Subject, name string) Cell {
		i := slices.IndexFunc(s.Carried, func(c schema.Column) bool { return c.Name == name })
		return p.Visits[0].Cells[i]
	}
	// Pound and metre are exact; the visit's weight goes before the person's.
	near(t, "weight", cell(first, "weight_kg").Number, 154.3*0.45359237, 1e-12)
	near(t, "weight of the visit", cell(second, "weight_kg").Number, 200*0.45359237, 1e-12)
	near(t, "height", cell(first, "height_cm").Number, 165, 1e-12)
	near(t, "body mass index", cell(first, "bmi_kg_m2").Number, 154.3*0.45359237/(1.65*1.65), 1e-12)
	if cell(second, "smoker").Text != "" || cell(first, "smoker").Text != "never" {
		t.Error("recode to null is not missing")
	}
	if got := first.Visits[0].Departures; !slices.Equal(got, []string{"rest_min", "posture"}) {
		t.Errorf("departures: %v", got)
	}
}

func TestMinimalSettingsAreTheDefaults(t *testing.T) {
	f := fullStudy().with("study.yaml", "format: 1\nstudy: {id: x}\ntables: {subjects: subjects.csv, visits: visits.csv, cuff: cuff.csv, recordings: recordings.csv}\n",
		"subjects.csv", "subject_id,sex\n001,female\n002,male\n", "visits.csv", "subject_id,visit_id,age_years\n001,V1,50\n002,V1,60\n")
	s := Load(f, Options{})
	if schema.AnyStructural(s.Issues) {
		t.Fatalf("unexpected:\n%s", allIssues(s.Issues))
	}
	if note := find(t, s.Issues, "default_term_absent"); note.Size != schema.SizeNote || note.Value != "height_cm" {
		t.Errorf("note: %+v", note)
	}
	want := schema.DefaultSettings()
	want.Format, want.Study.ID, want.Tables = 1, "x", s.Settings.Tables
	want.Analysis.Models[0].Terms = slices.DeleteFunc(want.Analysis.Models[0].Terms, func(t schema.Term) bool { return t.Column == "height_cm" })
	want.Analysis.Centiles = schema.ResolveCentiles(want.Analysis.Centiles, []string{"all"})
	if !reflect.DeepEqual(s.Settings, want) {
		t.Errorf("got  %+v\nwant %+v", s.Settings, want)
	}
}

// settingFault is a change of fullSettings and the issue that comes of it.
type settingFault struct {
	old, new string
	code     string
	points   string // the text that the place of the issue begins with
	says     string
}

func settingFaults() []settingFault {
	return []settingFault{
		{"format: 1", "format: 2", "format_version", "2", "reads format 1"},
		{"format: 1\n", "", "missing_setting", "study", "format: required"},
		{"id: lantern-bay", "id: =x", "bad_id", "=x", ""},
		{"id: lantern-bay, ", "", "missing_setting", "{title", "study.id"},
		{"subjects: subjects.csv, ", "", "missing_setting", "{visits", "tables.subjects"},
		{"subjects: subjects.csv", "subjects: ../subjects.csv", "file_outside_study", "../subjects", ""},
		{"visits: visits.csv", "visits: ./subjects.csv", "same_file", "./subjects", "tables.subjects"},
		{"visits: visits.csv", "visits: none.csv", "missing_file", "none.csv", "no such file in the study folder"},
		{"visits: visits.csv", "visits: visits.parquet", "missing_file", "visits.parquet", ""},
		{"lowpass_hz: 20", "lowpas_hz: 20", "unknown_setting", "lowpas_hz", "did you mean lowpass_hz?"},
		{"quality:", "lowpass_hz: 20\nquality:", "unknown_setting", "lowpass_hz", "lowpass_hz belongs under beats"},
		{"quality:", "qualty:", "unknown_setting", "qualty", "did you mean quality?"},
		{"quality:", "beats: {}\nquality:", "duplicate_setting", "beats", "first on line 14"},
		{"lowpass_hz: 20", "lowpass_hz: fast", "wrong_type", "fast", "expected a number, found text"},
		{"lowpass_hz: 20", "lowpass_hz: \"20\"", "wrong_type", "\"20\"", "expected a number, found text"},
		{"lowpass_hz: 20", "lowpass_hz: 0x14", "wrong_type", "0x14", "plain decimal"},
		{"lowpass_hz: 20", "lowpass_hz: .inf", "wrong_type", ".inf", ""},
		{"lowpass_hz: 20", "lowpass_hz: 200", "out_of_range", "200", "outside 5 to 100"},
		{"min_accepted: 8", "min_accepted: 8.5", "wrong_type", "8.5", "a whole number"},
		{"form_factor: 0.40", "form_factor: \"0,4\"", "wrong_type", "\"0,4", "decimal point"},
		{"form_factor: 0.40", "form_factor: 0.7", "out_of_range", "0.7", "0.2 to 0.6"},
		{"rule: drop_first_of_three", "rule: drop_frist", "unknown_value", "drop_frist", "did you mean drop_first?"},
		{"rule: drop_first_of_three", "rule: [all]", "wrong_type", "[all]", "found a list"},
		{"rule: drop_first_of_three", "rule: null", "empty_setting", "null", ""},
		{"method: tube_constant", "method: tube_individual", "not_supported", "tube_individual", "supported: tube_constant, moving_average"},
		{"also: [moving_average]", "also: [tube_constant]", "duplicate_method", "tube_constant]", ""},
		{"also: [moving_average]", "also: moving_average", "wrong_type", "moving_average}", "[moving_average]"},
		{"ids: as_given", "ids: hashed", "unknown_value", "hashed", "as_given, keyed, renumber"},
		{"ids: as_given", "ids: as_given, key_file: /etc/key", "unknown_setting", "key_file", ""},
		{"age_top: 90", "age_top: 40", "out_of_range", "40", "60 to 120"},
		{"date_shift: none", "date_shift: random", "unknown_value", "random", "none, keyed"},
		{"{delimiter: semicolon", "{delimiter: semikolon", "unknown_value", "semikolon", "did you mean semicolon?"},
		{"{delimiter: semicolon", "{delimiter: comma", "same_sign", "comma", "semicolon for one"},
		{"{delimiter: semicolon", "{delimiter: \"1\"", "unknown_value", "\"1\"", "a sign that no number has"},
		{"decimal: comma", "decimal: dot", "unknown_value", "dot", "point, comma"},
		{"rest_min: 5", "rest_min: long", "wrong_type", "long", ""},
		{"rest_min: 5", "rest_mn: 5", "unknown_setting", "rest_mn", "did you mean rest_min?"},
		{"posture: standing", "posture: lying", "unknown_value", "lying", "supine, seated"},
		{"completed_years: true", "completed_years: yes", "wrong_type", "yes", "true or false"},
		{"[18, 30, 40, 50", "[18, 30, 30, 50", "bands_not_ascending", "30, 50", ""},
		{"{treated: [no]}", "{treated: no}", "wrong_type", "no}", "{treated: [no]}"},
		{"{treated: [no]}", "{treated: [nein]}", "unknown_value", "nein", "yes, no, unknown"},
		{"{treated: [no]}", "{treatd: [no]}", "unknown_column", "treatd", "did you mean treated?"},
		{"{treated: [no]}", "{treated: {below: 1}}", "rule_needs_levels", "treated", ""},
		{"{treated: [no]}", "{treated: []}", "empty_rule", "treated: []", ""},
		{"{treated: [no]}", "{treated: [no], sex: [male]}", "rule_two_columns", "sex: [male]", ""},
		{"{below: 140}", "{under: 140}", "unknown_setting", "under", "below, at_least"},
		{"{below: 140}", "[140]", "rule_needs_bounds", "brachial_sbp_mmhg", ""},
		{"at_least: 18, at_most: 90", "at_least: 90, at_most: 18", "empty_rule", "age_years", ""},
		{"threshold: {central_pp_mmhg", "threshold: {central_pp", "unknown_column", "50", "did you mean"},
		{"strata: [sex, age_band]", "strata: [sex, age_years]", "stratum_not_levels", "age_years]", ""},
		{"threshold: {central_pp_mmhg", "threshold: {sex", "column_not_number", "50", ""},
		{"strata: [sex, age_band]", "strata: [sex, age_band]\n  bp_scheme: JNC_7", "unknown_value", "JNC_7", "did you mean JNC7?"},
		{"{treated: [no]}", "{bp_class: [optimum]}", "unknown_value", "optimum", "did you mean optimal?"},
		{"variables: [central_sbp_mmhg, central_pp_mmhg, ", "variables: [central_pp_mmhg, central_pp_mmhg, ", "duplicate_item", "central_pp_mmhg, pp_", ""},
		{"set: healthy", "set: helthy", "unknown_set", "helthy", "all, healthy"},
		{"errors: classical", "errors: hc5", "unknown_value", "hc5", ""},
		{"name: risk", "name: adjusted", "duplicate_model", "adjusted, outcome: central_pp_mmhg, terms: [age_years, smoker", ""},
		{"terms: [age_years, smoker", "terms: [age_years, smokr", "unknown_column", "smokr", "did you mean smoker?"},
		{"terms: [age_years, smoker", "terms: [age_years, central_pp_mmhg", "outcome_as_term", "central_pp_mmhg, bmi", ""},
		{"[mceniery2005]", "[mcenery2005]", "unknown_value", "mcenery2005", "did you mean mceniery2005?"},
		{"visit: first", "visit: V9", "unknown_visit", "V9", "did you mean V1?"},
		{"min_cell: 10", "min_cell: 0", "out_of_range", "0", ""},
		{"name: smoker, in: subjects", "name: sex, in: subjects", "reserved_name", "sex, in", ""},
		{"name: smoker, in: subjects", "name: quality, in: subjects", "reserved_name", "quality, in", ""},
		{"name: smoker, in: subjects", "name: smoker, in: cuff", "unknown_value", "cuff", ""},
		{"name: smoker, in: subjects", "name: smoker, in: visits", "missing_column", "subject_id,visit_id", "smoker"},
		{"name: glucose_mmol_l", "name: \"glucose mmol\"", "bad_name", "\"glucose mmol", ""},
		{"range: [2, 40]", "range: [40, 2]", "bad_range", "[40, 2]", ""},
		{"levels: [never, former, current]", "levels: [never, former, never]", "duplicate_level", "never]", ""},
		{"type: category, levels: [never", "type: text, levels: [never", "levels_not_category", "[never", ""},
		{"M: male", "M: mal", "unknown_level", "mal", "did you mean male?"},
		{"recode:   {sex:", "recode:   {sx:", "unknown_column", "{M: male", "did you mean sex?"},
		{"weight_kg: lb", "weight_kg: lbs", "unknown_unit", "lbs", "kg, lb, st, g"},
		{"derive:   [bmi_kg_m2, ", "derive:   [bmi, ", "unknown_value", "bmi, ", "known values: bmi_kg_m2"},
		{"creatinine_mg_dl", "creat_mg_dl", "derive_input_absent", "egfr", "creatinine_mg_dl or creatinine_umol_l"},
		{"privacy:  {ids", "privacy:\t{ids: [", "yaml_syntax", "privacy", ""},
		{"privacy:", "---\nprivacy:", "yaml_documents", "---", ""},
	}
}

func TestSettingFaults(t *testing.T) {
	o := Options{CentralMethods: []string{"tube_constant", "moving_average"}, Published: []string{"mceniery2005"}}
	for _, c := range settingFaults() {
		t.Run(c.code+" "+c.new, func(t *testing.T) {
			changed := fullStudy().swap(t, "study.yaml", c.old, c.new)
			issue := find(t, Load(changed, o).Issues, c.code)
			if issue.Size != schema.SizeStructural {
				t.Errorf("size %s", issue.Size)
			}
			line := strings.Split(changed[issue.File], "\n")[issue.Row-1]
			if got := line[max(issue.Column, 1)-1:]; !strings.HasPrefix(got, c.points) {
				t.Errorf("%s points to %q, want %q", issue, got, c.points)
			}
			if !strings.Contains(issue.String(), c.says) {
				t.Errorf("%q does not say %q", issue, c.says)
			}
		})
	}
}

// All faults of a file are shown at once.
func TestSettingFaultsTogether(t *testing.T) {
	text := strings.NewReplacer("lowpass_hz: 20", "lowpas_hz: 20", "rule: mean", "rule: meen", "form_factor: 0.40", "form_factor: high",
		"{treated: [no]}", "{treatd: [no]}").Replace(fullSettings)
	s := Load(fullStudy().with("study.yaml", text, "subjects.csv", strings.Replace(fullStudy()["subjects.csv"], "1.65", "165", 1)), Options{})
	for _, code := range []string{"unknown_setting", "unknown_value", "wrong_type", "unknown_column", "out_of_range"} {
		find(t, s.Issues, code)
	}
}

func TestLoadAnalysis(t *testing.T) {
	columns := schema.SubjectVisitsTable([]schema.Column{{Name: "sex", Kind: schema.Category, Levels: []string{"female", "male"}}, {Name: "age_years", Kind: schema.Number}}).Columns
	for _, text := range []string{"visit: last\nvariables: [central_pp_mmhg]\n", "analysis:\n  visit: last\n  variables: [central_pp_mmhg]\n"} {
		a := LoadAnalysis([]byte(text), "plan.yaml", columns, Options{})
		issues := a.Issues
		if schema.AnyStructural(issues) || a.Visit != "last" || len(a.Variables) != 1 || len(a.Strata) != 2 {
			t.Errorf("%+v\n%s", a, allIssues(issues))
		}
	}
	issues := LoadAnalysis([]byte("analysis:\n  vist: last\n  variables: [central_p]\n"), "plan.yaml", columns, Options{}).Issues
	if issue := find(t, issues, "unknown_setting"); issue.File != "plan.yaml" || issue.Row != 2 {
		t.Errorf("%+v", issue)
	}
	find(t, issues, "unknown_column")
}

// Aliases of aliases must not multiply into a run without end.
func TestAliasesDoNotMultiply(t *testing.T) {
	var b strings.Builder
	b.WriteString("sets:\n  a: &rules\n    - {sex: &levels [" + strings.Repeat("x,", 2000) + "x]}\n")
	for range 2000 {
		b.WriteString("    - {sex: *levels}\n")
	}
	for i := range 2000 {
		b.WriteString("  b" + strings.Repeat("b", i%50) + string(rune('a'+i%26)) + ": *rules\n")
	}
	issues := LoadAnalysis([]byte(b.String()), "plan.yaml", nil, Options{}).Issues
	find(t, issues, "yaml_too_large")
}

// A column of yes and no takes its answers as levels, and nothing else.
func TestRuleOnYesAndNo(t *testing.T) {
	columns := schema.SubjectVisitsTable(nil).Columns
	for rule, code := range map[string]string{
		"{cuff_first_two_differ: [no]}": "", "{cuff_first_two_differ: {below: 1}}": "", "{cuff_first_two_differ: [maybe]}": "unknown_value", "{beats_used: [no]}": "rule_needs_bounds",
	} {
		issues := LoadAnalysis([]byte("sets: {calm: ["+rule+"]}\nmodels: []\ncompare_with: []\nstrata: []\n"), "plan.yaml", columns, Options{}).Issues
		switch {
		case code != "":
			find(t, issues, code)
		case schema.AnyStructural(issues):
			t.Errorf("%s:\n%s", rule, allIssues(issues))
		}
	}
}
