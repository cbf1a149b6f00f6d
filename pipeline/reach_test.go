package pipeline

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
	"tonocohort/testdata"
)

// leaves lists the paths of the settings down to the first list, map or value.
func leaves(t reflect.Type, path string) []string {
	if t.Kind() != reflect.Struct {
		return []string{path}
	}
	var list []string
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		list = append(list, leaves(t.Field(i).Type, strings.TrimPrefix(path+"."+name, "."))...)
	}
	return list
}

// Every setting says what it reaches, and nothing is said of a setting that
// there is not. Whoever adds a setting adds a line to settingReaches.
func TestEverySettingSaysWhatItReaches(t *testing.T) {
	all := leaves(reflect.TypeOf(schema.Settings{}), "")
	for _, setting := range all {
		if _, ok := settingReach(setting); !ok {
			t.Errorf("settingReaches does not say what %s reaches", setting)
		}
	}
	for declared := range settingReaches() {
		if !slices.ContainsFunc(all, func(s string) bool { return s == declared || strings.HasPrefix(s, declared+".") }) {
			t.Errorf("settingReaches names %s, and there is no such setting", declared)
		}
	}
	tables := map[string]bool{AllPersonTables: true, AllStatistics: true, AllReleased: true, AllIssues: true}
	for _, f := range newChunkRows(nil).frames() {
		tables[f.Table.Name] = true
		if !personLevel(tablePath(f.Table.Name)) {
			t.Errorf("%s is written recording by recording", f.Table.Name)
		}
	}
	for setting, reaches := range settingReaches() {
		for _, r := range reaches {
			if !tables[r.Table] && !strings.HasPrefix(setting, "analysis.") && setting != "disclosure" {
				t.Errorf("%s reaches %q, and there is no such table", setting, r.Table)
			}
		}
	}
}

