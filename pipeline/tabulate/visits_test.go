package tabulate

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
)

// At every stage in = out + the sum of n, each stage starts with what the one
// before let through, and each set starts from the same rows.
func checkFlow(t *testing.T, r Results, rows int) {
	t.Helper()
	lost := map[float64]float64{}
	in, out := map[float64]float64{}, map[float64]float64{}
	stage := map[float64]string{}
	for i := range r.Flow.N {
		order := r.Flow.Number(i, "order")
		lost[order] += r.Flow.Number(i, "n")
		in[order], out[order], stage[order] = r.Flow.Number(i, "in"), r.Flow.Number(i, "out"), r.Flow.TextAt(i, "stage")
		if n := r.Flow.Number(i, "n"); (n == 0) != (r.Flow.TextAt(i, "reason") == "") {
			t.Errorf("%s: reason %q for %g", stage[order], r.Flow.TextAt(i, "reason"), n)
		}
	}
	for order := range lost {
		if in[order] != out[order]+lost[order] {
			t.Errorf("%s: %g in, %g out, %g lost", stage[order], in[order], out[order], lost[order])
		}
		before := float64(rows)
		if order > 1 {
			before = out[min(order-1, 2)]
		}
		if in[order] != before {
			t.Errorf("%s: %g came in, %g were there", stage[order], in[order], before)
		}
	}
	if stage[1] != "used" || stage[2] != "visit_rule" || stage[3] != "set:all" {
		t.Errorf("stages %v", stage)
	}
}

func TestFlowAddsUp(t *testing.T) {
	f := invented(100)
	for i := range 100 {
		switch {
		case i%10 == 0:
			f.SetText(i, "status", "failed")
			f.SetText(i, "reason", "too_short")
		case i%11 == 0:
			f.SetText(i, "status", "excluded")
		}
	}
	f.add("s00001", "v2", "sex", "male", "age_years", 90)
	r := run(t, f, plan(func(a *schema.Analysis) {
		limit := 140.0
		a.Sets["healthy"] = []schema.Rule{{Column: "treated", Levels: []string{"no"}}, {Column: "brachial_sbp_mmhg", Below: &limit}}
	}))
	checkFlow(t, r, 101)
	row := find(t, r.Flow, "stage", "used", "reason", "too_short")
	if n := r.Flow.Number(row, "n"); n != 10 {
		t.Errorf("%g too short", n)
	}
	find(t, r.Flow, "stage", "used", "reason", "excluded")
	find(t, r.Flow, "stage", "visit_rule", "reason", "not_first_visit")
	find(t, r.Flow, "stage", "set:healthy", "reason", "treated not no")
	find(t, r.Flow, "stage", "set:healthy", "reason", "brachial_sbp_mmhg not below 140")
}

// A missing value fulfils no rule, not even one that excludes little.
func TestRulesAndMissingValues(t *testing.T) {
	number := func(v float64) *float64 { return &v }
	f := newTable(schema.Column{Name: "ward", Kind: schema.Text})
	for i, height := range []float64{150, 160, 170, math.NaN()} {
		f.add(fmt.Sprint("s", i), "v1", "height_cm", height, "treated", []string{"yes", "no", "unknown", ""}[i], "ward", []string{"A", "B", "", "A"}[i], "age_years", 35)
	}
	for name, c := range map[string]struct {
		rule schema.Rule
		want []int32
	}{
		"below":       {schema.Rule{Column: "height_cm", Below: number(170)}, []int32{0, 1}},
		"at most":     {schema.Rule{Column: "height_cm", AtMost: number(170)}, []int32{0, 1, 2}},
		"above":       {schema.Rule{Column: "height_cm", Above: number(150)}, []int32{1, 2}},
		"at least":    {schema.Rule{Column: "height_cm", AtLeast: number(150)}, []int32{0, 1, 2}},
		"both":        {schema.Rule{Column: "height_cm", Above: number(150), Below: number(170)}, []int32{1}},
		"levels":      {schema.Rule{Column: "treated", Levels: []string{"no", "unknown"}}, []int32{1, 2}},
		"text":        {schema.Rule{Column: "ward", Levels: []string{"A"}}, []int32{0, 3}},
		"derived":     {schema.Rule{Column: "age_band", Levels: []string{"30-39"}}, []int32{0, 1, 2, 3}},
		"nobody left": {schema.Rule{Column: "age_band", Levels: []string{"80+"}}, nil},
	} {
		s := plan(func(a *schema.Analysis) { a.Sets["chosen"] = []schema.Rule{c.rule} })
		var r reporter
		co := newCohort(f.Frame, s.Analysis, newFlow(), &r)
		sets := co.sets(s.Analysis, newFlow())
		if got := sets[1].rows; !slices.Equal(got, c.want) {
			t.Errorf("%s: rows %v, want %v", name, got, c.want)
		}
	}
}

