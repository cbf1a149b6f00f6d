package release_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tonocohort/pipeline/release"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
	"tonocohort/testdata"
)

// Whatever the cohort, no released table shows a count of one to nine, a share
// with so few on a side, a percentile with so few beyond it, or a minimum.
func TestNoSmallNumberIsShown(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	for _, n := range testdata.Few([]int{110, 30, 400, 5}) {
		f := invented(random, n)
		_, out := released(t, f, settings(func(s *schema.Settings) { s.Analysis.Models = schema.DefaultModels() }))
		for _, table := range out.Tables {
			for row := range table.N {
				noSmall(t, table, row)
			}
		}
	}
}

func noSmall(t *testing.T, f *schema.Frame, row int) {
	t.Helper()
	bad := func(what string, v float64) {
		t.Errorf("%s row %d: %s %g", f.Table.Name, row, what, v)
	}
	for _, column := range []string{"n", "n_missing", "in", "out"} {
		if f.Has(column) {
			if v := f.Number(row, column); v > 0 && v < 10 {
				bad(column, v)
			}
		}
	}
	if !f.Has("statistic") {
		return
	}
	statistic, v, n := f.TextAt(row, "statistic"), f.Number(row, "estimate"), f.Number(row, "n")
	switch {
	case math.IsNaN(v):
		if f.TextAt(row, "suppressed") == "all" && f.TextAt(row, "note") != "" {
			t.Errorf("%s row %d: a hidden row has the note %q", f.Table.Name, row, f.TextAt(row, "note"))
		}
	case statistic == "n" || statistic == "n_missing" || strings.HasPrefix(statistic, "count_"):
		if v > 0 && v < 10 {
			bad(statistic, v)
		}
	case strings.HasPrefix(statistic, "prevalence"):
		if k := math.Round(n * v); k < 10 || n-k < 10 {
			bad(statistic, v)
		}
	case statistic == "p5" || statistic == "p95":
		if n < 200 && f.Table.Name != "centiles" { // a centile of a model is no value of the sample
			bad(statistic, n)
		}
	}
}

// At every stage of the released flow those who came in went on or left.
func TestReleasedFlowAddsUp(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 10))
	for _, rounding := range []int{0, 5} {
		f := invented(random, 300)
		_, out := released(t, f, settings(func(s *schema.Settings) { s.Disclosure.Rounding, s.Analysis.CompareWith = rounding, nil }))
		flow := frame(t, out.Tables, "flow")
		for start := 0; start < flow.N; {
			lost, end := 0.0, start
			for ; end < flow.N && flow.Number(end, "order") == flow.Number(start, "order"); end++ {
				lost += flow.Number(end, "n")
			}
			if in, left := flow.Number(start, "in"), flow.Number(start, "out"); !math.IsNaN(lost) && in != left+lost {
				t.Errorf("rounding %d, %s: %g in, %g out, %g left", rounding, flow.TextAt(start, "stage"), in, left, lost)
			}
			start = end
		}
	}
}

// Disclosure control hides; what it leaves of a row without hidden counts is the
// number as it was computed.
func TestWhatIsShownIsUnchanged(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 12))
	f := invented(random, 400)
	results, out := released(t, f, settings(func(s *schema.Settings) { s.Analysis.CompareWith = nil }))
	before := map[string]float64{}
	key := func(f *schema.Frame, row int) string {
		return strings.Join([]string{f.TextAt(row, "set"), f.TextAt(row, "variable"), f.TextAt(row, "sex"), f.TextAt(row, "age_band"), f.TextAt(row, "statistic")}, "/")
	}
	for row := range results.Summary.N {
		before[key(results.Summary, row)] = results.Summary.Number(row, "estimate")
	}
	after := frame(t, out.Tables, "summary")
	shown := 0
	for row := range after.N {
		v := after.Number(row, "estimate")
		if math.IsNaN(v) || strings.Contains(after.TextAt(row, "suppressed"), "counts") {
			continue
		}
		shown++
		if was := before[key(after, row)]; was != v {
			t.Errorf("%s: %g was %g", key(after, row), v, was)
		}
	}
	if shown < 100 {
		t.Errorf("only %d numbers are shown", shown)
	}
}