// What a changed setting is seen to change lies within what it says it reaches.
func TestSettingsReachNoFurther(t *testing.T) {
	t.Parallel()
	studyDir := smallStudy(t, 24)
	name := filepath.Join(studyDir, study.SettingsFile)
	plain, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	before, _, _ := strings.Cut(string(plain), "analysis:")
	analysis := map[string]string{"visit": "first", "variables": "[central_pp_mmhg, heart_rate_bpm]", "strata": "[sex]", "threshold": "{central_pp_mmhg: 50}",
		"models": "[{name: m, outcome: central_pp_mmhg, terms: [age_years, sex]}]", "compare_with": "[mceniery2005]", "centiles": "[]"}
	write := func(edit func(head string, plan map[string]string) string) {
		plan := map[string]string{}
		for k, v := range analysis {
			plan[k] = v
		}
		text := edit(before, plan) + "\nanalysis:\n"
		for k, v := range plan {
			text += fmt.Sprintf("  %s: %s\n", k, v)
		}
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	dir := t.TempDir()
	run := func(results string) { ranInto(t, studyDir, filepath.Join(dir, results), Options{}) }
	const blocked = "\ndisclosure: {on_violation: block}" // what is released costs most, and few settings need it
	write(func(head string, _ map[string]string) string { return head })
	run("released")
	write(func(head string, _ map[string]string) string { return head + blocked })
	run("base")
	replace := func(from, to string) func(string, map[string]string) string {
		return func(head string, _ map[string]string) string {
			if !strings.Contains(head, from) {
				t.Fatalf("study.yaml has no %q", from)
			}
			return strings.Replace(head, from, to, 1)
		}
	}
	add := func(text string) func(string, map[string]string) string {
		return func(head string, _ map[string]string) string { return head + "\n" + text }
	}
	planned := func(key, value string) func(string, map[string]string) string {
		return func(head string, plan map[string]string) string { plan[key] = value; return head }
	}
	for i, k := range testdata.Few([]struct {
		setting string
		edit    func(string, map[string]string) string
	}{
		{"study.title", replace("title: \"Tern Quay", "title: \"Another")},
		{"derive", replace("derive: [bmi_kg_m2, bsa_m2, egfr_ckdepi2021]", "derive: [bmi_kg_m2]")},
		{"covariates", replace("levels: [never, former, current]", "levels: [never, former, current, other]")},
		{"cuff.rule", replace("drop_first_of_three", "all")},
		{"calibration.primary", replace("primary: sbp_dbp", "primary: map_dbp")},
		{"calibration.form_factor", replace("form_factor: 0.40", "form_factor: 0.33")},
		{"beats.lowpass_hz", replace("lowpass_hz: 20", "lowpass_hz: 15")},
		{"beats.min_accepted", replace("min_accepted: 8", "min_accepted: 14")},
		{"central.method", replace("method: tube_constant, also: [moving_average]", "method: tube_windkessel, also: [moving_average]")},
		{"central.method", replace("method: tube_constant, also: [moving_average]", "method: late_shoulder, also: [moving_average]")},
		{"central.also", replace("also: [moving_average]", "also: [tube_individual]")},
		{"uncertainty.cuff_sbp_sd_mmhg", add("uncertainty: {cuff_sbp_sd_mmhg: 9}")},
		{"quality.min_grade", replace("min_grade: doubtful", "min_grade: usable")},
		{"protocol.on_departure", replace("on_departure: flag", "on_departure: exclude")},
		{"protocol.limits.rest_min", replace("on_departure: flag", "on_departure: flag, rest_min: 30")},
		{"replicates.rule", replace("rule: mean", "rule: first")},
		{"privacy.age_top", add("privacy: {age_top: 60}")},
		{"privacy.ids", add("privacy: {ids: renumber}")},
		{"disclosure.min_cell", add("disclosure: {min_cell: 5}")},
		{"analysis.visit", planned("visit", "last")},
		{"analysis.bp_scheme", planned("bp_scheme", "ACC_AHA_2017")},
		{"analysis.quantile_type", planned("quantile_type", "6")},
		{"analysis.threshold", planned("threshold", "{central_pp_mmhg: 40}")},
		{"analysis.compare_with", planned("compare_with", "[]")},
		{"analysis.models", planned("models", "[]")},
		{"analysis.variables", planned("variables", "[central_pp_mmhg]")},
		{"analysis.precision", planned("precision", "{centiles: [50], se_in_sd: [0.2]}")},
		{"analysis.change", planned("change", "{between: none}")},
		{"analysis.tables", planned("tables", "{style: middle_dot}")},
	}) {
		base, end := "base", blocked
		if slices.Contains([]string{"study.title", "analysis.tables", "disclosure.min_cell"}, k.setting) {
			base, end = "released", ""
		}
		write(func(head string, plan map[string]string) string { return k.edit(head, plan) + end })
		results := fmt.Sprintf("%02d", i)
		run(results)
		w, err := WhyDiffer(context.Background(), filepath.Join(dir, base), filepath.Join(dir, results))
		if err != nil {
			t.Fatal(err)
		}
		if w.Differ == 0 {
			t.Errorf("%s: nothing differs", k.setting)
		}
		top, _, _ := strings.Cut(k.setting, ".")
		if len(w.Settings) == 0 || slices.ContainsFunc(w.Settings, func(c Cause) bool { return !strings.HasPrefix(c.Path, top) }) {
			t.Errorf("%s: the settings that differ are %v", k.setting, w.Settings)
		}
		for _, u := range w.Unexplained {
			t.Errorf("%s reaches %s further than it says", k.setting, u)
		}
	}
}

// A file that differs without a cause is named.
func TestWhyNamesWhatNothingExplains(t *testing.T) {
	a := sealedWith(t, "x", beatsOf([]string{"S1", "S2"}, nil))
	b := sealedWith(t, "x", beatsOf([]string{"S1", "S2"}, func(f *schema.Frame) { f.SetNumber(0, "onset_s", 9) }))
	w, err := WhyDiffer(context.Background(), a, b)
	if err != nil || w.Differ != 1 || len(w.Unexplained) != 1 || w.Unexplained[0].String() != "tables/beats.parquet (onset_s)" {
		t.Errorf("%+v %v", w, err)
	}
	resealed(t, b, func(m *schema.Manifest) { m.Settings.Replicates.Rule = "best" })
	if w, err = WhyDiffer(context.Background(), a, b); err != nil || len(w.Unexplained) != 1 {
		t.Errorf("a setting that does not reach it: %+v %v", w, err)
	}
	resealed(t, b, func(m *schema.Manifest) { m.Settings.Beats.LowpassHz = 9 })
	if w, err = WhyDiffer(context.Background(), a, b); err != nil || len(w.Unexplained) != 0 {
		t.Errorf("one that does: %+v %v", w, err)
	}
}
