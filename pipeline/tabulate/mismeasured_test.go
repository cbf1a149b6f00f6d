package tabulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tonocohort/schema"
)

// A covariate with standard errors of its own: the corrected slope is the naive
// one over the reliability, (Sww − Σs²)/Sww, whatever the unit of the term; SIMEX
// comes near to it.
func TestErrorInACovariate(t *testing.T) {
	f := newTable(schema.Column{Name: "pwv_m_s", Kind: schema.Number, Unit: "m/s"}, schema.Column{Name: "pwv_m_s_se", Kind: schema.Number, Unit: "m/s"})
	random := rand.New(rand.NewPCG(1, 8))
	var w []float64
	var errors float64
	for i := range 300 {
		pwv, se := 8+1.5*random.NormFloat64(), 0.4+0.5*random.Float64()
		w = append(w, pwv+se*random.NormFloat64())
		errors += se * se
		f.add(fmt.Sprint("s", i), "v1", "pwv_m_s", w[i], "pwv_m_s_se", se, "height_cm", 100+5*pwv+random.NormFloat64())
	}
	var mean, sww float64
	for _, v := range w {
		mean += v / 300
	}
	for _, v := range w {
		sww += (v - mean) * (v - mean)
	}
	settings := model(schema.Model{Name: "m", Outcome: "height_cm", Terms: []schema.Term{{Column: "pwv_m_s", Per: 2}}, MeasurementError: &schema.MeasurementError{Column: "pwv_m_s", Simulations: 30}})
	r := run(t, f, settings)
	value := func(statistic string) float64 {
		return r.Regression.Number(find(t, r.Regression, "term", "pwv_m_s", "statistic", statistic), "estimate")
	}
	agree(t, "reliability", value("reliability"), 1-errors/sww)
	agree(t, "error variance", value("error_variance"), errors/300)
	agree(t, "calibrated", value("calibrated"), value("estimate")/(1-errors/sww))
	if simex := value("simex"); math.Abs(simex/value("calibrated")-1) > 0.04 {
		t.Errorf("SIMEX %g, calibrated %g", simex, value("calibrated"))
	}
	if !(value("se_calibrated") > value("se_hc3")) || !(value("se_simex") > 0) || len(r.Seeds) != 1 {
		t.Errorf("errors %g, %g; seeds %v", value("se_calibrated"), value("se_simex"), r.Seeds)
	}
}

// Internal, not evidence from outside: the cuff's error is in the mean pressure
// and in the outcome that scales with it. People of one brachial pulse pressure
// and one shape of the wave: the outcome follows mean pressure in nothing but its
// error, so that the true slope is 0 and the naive one is not.
func TestSharedCuffErrorIsCarried(t *testing.T) {
	u := schema.DefaultUncertainty()
	f := newTable()
	random := rand.New(rand.NewPCG(2, 2))
	for i := range 3000 {
		dbp := 75 + 9*random.NormFloat64()
		z1, z2 := random.NormFloat64(), random.NormFloat64()
		es := u.CuffSBPSDMmHg * z1 / math.Sqrt2
		ed := u.CuffDBPSDMmHg * (u.CuffCorrelation*z1 + math.Sqrt(1-u.CuffCorrelation*u.CuffCorrelation)*z2) / math.Sqrt2
		s, d := dbp+45+es, dbp+ed
		f.add(fmt.Sprintf("s%04d", i), "v1", "brachial_sbp_mmhg", s, "brachial_dbp_mmhg", d, "brachial_map_mmhg", d+0.4*(s-d), "brachial_pp_mmhg", s-d,
			"central_pp_mmhg", 0.75*(s-d)+2*random.NormFloat64(), "cuff_readings", 2, "central_pp_mmhg_se", 3.0)
	}
	r := run(t, f, model(schema.Model{Name: "m", Outcome: "central_pp_mmhg", Terms: schema.PlainTerms("brachial_map_mmhg"), MeasurementError: &schema.MeasurementError{Column: "brachial_map_mmhg", Simulations: 40}}))
	at := func(variable, statistic string) int {
		return find(t, r.Regression, "variable", variable, "term", "brachial_map_mmhg", "statistic", statistic)
	}
	// Variance of 0.4 of the systolic and 0.6 of the diastolic error, over two readings.
	vs, vd := u.CuffSBPSDMmHg*u.CuffSBPSDMmHg/2, u.CuffDBPSDMmHg*u.CuffDBPSDMmHg/2
	both := u.CuffCorrelation * u.CuffSBPSDMmHg * u.CuffDBPSDMmHg / 2
	agree(t, "error variance", r.Regression.Number(at("central_pp_mmhg", "error_variance"), "estimate"), 0.16*vs+0.36*vd+0.48*both)
	agree(t, "shared with the twin", r.Regression.Number(at("brachial_pp_mmhg", "error_covariance"), "estimate"), 0.4*vs-0.6*vd+0.2*both)
	for _, variable := range []string{"central_pp_mmhg", "brachial_pp_mmhg"} {
		naive, row := at(variable, "estimate"), at(variable, "calibrated")
		if r.Regression.Number(naive, "low") <= 0 {
			t.Errorf("%s: the naive slope is not far from zero: the test shows nothing", variable)
		}
		if low, high := r.Regression.Number(row, "low"), r.Regression.Number(row, "high"); low > 0 || high < 0 {
			t.Errorf("%s: corrected %g to %g, truth 0", variable, low, high)
		}
		simex, calibrated := r.Regression.Number(at(variable, "simex"), "estimate"), r.Regression.Number(row, "estimate")
		if math.Abs(simex-calibrated) > 0.15*r.Regression.Number(naive, "estimate") {
			t.Errorf("%s: SIMEX %g, calibrated %g, naive %g", variable, simex, calibrated, r.Regression.Number(naive, "estimate"))
		}
	}
	whole := find(t, r.Regression, "variable", "central_pp_mmhg", "term", "", "statistic", "r_squared_attenuation_corrected")
	if note := r.Regression.TextAt(whole, "note"); !strings.Contains(note, "central_pp_mmhg_se") {
		t.Errorf("note %q", note)
	}
}