// The reports name rules and rows, never a value.
func TestReportHoldsNoValue(t *testing.T) {
	f := invented(rand.New(rand.NewPCG(13, 14)), 200)
	_, out := released(t, f, settings(nil))
	if out.Report.N == 0 || out.Detail.N == 0 || out.Hidden == 0 {
		t.Fatal("nothing is reported")
	}
	for _, column := range out.Detail.Table.Columns {
		if column.Numeric() {
			t.Errorf("the detailed report has the numeric column %s", column.Name)
		}
	}
	if !out.Detail.Table.Restricted || out.Report.Table.Restricted {
		t.Error("the detailed report is restricted, the other is released")
	}
}

// Single persons cannot be released by mistake.
func TestRestrictedTableIsRefused(t *testing.T) {
	f := invented(rand.New(rand.NewPCG(15, 16)), 50)
	s := settings(nil)
	results := tabulate.Tables(f, s, "study.yaml", "analysis")
	_, err := release.Check(release.Input{Tables: []*schema.Frame{f}, Visits: f, People: release.People(results.People), Settings: s})
	if err == nil {
		t.Error("a table of single persons was released")
	}
}

// A model of few people, or of a level that few have, is not shown.
func TestModelsOfFew(t *testing.T) {
	f := invented(rand.New(rand.NewPCG(17, 18)), 300)
	for row := range f.N {
		f.SetNumber(row, "heart_rate_bpm", map[bool]float64{true: 1}[row < 4])
	}
	for row := range 4 {
		f.SetText(row, "smoker", "current")
	}
	for row := 4; row < f.N; row++ {
		if f.TextAt(row, "smoker") == "current" {
			f.SetText(row, "smoker", "never")
		}
	}
	_, out := released(t, f, settings(func(s *schema.Settings) {
		s.Analysis.CompareWith = nil
		s.Analysis.Models = schema.ResolveModels([]schema.Model{{Name: "m", Outcome: "central_pp_mmhg", Terms: schema.PlainTerms("age_years", "smoker", "height_cm")},
			{Name: "numeric", Outcome: "central_pp_mmhg", Terms: []schema.Term{schema.Plain("age_years"), {Column: "heart_rate_bpm", Per: 10}}}})
	}))
	models := frame(t, out.Tables, "regression")
	seen := 0
	for row := range models.N {
		hidden := models.Missing(row, "estimate")
		switch models.TextAt(row, "term") + " " + models.TextAt(row, "statistic") {
		case "smoker=current estimate", "heart_rate_bpm estimate":
			seen++
			if !hidden {
				t.Errorf("the coefficient of %s that four people make is shown", models.TextAt(row, "term"))
			}
		case "age_years estimate", "smoker=former estimate":
			seen++
			if hidden {
				t.Errorf("%s is hidden", models.TextAt(row, "term"))
			}
		}
	}
	if seen < 5 {
		t.Errorf("%d of the coefficients are in the table", seen)
	}
}

// That some lack a value of a variable costs it no more than the counts that
// give them away: over everybody its mean is shown where that of a variable that
// everybody has is shown.
func TestFewMissingLeaveTheMeans(t *testing.T) {
	shown := 0
	for _, seed := range testdata.Few([]uint64{0, 1, 2, 3}) {
		f := invented(rand.New(rand.NewPCG(21, seed)), 260)
		_, out := released(t, f, settings(nil))
		table := frame(t, out.Tables, "summary")
		means := map[string]bool{}
		for row := range table.N {
			if table.TextAt(row, "sex") == "all" && table.TextAt(row, "age_band") == "all" && table.TextAt(row, "statistic") == "mean" {
				means[table.TextAt(row, "set")+"/"+table.TextAt(row, "variable")] = !table.Missing(row, "estimate")
			}
		}
		for _, set := range []string{"all", "healthy", "older"} {
			if !means[set+"/central_pp_mmhg"] {
				continue
			}
			shown++
			if !means[set+"/augmentation_index_pct"] {
				t.Errorf("seed %d: the mean augmentation index of the set %s is hidden", seed, set)
			}
		}
	}
	if shown < 6 && !testdata.UnderRaceDetector() {
		t.Errorf("only %d whole sets are shown at all", shown)
	}
}
