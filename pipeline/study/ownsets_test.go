package study

import (
	"strings"
	"testing"
)

// A published set of the study's own is a file, or a file with a name; each fault
// of either form is told at its place.
func TestOwnSetsByNameAndFile(t *testing.T) {
	shipped := Options{Published: []string{"mceniery2005"}}
	p := LoadAnalysis([]byte("compare_with: [mceniery2005, here.csv, {name: pilot, file: sets/pilot.csv}]\n"), "plan.yaml", nil, shipped)
	if len(p.Issues) > 0 {
		t.Fatal(p.Issues)
	}
	got := OwnSets(p.Analysis)
	if want := []OwnSet{{1, "here.csv", "here.csv"}, {2, "pilot", "sets/pilot.csv"}}; len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("own sets %+v", got)
	}
	for _, c := range []struct{ text, name, code string }{
		{"[{name: pilot}]", "compare_with[0].file", "missing_setting"},
		{"[{file: a.csv}]", "compare_with[0].name", "missing_setting"},
		{"[{}]", "compare_with[0].name", "missing_setting"},
		{"[{name: pilot, fil: a.csv}]", "compare_with[0].fil", "unknown_setting"},
		{"[{name: mceniery2005, file: a.csv}]", "compare_with[0].name", "name_taken"},
		{"[{name: '=x', file: a.csv}]", "compare_with[0].name", "bad_name"},
		{"[{name: pilot, file: /etc/a.csv}]", "compare_with[0].file", "file_outside_study"},
		{"[../a.csv]", "compare_with[0]", "file_outside_study"},
		{"[{name: pilot, file: a.csv}, a.csv]", "compare_with[1]", "duplicate_item"},
		{"[{name: pilot, file: a.csv}, {name: pilot, file: b.csv}]", "compare_with[1]", "duplicate_item"},
		{"[{name: [pilot], file: a.csv}]", "compare_with[0].name", "wrong_type"},
		{"{name: pilot, file: a.csv}", "compare_with", "wrong_type"},
		{"[mceniery2006]", "compare_with[0]", "unknown_value"},
	} {
		issues := LoadAnalysis([]byte("compare_with: "+c.text+"\n"), "plan.yaml", nil, shipped).Issues
		found := false
		for _, i := range issues {
			found = found || i.Name == c.name && i.Code == c.code && i.Row == 1
		}
		if !found {
			t.Errorf("%s: %v, expected %s at %s", c.text, issues, c.code, c.name)
		}
		for _, i := range issues {
			if strings.Contains(i.Code, "unknown_value") && c.code != "unknown_value" {
				t.Errorf("%s: one fault told twice: %v", c.text, issues)
			}
		}
	}
}
