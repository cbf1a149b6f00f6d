package tabulate

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"tonocohort/schema"
)

func model(m schema.Model) schema.Settings {
	return plan(func(a *schema.Analysis) { a.Models = []schema.Model{m} })
}

// Beside a central outcome stands its twin on the same terms and rows.
func TestTwinModel(t *testing.T) {
	f := invented(120)
	f.SetNumber(3, "central_pp_mmhg", math.NaN())
	f.SetNumber(4, "brachial_pp_mmhg", math.NaN())
	r := run(t, f, plan(nil))
	central := find(t, r.Regression, "variable", "central_pp_mmhg", "term", "sex=male", "statistic", "estimate")
	twin := find(t, r.Regression, "variable", "brachial_pp_mmhg", "term", "sex=male", "statistic", "estimate")
	for row, want := range map[int][2]float64{central: {119, 1}, twin: {118, 2}} {
		if n, missing := r.Regression.Number(row, "n"), r.Regression.Number(row, "n_missing"); n != want[0] || missing != want[1] {
			t.Errorf("%g rows, %g missing, want %v", n, missing, want)
		}
	}
	if note := r.Regression.TextAt(twin, "note"); !strings.Contains(note, "brachial twin of central_pp_mmhg") || !strings.Contains(note, "reference: female") {
		t.Errorf("note %q", note)
	}
	if method := r.Regression.TextAt(central, "method"); method != "least_squares; errors hc3; interval t" {
		t.Errorf("method %q", method)
	}
}

// A twin that is a term of its own model is not fitted, and says so.
func TestTwinAmongTerms(t *testing.T) {
	r := run(t, invented(60), model(schema.Model{Name: "m", Outcome: "central_sbp_mmhg", Terms: schema.PlainTerms("age_years", "brachial_sbp_mmhg")}))
	row := find(t, r.Regression, "variable", "brachial_sbp_mmhg")
	if note := r.Regression.TextAt(row, "note"); !strings.Contains(note, "not fitted: brachial_sbp_mmhg is a term") {
		t.Errorf("note %q", note)
	}
}

func TestAliasedTermIsMissing(t *testing.T) {
	f := invented(80)
	r := run(t, f, model(schema.Model{Name: "m", Outcome: "height_cm", Terms: schema.PlainTerms("brachial_pp_mmhg", "brachial_sbp_mmhg", "brachial_dbp_mmhg", "lead_ug_l")}))
	row := find(t, r.Regression, "term", "brachial_dbp_mmhg", "statistic", "estimate")
	if e := r.Regression.Number(row, "estimate"); !math.IsNaN(e) {
		t.Errorf("estimate of an aliased term: %g", e)
	}
	if note := r.Regression.TextAt(row, "note"); !strings.Contains(note, "aliased") {
		t.Errorf("note %q", note)
	}
	rank := find(t, r.Regression, "term", "", "statistic", "rank")
	if e := r.Regression.Number(rank, "estimate"); e != 4 {
		t.Errorf("rank %g, want 4", e)
	}
	if other := find(t, r.Regression, "term", "lead_ug_l", "statistic", "estimate"); math.IsNaN(r.Regression.Number(other, "low")) {
		t.Error("an aliased term took the others' intervals away")
	}
}

// What makes the outcome by arithmetic is found by the rank of the columns and
// refused, with the reason, whatever the columns are called.
func TestArithmeticIsRefused(t *testing.T) {
	for name, c := range map[string]struct {
		outcome string
		terms   []schema.Term
		says    string
	}{
		"sum":              {"central_pp_mmhg", schema.PlainTerms("central_sbp_mmhg", "central_dbp_mmhg"), "same rank"},
		"under a spline":   {"central_pp_mmhg", []schema.Term{{Column: "central_sbp_mmhg", DF: 3}, schema.Plain("central_dbp_mmhg")}, "same rank"},
		"product":          {"pp_amplification_ratio", schema.PlainTerms("age_years", "brachial_pp_mmhg", "central_pp_mmhg"), "product of powers"},
		"cuff":             {"central_pp_mmhg", schema.PlainTerms("brachial_pp_mmhg", "brachial_map_mmhg", "brachial_dbp_mmhg"), "scale"},
		"mean by formula":  {"central_sbp_mmhg", schema.PlainTerms("age_years", "brachial_map_mmhg", "brachial_dbp_mmhg"), "brachial_map_mmhg, brachial_dbp_mmhg"},
		"as another scale": {"central_pp_mmhg", []schema.Term{{Column: "brachial_map_mmhg", Per: 10}, {Column: "brachial_dbp_mmhg", Degree: 2}}, "scale"},
	} {
		t.Run(name, func(t *testing.T) {
			r := run(t, invented(200), model(schema.Model{Name: "m", Outcome: c.outcome, Terms: c.terms}))
			row := find(t, r.Regression, "variable", c.outcome, "term", "", "statistic", "estimate")
			note := r.Regression.TextAt(row, "note")
			if !math.IsNaN(r.Regression.Number(row, "estimate")) || !strings.Contains(note, "not fitted: ") || !strings.Contains(note, c.says) {
				t.Errorf("note %q", note)
			}
		})
	}
}

