package tabulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"tonocohort/schema"
	"tonocohort/stats/centile"
)

// grown is a made-up cohort over age, for tests of the plumbing.
func grown(n int) table {
	t := newTable()
	random := rand.New(rand.NewPCG(11, 12))
	for i := range n {
		sex := []string{"female", "male"}[i%2]
		age := 20 + 60*random.Float64()
		pp := (24 + 0.005*age*age) * math.Exp(0.2*random.NormFloat64())
		t.add(fmt.Sprintf("S%05d", i), "v1", "sex", sex, "age_years", age, "central_pp_mmhg", pp,
			"central_sbp_mmhg", 75+pp, "augmentation_index_pct", 20+0.3*(age-50)+10*random.NormFloat64())
	}
	return t
}

func planOf(centiles ...schema.CentileSettings) schema.Settings {
	s := schema.DefaultSettings()
	s.Analysis.Centiles = centiles
	return s
}

func everyMethod() []schema.CentileSettings {
	zero := 0.0
	return []schema.CentileSettings{
		{Variable: "central_pp_mmhg"},
		{Variable: "augmentation_index_pct", Shift: 60},
		{Variable: "central_pp_mmhg", Method: schema.CentilesFractional, Power: &zero},
		{Variable: "central_pp_mmhg", Method: schema.CentilesQuantile, DF: []float64{4}},
	}
}

// rowsOf lists the rows whose text columns are as given, name, value, ….
func rowsOf(f *schema.Frame, cells ...string) []int {
	var rows []int
	for row := range f.N {
		fits := true
		for i := 0; i < len(cells); i += 2 {
			fits = fits && f.TextAt(row, cells[i]) == cells[i+1]
		}
		if fits {
			rows = append(rows, row)
		}
	}
	return rows
}

// What stands in the table of parameters gives, for every method, the very
// centiles of the table of centiles.
func TestParametersGiveTheCentiles(t *testing.T) {
	r := Tables(grown(900).Frame, planOf(everyMethod()...), "study.yaml", "analysis")
	if schema.AnyStructural(r.Issues) {
		t.Fatal(r.Issues)
	}
	references, err := References(r.CentileParameters)
	if err != nil {
		t.Fatal(err)
	}
	if len(references) != 8 {
		t.Fatalf("%d references", len(references))
	}
	compared := 0
	for _, reference := range references {
		if reference.Calibration != "sbp_dbp" || reference.CentralMethod != "tube_constant" {
			t.Errorf("made of %q, %q", reference.Calibration, reference.CentralMethod)
		}
		for _, row := range rowsOf(r.Centiles, "variable", reference.Variable, "sex", reference.Sex) {
			percent := strings.TrimPrefix(r.Centiles.TextAt(row, "statistic"), "p")
			p := map[string]float64{"3": 0.03, "50": 0.5, "97": 0.97}[percent]
			if p == 0 || !strings.HasPrefix(r.Centiles.TextAt(row, "method"), reference.Method) {
				continue
			}
			at, want := r.Centiles.Number(row, "evaluated_at_years"), r.Centiles.Number(row, "estimate")
			if got := reference.Centile(at, p); got != want {
				t.Errorf("%s of %s at %g: %v, in the table %v", r.Centiles.TextAt(row, "statistic"), reference.Variable, at, got, want)
			}
			if s := reference.Score(at, want); math.Abs(s.Centile-100*p) > 1e-7 {
				t.Errorf("%s of %s at %g: scored %v", r.Centiles.TextAt(row, "statistic"), reference.Variable, at, s)
			}
			compared++
		}
		if s := reference.Score(15, 40); !math.IsNaN(s.Z) || s.Note != centile.NoteOutsideAges {
			t.Errorf("at 15 years: %+v", s)
		}
	}
	if compared != 8*60*3 {
		t.Errorf("%d centiles compared", compared)
	}
}

// Every centile has its interval about it, and the numbers of the fit are there.
func TestCentileRows(t *testing.T) {
	r := Tables(grown(900).Frame, planOf(everyMethod()...), "study.yaml", "analysis")
	f := r.Centiles
	for row := range f.N {
		if f.TextAt(row, "statistic") == "n" {
			continue
		}
		estimate, low, high := f.Number(row, "estimate"), f.Number(row, "low"), f.Number(row, "high")
		if math.IsNaN(estimate) || f.Number(row, "n") != 450 || f.Missing(row, "age_years") {
			t.Fatalf("row %d: estimate %g, n %g", row, estimate, f.Number(row, "n"))
		}
		switch missing := math.IsNaN(low); {
		case missing && !strings.Contains(f.TextAt(row, "note"), "no interval"):
			t.Errorf("row %d: no interval and no note", row)
		case !missing && !(low <= estimate && estimate <= high):
			t.Errorf("row %d: %g outside %g to %g", row, estimate, low, high)
		}
		if !strings.Contains(f.TextAt(row, "note"), notHealthy) {
			t.Errorf("row %d: no word that everyone was taken", row)
		}
	}
	for _, statistic := range []string{"Q1_p", "Q2_p", "Q3_p", "Q4_p", "share_below_p50", "log_likelihood", "detrended_quantile", "z_sd"} {
		if len(rowsOf(r.CentileFit, "statistic", statistic, "variable", "central_pp_mmhg", "sex", "male")) == 0 {
			t.Errorf("no %s", statistic)
		}
	}
	if p := r.CentileFit.Number(rowsOf(r.CentileFit, "statistic", "share_below_p50", "variable", "central_pp_mmhg", "sex", "male")[0], "estimate"); math.Abs(p-0.5) > 0.06 {
		t.Errorf("%g of the men lie below their median", p)
	}
}