func visitsTable(withDates bool) table {
	f := newTable()
	date := func(d string) string {
		if withDates {
			return d
		}
		return ""
	}
	// By date and age v2 came first; by name it comes second.
	f.add("a", "v1", "age_years", 52, "visit_date", date("2021-05-01"), "central_pp_mmhg", 1)
	f.add("a", "v2", "age_years", 50, "visit_date", date("2019-05-01"), "central_pp_mmhg", 2)
	// Of the same age, and one date missing: the name decides.
	f.add("b", "v1", "age_years", 40, "central_pp_mmhg", 3)
	f.add("b", "v2", "age_years", 40, "visit_date", date("2019-05-01"), "central_pp_mmhg", 4)
	// The first visit could not be used.
	f.add("c", "v1", "age_years", 30, "central_pp_mmhg", 5)
	f.SetText(4, "status", "failed")
	f.add("c", "v2", "age_years", 31, "central_pp_mmhg", 6)
	return f
}

func TestVisitRule(t *testing.T) {
	for rule, want := range map[string][]int32{"": {1, 2, 5}, "first": {1, 2, 5}, "last": {0, 3, 5}, "v2": {1, 3, 5}, "all": {0, 1, 2, 3, 5}, "v9": nil} {
		for _, dates := range []bool{true, false} {
			f := visitsTable(dates)
			var r reporter
			c := newCohort(f.Frame, plan(func(a *schema.Analysis) { a.Visit = rule }).Analysis, newFlow(), &r)
			if !slices.Equal(c.rows, want) {
				t.Errorf("visit %q, dates %v: rows %v, want %v", rule, dates, c.rows, want)
			}
			tied := slices.ContainsFunc(r.issues, func(i schema.Issue) bool { return i.Code == "visit_order_by_id" })
			if tied != (rule == "" || rule == "first" || rule == "last") {
				t.Errorf("visit %q: issues %v", rule, r.issues)
			}
		}
	}
}

// Everyone seen twice with the same values is no larger cohort: with visit: all
// the mean keeps its interval, and those of percentiles do not shrink as twice
// as many people would make them.
func TestSecondVisitIsNoSecondPerson(t *testing.T) {
	f := invented(150)
	twice := invented(150)
	for row := range f.N {
		to := twice.AddRow()
		twice.CopyRow(to, f.Frame, row)
		twice.SetText(to, "visit_id", "v2")
	}
	once := run(t, f, plan(nil))
	all := run(t, twice, plan(func(a *schema.Analysis) { a.Visit = "all" }))
	at := []string{"set", "all", "variable", "central_pp_mmhg", "sex", "female", "age_band", "all", "statistic"}
	a, b := find(t, once.Summary, append(at, "mean")...), find(t, all.Summary, append(at, "mean")...)
	agree(t, "low", all.Summary.Number(b, "low"), once.Summary.Number(a, "low"))
	agree(t, "high", all.Summary.Number(b, "high"), once.Summary.Number(a, "high"))
	if all.Summary.Number(b, "n") != 2*once.Summary.Number(a, "n") {
		t.Error("visits are not counted")
	}
	if method := all.Summary.TextAt(b, "method"); !strings.Contains(method, "cluster") {
		t.Errorf("method %q", method)
	}
	for _, statistic := range []string{"median", "sd", "p25"} {
		a, b := find(t, once.Summary, append(at, statistic)...), find(t, all.Summary, append(at, statistic)...)
		width := func(f *schema.Frame, row int) float64 { return f.Number(row, "high") - f.Number(row, "low") }
		if ratio := width(all.Summary, b) / width(once.Summary, a); !(ratio > 0.8 && ratio < 1.25) {
			t.Errorf("%s: the interval is %.2f times as wide", statistic, ratio)
		}
		if method := all.Summary.TextAt(b, "method"); !strings.Contains(method, "cluster") {
			t.Errorf("%s: method %q", statistic, method)
		}
	}
	slope := []string{"model", "adjusted", "variable", "central_pp_mmhg", "term", "age_years", "statistic"}
	clustered := find(t, all.Regression, append(slope, "se_cluster_cr2")...)
	robust := find(t, once.Regression, append(slope, "se_hc3")...)
	if ratio := all.Regression.Number(clustered, "estimate") / once.Regression.Number(robust, "estimate"); ratio < 0.9 || ratio > 1.05 {
		t.Errorf("clustered error is %.3f of the one of persons seen once", ratio)
	}
	estimate := find(t, all.Regression, append(slope, "estimate")...)
	if method := all.Regression.TextAt(estimate, "method"); method != "least_squares; errors cluster_cr2; interval t" {
		t.Errorf("method %q", method)
	}
	for i := range all.Comparison.N {
		if !math.IsNaN(all.Comparison.Number(i, "low")) {
			t.Fatal("a comparison takes visits for persons")
		}
	}
}
