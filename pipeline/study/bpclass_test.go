package study

import (
	"math"
	"testing"

	"tonocohort/schema"
)

// Bounds as printed in the guidelines: JNC 7 and ACC/AHA 2017 by BMC
// Cardiovasc Disord 2019;19 (s12872-019-1259-0) Table 1, ESC/ESH 2018 by
// Hypertens Res hr201287 Table 1. Where the pressures disagree the higher
// category holds.
func TestClassify(t *testing.T) {
	for _, c := range []struct {
		scheme   string
		sbp, dbp float64
		want     string
	}{
		{"ESC_ESH_2018", 119, 79, "optimal"},
		{"ESC_ESH_2018", 119.6, 79, "optimal"}, // unrounded
		{"ESC_ESH_2018", 120, 79, "normal"},
		{"ESC_ESH_2018", 119, 80, "normal"},
		{"ESC_ESH_2018", 129, 84, "normal"},
		{"ESC_ESH_2018", 130, 84, "high_normal"},
		{"ESC_ESH_2018", 125, 89, "high_normal"},
		{"ESC_ESH_2018", 140, 70, "grade1"},
		{"ESC_ESH_2018", 110, 99, "grade1"},
		{"ESC_ESH_2018", 179, 100, "grade2"},
		{"ESC_ESH_2018", 180, 60, "grade3"},
		{"ESC_ESH_2018", 120, 110, "grade3"},
		{"ACC_AHA_2017", 119, 79, "normal"},
		{"ACC_AHA_2017", 125, 79, "elevated"},
		{"ACC_AHA_2017", 125, 80, "stage1"}, // elevated needs a diastolic below 80
		{"ACC_AHA_2017", 119, 85, "stage1"},
		{"ACC_AHA_2017", 139, 89, "stage1"},
		{"ACC_AHA_2017", 140, 70, "stage2"},
		{"ACC_AHA_2017", 110, 90, "stage2"},
		{"JNC7", 119, 79, "normal"},
		{"JNC7", 119, 80, "prehypertension"},
		{"JNC7", 159, 89, "stage1"},
		{"JNC7", 160, 60, "stage2"},
		{"JNC7", 110, 100, "stage2"},
		{"CENTRAL_CHENG_2013", 109, 79, "optimal"},
		{"CENTRAL_CHENG_2013", 130, 70, "hypertension"},
	} {
		scheme, err := SchemeByName(c.scheme)
		if err != nil {
			t.Fatal(err)
		}
		if got := Classify(c.sbp, c.dbp, scheme); got != c.want {
			t.Errorf("%s %v/%v: %s, want %s", c.scheme, c.sbp, c.dbp, got, c.want)
		}
	}
	scheme, err := SchemeByName(schema.DefaultBPScheme)
	if err != nil {
		t.Fatal(err)
	}
	if Classify(math.NaN(), 80, scheme) != "" || Classify(120, math.NaN(), scheme) != "" {
		t.Error("a class without a pressure")
	}
	if _, err := SchemeByName("none"); err == nil {
		t.Error("an unknown scheme is no error")
	}
}

// Every pressure has exactly one class, and a higher pressure never a lower one.
func TestClassifyIsMonotonous(t *testing.T) {
	schemes, err := Schemes()
	if err != nil || len(schemes) != 4 {
		t.Fatalf("%d schemes, %v", len(schemes), err)
	}
	for _, s := range schemes {
		rank := map[string]int{}
		for i, c := range s.Categories {
			rank[c.Name] = i
		}
		for sbp := 60.0; sbp < 280; sbp += 0.5 {
			for dbp := 30.0; dbp < 160; dbp += 0.5 {
				class, ok := rank[Classify(sbp, dbp, s)]
				if !ok {
					t.Fatalf("%s: no class for %v/%v", s.Name, sbp, dbp)
				}
				if rank[Classify(sbp+0.5, dbp, s)] < class || rank[Classify(sbp, dbp+0.5, s)] < class {
					t.Fatalf("%s: a lower class above %v/%v", s.Name, sbp, dbp)
				}
			}
		}
	}
}
