package tabulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
)

// Every margin counts each row of its set once.
func TestMarginsAddUp(t *testing.T) {
	f := invented(400)
	f.SetText(7, "sex", "")
	f.SetNumber(9, "age_years", math.NaN())
	f.SetNumber(11, "age_years", 12)
	f.SetText(13, "sex", "other")
	r := run(t, f, plan(nil))
	total := map[string]float64{}
	for i := range r.Summary.N {
		if r.Summary.TextAt(i, "variable") != "central_pp_mmhg" || r.Summary.TextAt(i, "statistic") != "mean" {
			continue
		}
		margin := fmt.Sprint(r.Summary.TextAt(i, "sex") == "all", r.Summary.TextAt(i, "age_band") == "all")
		total[margin] += r.Summary.Number(i, "n") + r.Summary.Number(i, "n_missing")
	}
	for margin, n := range total {
		if n != 400 || len(total) != 4 {
			t.Errorf("margin %s: %g rows", margin, n)
		}
	}
	for _, cells := range [][2]string{{"(missing)", "all"}, {"all", "(missing)"}, {"all", "<18"}, {"other", "all"}} {
		row := find(t, r.Summary, "variable", "central_pp_mmhg", "statistic", "mean", "sex", cells[0], "age_band", cells[1])
		if n := r.Summary.Number(row, "n"); n != 1 {
			t.Errorf("%v: n %g, want 1", cells, n)
		}
	}
}

// Rows follow the declared order of levels, "all" first, missing last.
func TestOrderOfStrata(t *testing.T) {
	f := invented(300)
	f.SetText(0, "sex", "")
	r := run(t, f, plan(func(a *schema.Analysis) { a.Variables = a.Variables[:1] }))
	var sexes, bands []string
	for i := range r.Summary.N {
		if r.Summary.TextAt(i, "statistic") == "mean" && r.Summary.TextAt(i, "variable") == "central_sbp_mmhg" {
			sexes = append(sexes, r.Summary.TextAt(i, "sex"))
			bands = append(bands, r.Summary.TextAt(i, "age_band"))
		}
	}
	if got := slices.Compact(slices.Clone(sexes)); !slices.Equal(got, []string{"all", "female", "male", "(missing)"}) {
		t.Errorf("sexes in order %v", got)
	}
	if want := []string{"all", "18-29", "30-39", "40-49", "50-59", "60-69", "70-79", "80+"}; !slices.Equal(bands[:8], want) {
		t.Errorf("bands in order %v", bands[:8])
	}
}

// The order in which people stand in the table changes no digit of a summary.
func TestSummaryDoesNotDependOnOrder(t *testing.T) {
	f := invented(250)
	shuffled := newTable(f.Table.Columns[f.Table.Index("lead_ug_l")])
	for _, row := range rand.New(rand.NewPCG(9, 9)).Perm(f.N) {
		shuffled.CopyRow(shuffled.AddRow(), f.Frame, row)
	}
	s := plan(func(a *schema.Analysis) {
		a.Variables = []string{"central_pp_mmhg", "lead_ug_l"}
		a.Strata = []string{"sex", "centre"}
	})
	a, b := run(t, f, s).Summary, run(t, shuffled, s).Summary
	if a.N != b.N || !sameFrame(a, b) {
		t.Error("another order of rows gives other numbers")
	}
}

func sameFrame(a, b *schema.Frame) bool {
	for i, c := range a.Table.Columns {
		if c.Textual() {
			if !slices.Equal(a.Cols[i].Text, b.Cols[i].Text) {
				return false
			}
			continue
		}
		for row, v := range a.Cols[i].Num {
			if math.Float64bits(v) != math.Float64bits(b.Cols[i].Num[row]) {
				return false
			}
		}
	}
	return true
}

func TestSameInputsSameTables(t *testing.T) {
	s := plan(func(a *schema.Analysis) {
		a.Sets["healthy"] = []schema.Rule{{Column: "treated", Levels: []string{"no"}}}
		a.Sets["north"] = []schema.Rule{{Column: "centre", Levels: []string{"north"}}}
	})
	a, b := run(t, invented(200), s), run(t, invented(200), s)
	for _, pair := range [][2]*schema.Frame{{a.Summary, b.Summary}, {a.Regression, b.Regression}, {a.Comparison, b.Comparison}, {a.Flow, b.Flow}} {
		if pair[0].N == 0 || !sameFrame(pair[0], pair[1]) {
			t.Errorf("%s differs between two runs, or is empty", pair[0].Table.Name)
		}
	}
	if !reflect.DeepEqual(a.Issues, b.Issues) {
		t.Error("issues differ between two runs")
	}
}

