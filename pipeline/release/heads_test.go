package release_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"tonocohort/pipeline/release"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

// leftRecordings are recordings of 200 people: one used of each, and some left out,
// of as many people as it says.
func leftRecordings(reasons map[string][2]int) (recordings, flow *schema.Frame) {
	recordings, flow = schema.NewFrame(schema.RecordingsTable(), 0), schema.NewFrame(schema.FlowTable(), 0)
	add := func(person int, status, reason string) {
		row := recordings.AddRow()
		recordings.SetText(row, "subject_id", fmt.Sprintf("s%05d", person))
		recordings.SetText(row, "recording_id", fmt.Sprint("r", row))
		recordings.SetText(row, "status", status)
		recordings.SetText(row, "reason", reason)
	}
	for i := range 200 {
		add(i, "used", "")
	}
	lost := 0
	for reason, n := range reasons {
		lost += n[0]
		for i := range n[0] {
			add(i%n[1], "failed", reason)
		}
	}
	for reason, n := range reasons {
		row := flow.AddRow()
		flow.SetText(row, "unit", "recordings")
		flow.SetText(row, "stage", "read and computed")
		flow.SetText(row, "reason", reason)
		flow.SetNumber(row, "order", 1)
		flow.SetNumber(row, "in", float64(200+lost))
		flow.SetNumber(row, "out", 200)
		flow.SetNumber(row, "n", float64(n[0]))
	}
	return recordings, flow
}

// A count of the flow is of people: twelve recordings of three people are no
// reason to be shown, and are put together with others.
func TestFlowCountsPeople(t *testing.T) {
	f := invented(rand.New(rand.NewPCG(3, 4)), 200)
	s := settings(func(s *schema.Settings) { s.Analysis.CompareWith = nil })
	results := tabulate.Tables(f, s, "study.yaml", "analysis")
	check := func(reasons map[string][2]int) map[string]float64 {
		recordings, flow := leftRecordings(reasons)
		in := release.Input{Tables: results.Frames(), Visits: f, Recordings: recordings, People: release.People(results.People), Settings: s}
		in.Tables[0] = flow
		out, err := release.Check(in)
		if err != nil {
			t.Fatal(err)
		}
		released := frame(t, out.Tables, "flow")
		shown := map[string]float64{}
		for row := range released.N {
			if !released.Missing(row, "n") {
				shown[released.TextAt(row, "reason")] = released.Number(row, "n")
			}
		}
		return shown
	}
	for _, c := range []struct {
		reasons map[string][2]int // recordings and people
		want    map[string]float64
	}{
		{map[string][2]int{"flat": {12, 3}, "too_few_beats": {40, 40}, "file_missing": {30, 15}}, map[string]float64{"other reasons": 42, "too_few_beats": 40}},
		{map[string][2]int{"flat": {12, 12}, "too_few_beats": {40, 40}}, map[string]float64{"flat": 12, "too_few_beats": 40}},
		{map[string][2]int{"flat": {30, 9}}, map[string]float64{}},
	} {
		if got := check(c.reasons); fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%v: %v is shown, want %v", c.reasons, got, c.want)
		}
	}
}

// Of the used visits shares and missing answers are judged by the persons behind
// them.
func TestVisitsCountPeople(t *testing.T) {
	columns := []schema.Column{{Name: "centre", Kind: schema.Text}}
	for _, name := range []string{"rest_min", "meal_h"} {
		columns = append(columns, schema.Column{Name: schema.DepartedPrefix + name, Kind: schema.Boolean})
	}
	f := schema.NewFrame(schema.SubjectVisitsTable(columns), 0)
	for person := range 60 {
		for visit := range 4 {
			row := f.AddRow()
			f.SetText(row, "subject_id", fmt.Sprintf("s%02d", person))
			f.SetText(row, "visit_id", fmt.Sprint(visit))
			f.SetText(row, "status", "used")
			f.SetText(row, "quality", map[bool]string{true: "doubtful", false: "usable"}[person < 4 && visit < 3]) // 12 of 4 people
			f.SetNumber(row, schema.DepartedPrefix+"rest_min", map[bool]float64{true: 1}[person < 20])
			if person >= 3 { // 12 visits of 3 people without an answer
				f.SetNumber(row, schema.DepartedPrefix+"meal_h", map[bool]float64{true: 1}[person < 30])
			}
		}
	}
	departed, quality := tabulate.UsedVisits(f)
	s := settings(func(s *schema.Settings) { s.Analysis.Sets = map[string][]schema.Rule{"all": {}} })
	out, err := release.Check(release.Input{Apart: []*schema.Frame{departed, quality}, Visits: f,
		People: release.People{Sets: []string{"all"}, In: [][]bool{{}}}, Settings: s})
	if err != nil {
		t.Fatal(err)
	}
	grades, answers := frame(t, out.Tables, quality.Table.Name), frame(t, out.Tables, departed.Table.Name)
	for row := range grades.N {
		if !grades.Missing(row, "observations") {
			t.Errorf("%s: %g visits are shown, twelve of them of four people", grades.TextAt(row, "variable"), grades.Number(row, "observations"))
		}
	}
	for row := range answers.N {
		switch variable := answers.TextAt(row, "variable"); variable {
		case "rest_min":
			if answers.Number(row, "observations") != 80 || answers.Number(row, "n_missing") != 0 {
				t.Errorf("%s: %v of %v", variable, answers.Number(row, "observations"), answers.Number(row, "n"))
			}
		case "meal_h":
			if !answers.Missing(row, "n_missing") || !answers.Missing(row, "n") || answers.Missing(row, "estimate") {
				t.Errorf("%s: %v without an answer, share %v", variable, answers.Number(row, "n_missing"), answers.Number(row, "estimate"))
			}
		}
	}
}