// Half of the outcome's variance is error, and half of the rest is explained.
func TestAttenuationOfTheOutcome(t *testing.T) {
	f := invented(200)
	for row := range f.N {
		f.SetNumber(row, "central_pp_mmhg_se", 3)
	}
	r := run(t, f, model(schema.Model{Name: "m", Outcome: "central_pp_mmhg", Terms: schema.PlainTerms("age_years")}))
	value := func(statistic string) float64 {
		return r.Regression.Number(find(t, r.Regression, "variable", "central_pp_mmhg", "term", "", "statistic", statistic), "estimate")
	}
	variance := value("residual_sd") * value("residual_sd") * value("residual_df") / 200 / (1 - value("r_squared"))
	agree(t, "R²", value("r_squared_attenuation_corrected"), value("r_squared")*variance/(variance-9))
}

// Errors that cannot say what they share with the outcome are refused by name.
func TestErrorSettingsAreJudged(t *testing.T) {
	for name, c := range map[string]struct {
		m    schema.Model
		code string
	}{
		"no term":       {schema.Model{Terms: schema.PlainTerms("sex"), MeasurementError: &schema.MeasurementError{Column: "age_years"}}, "unknown_column"},
		"no errors":     {schema.Model{Terms: schema.PlainTerms("age_years"), MeasurementError: &schema.MeasurementError{Column: "age_years"}}, "unknown_column"},
		"levels":        {schema.Model{Terms: schema.PlainTerms("sex"), MeasurementError: &schema.MeasurementError{Column: "sex", SE: "height_cm"}}, "column_not_number"},
		"own errors":    {schema.Model{Terms: schema.PlainTerms("brachial_map_mmhg"), MeasurementError: &schema.MeasurementError{Column: "brachial_map_mmhg", SE: "height_cm"}}, "shared_cuff_error"},
		"central":       {schema.Model{Terms: schema.PlainTerms("central_map_mmhg"), MeasurementError: &schema.MeasurementError{Column: "central_map_mmhg"}}, "shared_cuff_error"},
		"random":        {schema.Model{Kind: schema.RandomIntercept, Terms: schema.PlainTerms("brachial_map_mmhg"), MeasurementError: &schema.MeasurementError{Column: "brachial_map_mmhg"}}, "setting_not_used"},
		"imputed":       {schema.Model{Missing: &schema.MissingSettings{}, Terms: schema.PlainTerms("brachial_map_mmhg"), MeasurementError: &schema.MeasurementError{Column: "brachial_map_mmhg"}}, "setting_not_used"},
		"one is no SD":  {schema.Model{Terms: schema.PlainTerms("brachial_map_mmhg"), MeasurementError: &schema.MeasurementError{Column: "brachial_map_mmhg", Simulations: 1}}, "out_of_range"},
		"which column?": {schema.Model{Terms: schema.PlainTerms("brachial_map_mmhg"), MeasurementError: &schema.MeasurementError{}}, "missing_setting"},
	} {
		t.Run(name, func(t *testing.T) {
			c.m.Name, c.m.Outcome = "m", "central_pp_mmhg"
			issues := Check(model(c.m).Analysis, columns(), "study.yaml", "analysis")
			for _, i := range issues {
				if i.Code == c.code && strings.HasPrefix(i.Name, "analysis.models[0].measurement_error") && i.Size == schema.SizeStructural {
					return
				}
			}
			t.Errorf("%v", issues)
		})
	}
}