// Beside each central variable stands its brachial twin, once.
func TestBrachialTwins(t *testing.T) {
	r := run(t, invented(120), plan(func(a *schema.Analysis) {
		a.Variables = []string{"central_sbp_mmhg", "brachial_pp_mmhg", "central_pp_mmhg"}
		a.Strata = nil
	}))
	var order []string
	for i := range r.Summary.N {
		order = append(order, r.Summary.TextAt(i, "variable"))
	}
	want := []string{"central_sbp_mmhg", "brachial_sbp_mmhg", "brachial_pp_mmhg", "central_pp_mmhg"}
	if got := slices.Compact(order); !slices.Equal(got, want) {
		t.Errorf("variables in order %v, want %v", got, want)
	}
	for name, twin := range map[string]string{
		"central_sbp_mmhg": "brachial_sbp_mmhg", "central_dbp_mmhg": "brachial_dbp_mmhg", "central_map_mmhg": "brachial_map_mmhg",
		"central_pp_mmhg": "brachial_pp_mmhg", "central_pp_map_dbp_mmhg": "brachial_pp_mmhg", "central_sbp_moving_average_mmhg": "brachial_sbp_mmhg",
		"augmentation_index_pct": "", "brachial_pp_mmhg": "", "central_method": "",
	} {
		if got, _ := brachialTwin(name); got != twin {
			t.Errorf("twin of %s: %q", name, got)
		}
	}
}

// The bound counts values as they are: 49.9999 is below 50, 50 is not. Six of
// eight by Wilson is 0.4093 to 0.9285 (the score formula by hand).
func TestThreshold(t *testing.T) {
	f := newTable()
	for i, pp := range []float64{49.9999, 40, 50, 51, 52, 53, 54, 55, math.NaN()} {
		f.add(fmt.Sprint("s", i), "v1", "sex", "female", "age_years", 50, "central_pp_mmhg", pp, "brachial_pp_mmhg", pp+10)
	}
	r := run(t, f, plan(func(a *schema.Analysis) { a.Strata = nil; a.Models = nil }))
	row := find(t, r.Summary, "variable", "central_pp_mmhg", "statistic", "prevalence_at_least_50")
	if e, n, missing := r.Summary.Number(row, "estimate"), r.Summary.Number(row, "n"), r.Summary.Number(row, "n_missing"); e != 0.75 || n != 8 || missing != 1 {
		t.Errorf("prevalence %g of %g, %g missing", e, n, missing)
	}
	if low, high := r.Summary.Number(row, "low"), r.Summary.Number(row, "high"); math.Abs(low-0.4093) > 5e-5 || math.Abs(high-0.9285) > 5e-5 {
		t.Errorf("Wilson %g to %g", low, high)
	}
	if note := r.Summary.TextAt(row, "note"); !strings.Contains(note, "Roman 2009") || !strings.Contains(note, "not a reference limit") {
		t.Errorf("note %q", note)
	}
	twin := find(t, r.Summary, "variable", "brachial_pp_mmhg", "statistic", "prevalence_at_least_50")
	if e := r.Summary.Number(twin, "estimate"); e != 1 {
		t.Errorf("brachial prevalence at the same bound %g", e)
	}
}

// Of two persons with brachial 60 and 40 over central 30 and 40, the mean of
// ratios is 1.5 and the ratio of means 100/70.
func TestRatioOfMeansIsItsOwnRow(t *testing.T) {
	f := newTable()
	for i, pair := range [][2]float64{{60, 30}, {40, 40}} {
		f.add(fmt.Sprint("s", i), "v1", "sex", "male", "age_years", 30, "brachial_pp_mmhg", pair[0], "central_pp_mmhg", pair[1], "pp_amplification_ratio", pair[0]/pair[1])
	}
	r := run(t, f, plan(func(a *schema.Analysis) { a.Strata = nil; a.Models = nil }))
	for statistic, want := range map[string]float64{"mean": 1.5, "ratio_of_means": 100.0 / 70} {
		row := find(t, r.Summary, "variable", "pp_amplification_ratio", "statistic", statistic)
		agree(t, statistic, r.Summary.Number(row, "estimate"), want)
	}
}

// An interval that does not exist is missing with a note, and the level with it.
func TestPercentileWithoutInterval(t *testing.T) {
	f := newTable()
	for i := range 35 {
		f.add(fmt.Sprintf("s%02d", i), "v1", "sex", "male", "age_years", 30, "central_pp_mmhg", 30+i)
	}
	r := run(t, f, plan(func(a *schema.Analysis) {
		a.Variables, a.Strata, a.Models = []string{"central_pp_mmhg"}, nil, nil
	}))
	for statistic, exists := range map[string]bool{"p5": false, "p10": false, "p25": true, "median": true, "p90": false} {
		row := find(t, r.Summary, "variable", "central_pp_mmhg", "statistic", statistic)
		if got := !math.IsNaN(r.Summary.Number(row, "low")); got != exists {
			t.Errorf("%s of 35 has an interval: %v", statistic, got)
		}
		if noted := strings.Contains(r.Summary.TextAt(row, "note"), "no interval"); noted == exists {
			t.Errorf("%s: note %q", statistic, r.Summary.TextAt(row, "note"))
		}
		if method := r.Summary.TextAt(row, "method"); method != "quantile_type_8; interval order_statistic" {
			t.Errorf("method %q", method)
		}
	}
}

