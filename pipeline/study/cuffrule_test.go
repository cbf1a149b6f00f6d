package study

import (
	"math"
	"testing"

	"tonocohort/schema"
)

func reading(number int, sbp, dbp float64) Reading {
	return Reading{Number: number, SBP: sbp, DBP: dbp, MAP: math.NaN(), Pulse: math.NaN()}
}

// What each rule does is its published wording (see CombineCuff), the
// numbers are arithmetic.
func TestCombineCuffRules(t *testing.T) {
	three := []Reading{reading(1, 150, 90), reading(2, 140, 86), reading(3, 134, 88)}
	two := three[:2]
	one := three[:1]
	four := append(append([]Reading{}, three...), reading(4, 130, 80))
	for _, c := range []struct {
		rule     string
		readings []Reading
		sbp, dbp float64
		used     int
	}{
		{"drop_first_of_three", one, 150, 90, 1},
		{"drop_first_of_three", two, 145, 88, 2},
		{"drop_first_of_three", three, 137, 87, 2},
		{"drop_first_of_three", four, (140 + 134 + 130) / 3.0, (86 + 88 + 80) / 3.0, 3},
		{"all", three, (150 + 140 + 134) / 3.0, 88, 3},
		{"drop_first", two, 140, 86, 1},
		{"drop_first", three, 137, 87, 2},
		{"last_two", four, 132, 84, 2},
		{"first_two", four, 145, 88, 2},
		{"median", three, 140, 88, 3},
		{"median", four, 137, 87, 4},
	} {
		got, err := CombineCuff(c.readings, c.rule)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.rule+" systolic", got.SBP, c.sbp, 1e-12)
		near(t, c.rule+" diastolic", got.DBP, c.dbp, 1e-12)
		if got.Used != c.used {
			t.Errorf("%s of %d: %d used, want %d", c.rule, len(c.readings), got.Used, c.used)
		}
	}
}

func TestCombineCuffExtras(t *testing.T) {
	readings := []Reading{reading(3, 134, 88), reading(1, 150, 90), reading(2, 139, 86)} // any order
	readings[0].MAP, readings[2].MAP = 104, 106
	readings[2].Pulse = 70
	for _, rule := range schema.CuffRules {
		got, err := CombineCuff(readings, rule)
		if err != nil {
			t.Fatal(err)
		}
		if got.SpreadSBP != 16 || got.FirstTwoApart != 11 || !got.FirstTwoDiffer || got.Note != "" {
			t.Errorf("%s: %+v", rule, got)
		}
		// The mean pressure stands only where every reading used has one.
		if allHave := rule == "drop_first_of_three" || rule == "drop_first" || rule == "last_two"; allHave != (got.MAP == 105) || !allHave && !math.IsNaN(got.MAP) {
			t.Errorf("%s: mean pressure %v", rule, got.MAP)
		}
		if got.Pulse != 70 {
			t.Errorf("%s: pulse %v of the readings that have one", rule, got.Pulse)
		}
		single, _ := CombineCuff(readings[:1], rule)
		if single.SBP != 134 || single.Used != 1 || single.Note != "single_reading" || !math.IsNaN(single.SpreadSBP) || !math.IsNaN(single.FirstTwoApart) || single.FirstTwoDiffer {
			t.Errorf("%s of one: %+v", rule, single)
		}
		none, _ := CombineCuff(nil, rule)
		if !math.IsNaN(none.SBP) || none.Used != 0 || none.Note != "no_reading" {
			t.Errorf("%s of none: %+v", rule, none)
		}
	}
	if readings[0].Number != 3 {
		t.Error("the caller's readings were sorted")
	}
	// More than 10 mmHg, not 10 itself (ESC/ESH 2018, from memory).
	if got, _ := CombineCuff([]Reading{reading(1, 140, 80), reading(2, 130, 80)}, "all"); got.FirstTwoDiffer {
		t.Error("10 mmHg apart is not more than 10")
	}
	if _, err := CombineCuff(readings, "best_of_all"); err == nil {
		t.Error("an unknown rule is no error")
	}
}
