package tabulate

import (
	"fmt"
	"math"
	"testing"

	"tonocohort/schema"
)

// The interval is Wilson's: 1 of 29 has 0.0061 to 0.1718 (Newcombe 1998, Stat Med
// 17:857-72, table I, method 3; from memory).
func TestDepartures(t *testing.T) {
	extra := []schema.Column{{Name: "departed_rest_min", Kind: schema.Boolean}, {Name: "departed_posture", Kind: schema.Boolean}}
	v := newTable(extra...)
	for i := range 31 {
		centre, rest, posture := "north", 0.0, math.NaN()
		switch {
		case i == 0:
			rest = 1
		case i > 28:
			centre, rest, posture = "south", math.NaN(), float64(i-29) // nobody answered; one stood
		}
		v.add(fmt.Sprint("S", i), "v1", "centre", centre, "departed_rest_min", rest, "departed_posture", posture)
	}
	f := Departures(v.Frame)
	at := func(name, centre string) int { return find(t, f, "variable", name, "centre", centre) }
	row := at("rest_min", "north")
	if n, departed := f.Number(row, "n"), f.Number(row, "departed"); n != 29 || departed != 1 {
		t.Errorf("%v of %v departed", departed, n)
	}
	if low, high := f.Number(row, "low"), f.Number(row, "high"); math.Abs(low-0.0061) > 5e-5 || math.Abs(high-0.1718) > 5e-5 {
		t.Errorf("interval %.4f to %.4f", low, high)
	}
	if row := at("rest_min", "south"); f.Number(row, "n") != 0 || f.Number(row, "n_missing") != 2 || !f.Missing(row, "estimate") {
		t.Errorf("a centre without an answer has a share of %v", f.Number(row, "estimate"))
	}
	if row := at("any", "all"); f.Number(row, "n") != 31 || f.Number(row, "departed") != 2 {
		t.Errorf("any: %v of %v", f.Number(row, "departed"), f.Number(row, "n"))
	}
	// A departure is a column like any other: a rule of a set names its answers.
	plan := schema.DefaultAnalysis()
	plan.Sets = map[string][]schema.Rule{"all": {}, "rested": {{Column: "departed_rest_min", Levels: []string{"no"}}}}
	plan.Models = nil
	for _, i := range Check(plan, v.Table.Columns, "plan", "") {
		if i.Size == schema.SizeStructural {
			t.Error(i)
		}
	}
	plan.Sets["rested"][0].Levels = []string{"maybe"}
	if issues := Check(plan, v.Table.Columns, "plan", ""); !schema.AnyStructural(issues) {
		t.Error("a level that is neither yes nor no passes")
	}
	plan.Sets["rested"][0].Levels = []string{"no"}
	s := schema.DefaultSettings()
	s.Analysis = plan
	flow := Tables(v.Frame, s, "plan", "").Flow
	if row := find(t, flow, "stage", "set:rested", "reason", "departed_rest_min missing"); flow.Number(row, "n") != 2 || flow.Number(row, "out") != 28 {
		t.Errorf("%v left, %v stay", flow.Number(row, "n"), flow.Number(row, "out"))
	}
}