// aged is a frame of one person.
func aged(age float64) *schema.Frame {
	f := schema.NewFrame(schema.Table{Columns: []schema.Column{{Name: "age_years", Kind: schema.Number}}}, 1)
	f.SetNumber(f.AddRow(), "age_years", age)
	return f
}

func TestAgeBands(t *testing.T) {
	completed := schema.AgeSettings{CompletedYears: true, Bands: []float64{18, 30, 31, 40}}
	exact := schema.AgeSettings{Bands: []float64{17.5, 30}}
	for _, c := range []struct {
		settings schema.AgeSettings
		age      float64
		want     string
	}{
		{completed, 17.99, "<18"}, {completed, 18, "18-29"}, {completed, 29.999, "18-29"}, {completed, 30.4, "30"},
		{completed, 31, "31-39"}, {completed, 97, "40+"}, {completed, math.NaN(), ""},
		{exact, 17.4, "<17.5"}, {exact, 17.5, "17.5-<30"}, {exact, 29.99, "17.5-<30"}, {exact, 30, "30+"},
	} {
		if got := bandsOf(aged(c.age), c.settings).label(0); got != c.want {
			t.Errorf("age %g: band %q, want %q", c.age, got, c.want)
		}
	}
}

// Columns of every kind serve as strata.
func TestStrataOfEveryKind(t *testing.T) {
	f := newTable(
		schema.Column{Name: "smoker", Kind: schema.Category, Levels: []string{"never", "former", "current"}},
		schema.Column{Name: "parity", Kind: schema.Integer}, schema.Column{Name: "shift_work", Kind: schema.Boolean})
	for i := range 12 {
		f.add(fmt.Sprintf("s%02d", i), "v1", "sex", "female", "age_years", 40, "central_pp_mmhg", 30+i,
			"smoker", []string{"current", "never"}[i%2], "parity", []int{10, 2, 0}[i%3], "shift_work", i%2, "centre", []string{"b", "a"}[i/6])
	}
	for column, want := range map[string][]string{
		"smoker": {"all", "never", "current"}, "parity": {"all", "0", "2", "10"}, "shift_work": {"all", "no", "yes"}, "centre": {"all", "a", "b"},
	} {
		r := run(t, f, plan(func(a *schema.Analysis) {
			a.Variables, a.Strata, a.Models = []string{"central_pp_mmhg"}, []string{column}, nil
		}))
		var got []string
		for i := range r.Summary.N {
			if r.Summary.TextAt(i, "statistic") == "mean" && r.Summary.TextAt(i, "variable") == "central_pp_mmhg" {
				got = append(got, r.Summary.TextAt(i, column))
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", column, got, want)
		}
	}
}

// Tables of nobody, of one person and without a value are tables, not crashes.
func TestTinyTables(t *testing.T) {
	none := newTable()
	one := newTable()
	one.add("s1", "v1", "sex", "male", "age_years", 44, "central_pp_mmhg", 33, "brachial_pp_mmhg", 44)
	blank := newTable()
	for i := range 60 {
		blank.add(fmt.Sprint("s", i), "v1")
	}
	same := newTable()
	for i := range 60 {
		same.add(fmt.Sprint("s", i), "v1", "sex", "male", "age_years", 44, "height_cm", 170, "heart_rate_bpm", 60,
			"central_pp_mmhg", 33, "brachial_pp_mmhg", 44, "brachial_map_mmhg", 90, "pp_amplification_ratio", 44.0/33)
	}
	for name, f := range map[string]table{"none": none, "one": one, "blank": blank, "same": same} {
		t.Run(name, func(t *testing.T) {
			for _, visit := range []string{"first", "last", "all", "v1", "v9"} {
				r := run(t, f, plan(func(a *schema.Analysis) {
					a.Visit = visit
					a.Sets["healthy"] = []schema.Rule{{Column: "treated", Levels: []string{"no"}}}
				}))
				find(t, r.Summary, "set", "healthy", "variable", "central_pp_mmhg", "statistic", "mean", "sex", "all", "age_band", "all")
				find(t, r.Regression, "model", "adjusted", "variable", "central_pp_mmhg", "term", "", "statistic", map[bool]string{true: "r_squared", false: "estimate"}[name == "same" && visit != "v9"])
			}
		})
	}
}

func BenchmarkTables(b *testing.B) {
	f := invented(20_000)
	s := plan(func(a *schema.Analysis) {
		a.Sets["healthy"] = []schema.Rule{{Column: "treated", Levels: []string{"no"}}}
	})
	for b.Loop() {
		Tables(f.Frame, s, "study.yaml", "analysis")
	}
}