// Too few people, and people of another sex, are counted and not fitted; the
// healthy set is taken where there is one.
func TestCentilesNotFitted(t *testing.T) {
	cohort := grown(300)
	cohort.add("X1", "v1", "sex", "other", "age_years", 40.0, "central_pp_mmhg", 40.0)
	s := planOf(schema.CentileSettings{Variable: "central_pp_mmhg", Ages: []float64{20, 69}})
	low := 45.0
	s.Analysis.Sets["healthy"] = []schema.Rule{{Column: "age_years", AtLeast: &low}}
	r := Tables(cohort.Frame, s, "study.yaml", "analysis")
	rows := rowsOf(r.Centiles, "statistic", "n")
	if len(rows) != r.Centiles.N || r.Centiles.N != 2 || r.CentileParameters.N != 0 {
		t.Fatalf("%d rows, %d parameters", r.Centiles.N, r.CentileParameters.N)
	}
	for _, row := range rows {
		note := r.Centiles.TextAt(row, "note")
		if r.Centiles.TextAt(row, "set") != "healthy" || !strings.Contains(note, "too few") || !strings.Contains(note, "outside the ages 20 to 69") || strings.Contains(note, notHealthy) {
			t.Errorf("%s", note)
		}
	}
	delete(s.Analysis.Sets, "healthy")
	s.Analysis.Centiles[0].Ages = nil
	r = Tables(cohort.Frame, s, "study.yaml", "analysis")
	other := rowsOf(r.Centiles, "sex", "other")
	if len(other) != 1 || r.Centiles.Number(other[0], "estimate") != 1 || !strings.Contains(r.Centiles.TextAt(other[0], "note"), "not fitted") {
		t.Errorf("sex other: rows %v", other)
	}
	if len(rowsOf(r.Centiles, "sex", "female", "statistic", "p50")) != 60 {
		t.Error("women are not fitted")
	}
}

// Without a shift an index that can be below zero is not fitted by lms, and the
// row says why.
func TestCentilesNeedShift(t *testing.T) {
	r := Tables(grown(400).Frame, planOf(schema.CentileSettings{Variable: "augmentation_index_pct"}), "study.yaml", "analysis")
	for _, row := range rowsOf(r.Centiles, "statistic", "n") {
		if note := r.Centiles.TextAt(row, "note"); !strings.Contains(note, "not above zero") {
			t.Errorf("%s", note)
		}
	}
}

// The order in which people were enrolled changes no digit.
func TestCentilesIgnoreEnrolment(t *testing.T) {
	a := grown(500)
	b := newTable()
	for row := a.N - 1; row >= 0; row-- {
		b.CopyRow(b.AddRow(), a.Frame, row)
	}
	first, second := Tables(a.Frame, planOf(everyMethod()...), "", ""), Tables(b.Frame, planOf(everyMethod()...), "", "")
	for i, f := range first.CentileTables.frames() {
		g := second.CentileTables.frames()[i]
		for _, name := range []string{"estimate", "low", "high"} {
			if !slices.EqualFunc(f.Numbers(name), g.Numbers(name), func(x, y float64) bool { return x == y || x != x && y != y }) {
				t.Errorf("%s: %s depends on the order", f.Table.Name, name)
			}
		}
	}
}

func TestCheckCentiles(t *testing.T) {
	power := -1.0
	for code, c := range map[string]schema.CentileSettings{
		"missing_setting":        {},
		"unknown_column":         {Variable: "central_pp"},
		"column_not_number":      {Variable: "sex"},
		"unknown_value":          {Variable: "central_pp_mmhg", Method: "lmss"},
		"unknown_set":            {Variable: "central_pp_mmhg", Set: "thin"},
		"out_of_range":           {Variable: "central_pp_mmhg", Centiles: []float64{50, 100}},
		"centiles_not_ascending": {Variable: "central_pp_mmhg", Centiles: []float64{50, 5}},
		"empty_setting":          {Variable: "central_pp_mmhg", Centiles: []float64{}},
		"bad_range":              {Variable: "central_pp_mmhg", Ages: []float64{80, 20}},
		"bad_power":              {Variable: "central_pp_mmhg", Method: schema.CentilesFractional, Power: &power},
		"bad_df":                 {Variable: "central_pp_mmhg", DF: []float64{1.5, 4, 2}},
		"shift_not_used":         {Variable: "central_pp_mmhg", Method: schema.CentilesQuantile, Shift: 3},
	} {
		issues := Check(planOf(c).Analysis, newTable().Table.Columns, "study.yaml", "analysis")
		if !slices.ContainsFunc(issues, func(i schema.Issue) bool {
			return i.Code == code && strings.HasPrefix(i.Name, "analysis.centiles[0].") && i.Size == schema.SizeStructural
		}) {
			t.Errorf("%s is not reported: %v", code, issues)
		}
	}
	twice := planOf(schema.CentileSettings{Variable: "central_pp_mmhg"}, schema.CentileSettings{Variable: "central_pp_mmhg", Method: schema.CentilesLMS})
	if issues := Check(twice.Analysis, newTable().Table.Columns, "study.yaml", "analysis"); !schema.AnyStructural(issues) {
		t.Error("the same centiles twice are not reported")
	}
}
