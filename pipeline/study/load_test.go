package study

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
)

func TestLoadSmallStudy(t *testing.T) {
	s := Load(smallStudy(), Options{})
	if schema.AnyStructural(s.Issues) || len(s.Exclusions) > 0 {
		t.Fatalf("unexpected:\n%s\n%v", allIssues(s.Issues), s.Exclusions)
	}
	if len(s.Subjects) != 2 || s.Withdrawn != 1 {
		t.Fatalf("%d persons, %d withdrawn", len(s.Subjects), s.Withdrawn)
	}
	s1 := s.Subjects[0]
	if s1.ID != "S1" || s1.Sex != "female" || len(s1.Visits) != 2 {
		t.Fatalf("first person: %+v", s1)
	}
	v := s1.Visits[0]
	if v.ID != "V1" || v.AgeYears != 60 { // a birthday
		t.Errorf("first visit %s at age %v", v.ID, v.AgeYears)
	}
	if len(v.Cuff) != 2 || !math.IsNaN(v.Cuff[0].MAP) || v.Cuff[1].MAP != 100 || v.Cuff[1].RecordingID != "R1" || v.Cuff[1].Line != 3 {
		t.Errorf("readings: %+v", v.Cuff)
	}
	if got := v.ReadingsFor("R9"); len(got) != 1 || got[0].Number != 1 {
		t.Errorf("a reading of R1 serves R9: %+v", got)
	}
	r := v.Recordings[0]
	if r.Artery != "radial" || r.Review != "reject" || len(r.Reviews) != 2 || r.Line != 2 || r.Fault != "" {
		t.Errorf("recording: %+v", r)
	}
	find(t, s.Issues, "readers_disagree")
	if got := s1.Visits[1].Departures; !slices.Equal(got, []string{"rest_min", "caffeine_h"}) {
		t.Errorf("departures of V2: %v", got)
	}
	if got := s.Subjects[1].Visits[0].Departures; !slices.Equal(got, []string{"legs_crossed"}) {
		t.Errorf("departures of S2: %v", got)
	}
	for i, c := range s.Carried {
		// V2: 5 min of rest, caffeine an hour ago, no word on the legs. S2: 10 min, no
		// word on caffeine, legs crossed.
		want, judged := map[string][2]float64{"departed_rest_min": {1, 0}, "departed_caffeine_h": {1, math.NaN()}, "departed_legs_crossed": {math.NaN(), 1}}[c.Name]
		got := [2]float64{s1.Visits[1].Cells[i].Number, s.Subjects[1].Visits[0].Cells[i].Number}
		if judged && (c.Kind != schema.Boolean || fmt.Sprint(got) != fmt.Sprint(want)) {
			t.Errorf("%s: %v, expected %v", c.Name, got, want)
		}
	}
	var names []string
	for _, c := range s.Carried {
		names = append(names, c.Name)
	}
	if got := strings.Join(names, " "); got != "sex age_years visit_date height_cm weight_kg treated rest_min caffeine_h legs_crossed departed_rest_min departed_caffeine_h departed_legs_crossed" {
		t.Errorf("carried: %s", got)
	}
	if v.Cells[0].Text != "female" || v.Cells[1].Number != 60 || v.Cells[2].Text != "2020-03-01" || v.Cells[3].Number != 165 {
		t.Errorf("cells: %+v", v.Cells)
	}
	for _, c := range s.Counts {
		if c.Rows != c.Kept+c.LeftOut+c.Withdrawn+c.Blank {
			t.Errorf("%+v does not add up", c)
		}
	}
	if got := s.Files(); !slices.Equal(got, []string{"waves/a.csv", "waves/b.csv", "waves/c.csv"}) {
		t.Errorf("files: %v", got)
	}
	if len(s.Inputs) != 7 || s.Inputs[0].Path != "study.yaml" || len(s.Inputs[0].SHA256) != 64 {
		t.Errorf("inputs: %+v", s.Inputs)
	}
}
