package tabulate

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"tonocohort/schema"
)

// A variable of levels has counts and shares; those of six of eight by Wilson
// are 0.4093 to 0.9285 (the score formula by hand).
func TestLevelsAreDescribed(t *testing.T) {
	f := newTable(schema.Column{Name: "smoker", Kind: schema.Category, Levels: []string{"never", "former", "current"}}, schema.Column{Name: "shift_work", Kind: schema.Boolean})
	for i, level := range []string{"never", "never", "never", "never", "never", "never", "current", "current", ""} {
		f.add(fmt.Sprint("s", i), "v1", "sex", "female", "age_years", 50, "smoker", level, "shift_work", i%2)
	}
	r := run(t, f, plan(func(a *schema.Analysis) {
		a.Variables, a.Strata, a.Models, a.Threshold = []string{"smoker", "shift_work"}, []string{"sex"}, nil, nil
	}))
	at := func(variable, statistic string) int {
		return find(t, r.Summary, "variable", variable, "statistic", statistic, "sex", "female")
	}
	for statistic, want := range map[string]float64{"n": 8, "n_missing": 1, "count_never": 6, "count_former": 0, "count_current": 2, "proportion_never": 0.75, "proportion_former": 0} {
		if got := r.Summary.Number(at("smoker", statistic), "estimate"); got != want {
			t.Errorf("%s: %g, want %g", statistic, got, want)
		}
	}
	row := at("smoker", "proportion_never")
	if low, high := r.Summary.Number(row, "low"), r.Summary.Number(row, "high"); math.Abs(low-0.4093) > 5e-5 || math.Abs(high-0.9285) > 5e-5 {
		t.Errorf("Wilson %g to %g", low, high)
	}
	if got := r.Summary.Number(at("shift_work", "proportion_yes"), "estimate"); math.Abs(got-4.0/9) > 1e-15 {
		t.Errorf("share of a yes: %g", got)
	}
}

// Reference limits are those of type 6 with ranks 2 and 10 of 200 (EP28), and
// below 120 people they say so; a mean of logarithms needs values above zero.
func TestReferenceLimitsAndGeometricMean(t *testing.T) {
	for _, n := range []int{119, 200} {
		f := newTable()
		for i := range n {
			f.add(fmt.Sprintf("s%03d", i), "v1", "central_pp_mmhg", i+1, "augmentation_index_pct", i-5)
		}
		r := run(t, f, plan(func(a *schema.Analysis) {
			a.Variables, a.Strata, a.Models = []string{"central_pp_mmhg", "augmentation_index_pct"}, nil, nil
			a.Sets["healthy"] = []schema.Rule{}
		}))
		at := func(set, variable, statistic string) int {
			return find(t, r.Summary, "set", set, "variable", variable, "statistic", statistic)
		}
		row := at("healthy", "central_pp_mmhg", "reference_limit_2.5")
		agree(t, "limit", r.Summary.Number(row, "estimate"), 0.025*float64(n+1))
		flagged := strings.Contains(r.Summary.TextAt(row, "note"), "fewer than 120")
		if flagged != (n < 120) || r.Summary.Number(row, "level") != 0.90 {
			t.Errorf("n %d: note %q, level %g", n, r.Summary.TextAt(row, "note"), r.Summary.Number(row, "level"))
		}
		if low, high := r.Summary.Number(row, "low"), r.Summary.Number(row, "high"); n == 200 && (low != 2 || high != 10) {
			t.Errorf("interval %g to %g", low, high)
		}
		if note := r.Summary.TextAt(at("all", "central_pp_mmhg", "reference_limit_2.5"), "note"); !strings.Contains(note, "not selected for health") {
			t.Errorf("note %q", note)
		}
		if row := at("all", "augmentation_index_pct", "geometric_mean"); !math.IsNaN(r.Summary.Number(row, "estimate")) || r.Summary.TextAt(row, "note") == "" {
			t.Errorf("geometric mean of values below zero: %g", r.Summary.Number(row, "estimate"))
		}
	}
}