// Waves that were recorded in true mmHg owe their scale to no cuff, and a mean
// that the cuff measured is no function of its other two values.
func TestWhatIsNoArithmetic(t *testing.T) {
	recorded, measured := invented(200), invented(200)
	for row := range recorded.N {
		recorded.SetText(row, "calibration", "as_recorded")
		measured.SetNumber(row, "brachial_map_mmhg", measured.Number(row, "brachial_map_mmhg")+float64(row%7))
	}
	for _, f := range []table{recorded, measured} {
		r := run(t, f, model(schema.Model{Name: "m", Outcome: "central_pp_mmhg", Terms: schema.PlainTerms("brachial_map_mmhg", "brachial_dbp_mmhg")}))
		row := find(t, r.Regression, "variable", "central_pp_mmhg", "term", "brachial_dbp_mmhg", "statistic", "estimate")
		if math.IsNaN(r.Regression.Number(row, "estimate")) {
			t.Error("not fitted")
		}
	}
}

func TestTooFewRows(t *testing.T) {
	r := run(t, invented(6), plan(nil))
	row := find(t, r.Regression, "variable", "central_pp_mmhg", "statistic", "estimate")
	note := r.Regression.TextAt(row, "note")
	if !math.IsNaN(r.Regression.Number(row, "estimate")) || !strings.Contains(note, "not fitted: 6 complete rows are too few for 7 coefficients") {
		t.Errorf("estimate %g, note %q", r.Regression.Number(row, "estimate"), note)
	}
}

// The answer unknown is no level of a model; a level of one person has no HC3
// error, and the other terms keep theirs.
func TestFactors(t *testing.T) {
	f := invented(90)
	for row := range 3 {
		f.SetText(row, "sex", "unknown")
	}
	f.SetText(5, "sex", "other")
	r := run(t, f, model(schema.Model{Name: "m", Outcome: "height_cm", Terms: schema.PlainTerms("sex", "centre", "age_band")}))
	row := find(t, r.Regression, "term", "sex=other", "statistic", "estimate")
	if n, missing := r.Regression.Number(row, "n"), r.Regression.Number(row, "n_missing"); n != 87 || missing != 3 {
		t.Errorf("%g rows, %g missing", n, missing)
	}
	note := r.Regression.TextAt(row, "note")
	if !math.IsNaN(r.Regression.Number(row, "low")) || math.IsNaN(r.Regression.Number(row, "estimate")) || !strings.Contains(note, "leverage 1") || !strings.Contains(note, "sex unknown counted as missing: 3") {
		t.Errorf("estimate %g from %g, note %q", r.Regression.Number(row, "estimate"), r.Regression.Number(row, "low"), note)
	}
	if south := find(t, r.Regression, "term", "centre=south", "statistic", "estimate"); math.IsNaN(r.Regression.Number(south, "low")) {
		t.Error("centre lost its interval")
	}
	find(t, r.Regression, "term", "age_band=80+", "statistic", "se_classical")
}

func TestFactorWithOneLevelAndWithTooMany(t *testing.T) {
	f := invented(150)
	for row := range f.N {
		f.SetText(row, "treated", "no")
	}
	r := run(t, f, model(schema.Model{Name: "m", Outcome: "height_cm", Terms: schema.PlainTerms("age_years", "treated")}))
	row := find(t, r.Regression, "term", "treated", "statistic", "estimate")
	if note := r.Regression.TextAt(row, "note"); !strings.Contains(note, "one level only, no") {
		t.Errorf("note %q", note)
	}
	for row := range f.N {
		f.SetText(row, "centre", fmt.Sprint("c", row))
	}
	r = run(t, f, model(schema.Model{Name: "m", Outcome: "height_cm", Terms: schema.PlainTerms("centre")}))
	row = find(t, r.Regression, "variable", "height_cm", "statistic", "estimate")
	if note := r.Regression.TextAt(row, "note"); !strings.Contains(note, "centre has 150 levels") {
		t.Errorf("note %q", note)
	}
}
