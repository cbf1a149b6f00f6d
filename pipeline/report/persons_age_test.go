package report

import (
	"math"
	"strings"
	"testing"

	"tonocohort/pipeline/report/figure"
)

// Whoever has no sex has a sign of their own, whoever lacks age or value is counted,
// and of many there is a panel for each sex.
func TestByAgeLosesNobody(t *testing.T) {
	b := ByAge{Variable: "central_pp_mmhg", Unit: "mmHg", Sexes: []string{"female", "male"}}
	add := func(n int, sex int8, age, value float64) {
		for range n {
			b.Sex, b.Age, b.Value = append(b.Sex, sex), append(b.Age, age), append(b.Value, value)
		}
	}
	add(3, 0, 40, 35)
	add(2, -1, 50, 45)
	add(1, 1, 60, math.NaN())
	add(1, 0, math.NaN(), 40)
	text := func() string {
		list := Persons{ByAge: b}.byAge()
		if len(list) != 1 {
			t.Fatalf("%d figures", len(list))
		}
		return list[0].SVG("") + list[0].Caption
	}
	few := text()
	for _, want := range []string{"n = 5 persons", "Female, n = 3", "Sex not recorded, n = 2", "Not drawn, without age or value: 2.", "crosses: sex not recorded"} {
		if !strings.Contains(few, want) {
			t.Errorf("a figure of few does not say %q", want)
		}
	}
	if strings.Contains(few, "Male") || strings.Contains(few, "threshold") {
		t.Error("a figure of few names a sex that nobody has, or a threshold that the plan has not")
	}
	add(figure.MostPoints, 1, 55, 42)
	many := text()
	for _, want := range []string{"Female, n = 3 persons", "Male, n = 2000 persons", "Sex not recorded, n = 2 persons"} {
		if !strings.Contains(many, want) {
			t.Errorf("a figure of many does not say %q", want)
		}
	}
	if (Persons{ByAge: ByAge{Variable: "central_pp_mmhg"}}).byAge() != nil {
		t.Error("a figure of nobody")
	}
}
