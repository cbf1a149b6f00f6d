package tabulate

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// measuredTables holds the tables behind the tests of measurement quality.
type measuredTables struct{ Measured }

func newMeasured() measuredTables {
	m := measuredTables{Measured{Visits: newTable().Frame}}
	for _, need := range m.Needs() {
		*need.Into = schema.NewFrame(need.Table, 0)
	}
	return m
}

func fill(f *schema.Frame, cells ...any) {
	row := f.AddRow()
	for i := 0; i < len(cells); i += 2 {
		switch v := cells[i+1].(type) {
		case string:
			f.SetText(row, cells[i].(string), v)
		case float64:
			f.SetNumber(row, cells[i].(string), v)
		}
	}
}

func (m measuredTables) visit(subject, visit string, age float64) {
	table{m.Visits}.add(subject, visit, "age_years", age, "centre", "north")
}

func (m measuredTables) recording(subject, visit, id string, cells ...any) {
	fill(m.Recordings, append([]any{"subject_id", subject, "visit_id", visit, "recording_id", id, "status", "used", "recorded_at", id}, cells...)...)
}

func (m measuredTables) agreement() *schema.Frame {
	return Agreement(m.Measured, schema.DefaultAnalysis())
}

// peakFlow reads Bland and Altman 1986, Lancet i:307-10, table 1.
func peakFlow(t *testing.T) map[string][]float64 {
	t.Helper()
	file, err := os.Open(testdata.Path(t, "reference/bland_altman1986_pefr.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]float64{}
	for _, row := range rows[1:] {
		for k, name := range rows[0] {
			v, err := strconv.ParseFloat(row[k], 64)
			if err != nil {
				t.Fatal(err)
			}
			out[name] = append(out[name], v)
		}
	}
	return out
}

// The paper's repeat readings of one meter as recordings of a visit, and its two
// meters as two methods. Numbers by R 4.2.2 on the paper's table; the paper
// itself has, rounded, a bias of −2.1, an SD of 38.8 (from memory).
func TestAgreementOfPeakFlow(t *testing.T) {
	flow := peakFlow(t)
	m := newMeasured()
	for i := range flow["large1"] {
		who := fmt.Sprintf("S%02d", i+1)
		m.visit(who, "v1", 50)
		m.recording(who, "v1", who+"a", "central_pp_mmhg", flow["large1"][i])
		m.recording(who, "v1", who+"b", "central_pp_mmhg", flow["large2"][i])
		fill(m.Estimates, "recording_id", who+"a", "method", "tube_constant", "calibration", "sbp_dbp", "primary", 1.0, "central_sbp_mmhg", flow["mini1"][i])
		fill(m.Estimates, "recording_id", who+"a", "method", "moving_average", "calibration", "sbp_dbp", "primary", 0.0, "central_sbp_mmhg", flow["large1"][i])
		fill(m.Estimates, "recording_id", who+"b", "method", "tube_constant", "calibration", "sbp_dbp", "primary", 1.0, "central_sbp_mmhg", 0.0)
	}
	f := m.agreement()
	at := func(comparison, variable, statistic string) int {
		return find(t, f, "comparison", comparison, "variable", variable, "statistic", statistic)
	}
	row := at(betweenReplicates, "central_pp_mmhg", "within_subject_sd")
	agree(t, "within-subject SD", f.Number(row, "estimate"), 15.3066690578669)
	if n, obs := f.Number(row, "n"), f.Number(row, "observations"); n != 17 || obs != 34 {
		t.Errorf("%v persons, %v readings", n, obs)
	}
	row = at(betweenReplicates, "central_pp_mmhg", "repeatability_coefficient")
	agree(t, "repeatability", f.Number(row, "estimate"), 1.959963984540054*math.Sqrt2*15.3066690578669)
	for statistic, want := range map[string]float64{"bias": -2.11764705882353, "sd_of_differences": 38.7651298736074} {
		agree(t, statistic, f.Number(at(betweenMethods, "central_sbp_mmhg", statistic), "estimate"), want)
	}
	row = at(betweenMethods, "central_sbp_mmhg", "bias")
	agree(t, "interval", f.Number(row, "low"), -22.0488376966452)
	agree(t, "interval", f.Number(row, "high"), 17.8135435789981)
	if f.TextAt(row, "first") != "tube_constant" || f.TextAt(row, "second") != "moving_average" {
		t.Errorf("%s minus %s", f.TextAt(row, "second"), f.TextAt(row, "first"))
	}
	row = at(betweenMethods, "central_sbp_mmhg", "lower_limit")
	if got := f.Number(row, "estimate"); math.Abs(got+78.097301611094) > 5e-3 { // 1.96 there is rounded
		t.Errorf("lower limit %v", got)
	}
	// Lines by R 4.2.2, of the small meter on the large one; here first and second
	// are the other way round, so that the Deming slope is the reciprocal.
	deming := at(betweenMethods, "central_sbp_mmhg", "deming_slope")
	agree(t, "Deming", f.Number(deming, "estimate"), 1/0.970880819764939)
	agree(t, "Deming", f.Number(at(betweenMethods, "central_sbp_mmhg", "deming_intercept"), "estimate"), -15.2315555223308/0.970880819764939)
	if low, high := f.Number(deming, "low"), f.Number(deming, "high"); !(low < 1 && 1 < high) {
		t.Errorf("slope %g to %g", low, high)
	}
	// Exact limits: the far end is further from the limit than the near one.
	if low, high := f.Number(row, "low"), f.Number(row, "high"); !(f.Number(row, "estimate")-low > high-f.Number(row, "estimate")) {
		t.Errorf("lower limit from %v to %v", low, high)
	}
}

// The same meters the way round that R had them, for a line that is not symmetric
// in its offset: Passing and Bablok's formulas written out in R 4.2.2.
func TestLineBetweenMethods(t *testing.T) {
	flow := peakFlow(t)
	m := newMeasured()
	for i := range flow["large1"] {
		who := fmt.Sprintf("S%02d", i+1)
		m.visit(who, "v1", 50)
		m.recording(who, "v1", who+"a", "central_pp_mmhg", 40.0)
		fill(m.Estimates, "recording_id", who+"a", "method", "tube_constant", "calibration", "sbp_dbp", "primary", 1.0, "central_sbp_mmhg", flow["large1"][i])
		fill(m.Estimates, "recording_id", who+"a", "method", "moving_average", "calibration", "sbp_dbp", "primary", 0.0, "central_sbp_mmhg", flow["mini1"][i])
	}
	f := m.agreement()
	for statistic, want := range map[string][3]float64{
		"passing_bablok_slope":     {1.064814814814815, 0.837078651685393, 1.396825396825397},
		"passing_bablok_intercept": {-24.3055555555556, -178.031746031746, 82.938202247191},
		"deming_slope":             {0.970880819764939, 0.970880819764939 - 2.131449545559323*0.139017094560376, 0.970880819764939 + 2.131449545559323*0.139017094560376},
	} {
		row := find(t, f, "comparison", betweenMethods, "statistic", statistic)
		agree(t, statistic, f.Number(row, "estimate"), want[0])
		agree(t, statistic+" low", f.Number(row, "low"), want[1])
		agree(t, statistic+" high", f.Number(row, "high"), want[2])
	}
}

// Six persons rated by four judges (Shrout and Fleiss 1979, Psychol Bull 86:420-8,
// table 4: 0.17, 0.29, 0.71, 0.44, 0.62 and 0.91), as the recordings of a visit; a
// seventh with two is not of the table. The digits are those of psych 2.2.9 in R.
func TestFormsOfCorrelation(t *testing.T) {
	m := newMeasured()
	for i, row := range [][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}, {5, 5}} {
		who := fmt.Sprintf("S%d", i)
		m.visit(who, "v1", 50)
		for j, v := range row {
			m.recording(who, "v1", fmt.Sprint(who, j), "central_pp_mmhg", v)
		}
	}
	f := m.agreement()
	g := readGolden(t, "r05_agreement")
	for statistic, name := range map[string]string{"icc_1_1": "ICC1_1", "icc_2_1": "ICC2_1", "icc_3_1": "ICC3_1", "icc_1_k": "ICC1_k", "icc_2_k": "ICC2_k", "icc_3_k": "ICC3_k"} {
		row := find(t, f, "comparison", betweenReplicates, "variable", "central_pp_mmhg", "statistic", statistic)
		agree(t, statistic, f.Number(row, "estimate"), g.number("icc_shrout_fleiss", name, "icc"))
		agree(t, statistic+" low", f.Number(row, "low"), g.number("icc_shrout_fleiss", name, "lo"))
		agree(t, statistic+" high", f.Number(row, "high"), g.number("icc_shrout_fleiss", name, "hi"))
		if n, missing := f.Number(row, "n"), f.Number(row, "n_missing"); n != 6 || missing != 1 {
			t.Errorf("%g persons, %g missing", n, missing)
		}
	}
}

// A second visit is never a second person: the pairs come from the visit that
// the plan keeps, and only replicates_all_visits has the others.
func TestAgreementCountsPersonsOnce(t *testing.T) {
	m := newMeasured()
	for i := range 12 {
		who := fmt.Sprintf("S%02d", i)
		for k, visit := range []string{"v1", "v2"} {
			if k == 1 && i%3 > 0 {
				continue
			}
			m.visit(who, visit, 50+float64(k))
			for j, id := range []string{"a", "b"} {
				m.recording(who, visit, who+visit+id, "central_pp_mmhg", 40+float64(i)+float64((i*7+j*5+k*3)%11), "brachial_sbp_mmhg", 120.0)
			}
		}
	}
	f := m.agreement()
	for comparison, want := range map[string][2]float64{betweenReplicates: {12, 12}, acrossVisits: {12, 16}} {
		row := find(t, f, "comparison", comparison, "variable", "central_pp_mmhg", "statistic", "bias")
		if n, pairs := f.Number(row, "n"), f.Number(row, "observations"); n != want[0] || pairs != want[1] {
			t.Errorf("%s: %v persons, %v pairs, expected %v", comparison, n, pairs, want)
		}
	}
	// What no recording has is a row without a number, not a zero.
	row := find(t, f, "comparison", betweenReplicates, "variable", "heart_rate_bpm", "statistic", "bias")
	if !f.Missing(row, "estimate") || f.Number(row, "n") != 0 || f.Number(row, "n_missing") != 12 || f.TextAt(row, "note") == "" {
		t.Errorf("bias of nothing: %v of %v", f.Number(row, "estimate"), f.Number(row, "n"))
	}
}

// Recordings without an operator are nobody's, and later is minus earlier.
func TestOperatorPairs(t *testing.T) {
	m := newMeasured()
	for i, operators := range [][]string{{"A", "A", "B"}, {"A", "B", "A"}, {"", "B", "B"}, {"A", "", "C"}, {"A", "B"}, {"C", "C"}} {
		who := fmt.Sprintf("S%d", i)
		m.visit(who, "v1", 50)
		for k, operator := range operators {
			m.recording(who, "v1", fmt.Sprint(who, k), "operator_id", operator, "central_sbp_mmhg", 100+math.Pow(2, float64(k)))
		}
	}
	f := m.agreement()
	// same operator: 0→1 (+1), 0→2 (+3), 1→2 (+2), none, none, 0→1 (+1)
	// different: 0→2 (+3), 0→1 (+1), none, 0→2 (+3), 0→1 (+1), none
	for comparison, want := range map[string]float64{withinOperators: 7.0 / 4, betweenOperators: 2} {
		row := find(t, f, "comparison", comparison, "variable", "central_sbp_mmhg", "statistic", "bias")
		agree(t, comparison, f.Number(row, "estimate"), want)
		if f.Number(row, "n") != 4 {
			t.Errorf("%s: %v persons", comparison, f.Number(row, "n"))
		}
		sd := f.Number(find(t, f, "comparison", comparison, "variable", "central_sbp_mmhg", "statistic", "sd_of_differences"), "estimate")
		single := f.Number(find(t, f, "comparison", comparison, "variable", "central_sbp_mmhg", "statistic", "single_measurement_sd"), "estimate")
		agree(t, "one measurement", single, sd/math.Sqrt2)
	}
}

// Two readers of fifty: both accept 20, both reject 15, they differ on 5 and 10:
// kappa 0.4, agreement 0.7, by chance 0.5 (a common textbook table, from memory).
func TestReaders(t *testing.T) {
	m := newMeasured()
	counts := map[[2]string]int{{"accept", "accept"}: 20, {"accept", "reject"}: 5, {"reject", "accept"}: 10, {"reject", "reject"}: 15}
	k := 0
	for _, pair := range [][2]string{{"accept", "accept"}, {"accept", "reject"}, {"reject", "accept"}, {"reject", "reject"}} {
		for range counts[pair] {
			k++
			id := fmt.Sprintf("R%02d", k)
			for r, decision := range pair {
				fill(m.Reviews, "subject_id", "S"+id[:2], "recording_id", id, "reader", []string{"ada", "ben"}[r], "decision", decision,
					"quality", "usable", "program_decision", "accept")
			}
		}
	}
	fill(m.Reviews, "subject_id", "S9", "recording_id", "R99", "reader", "cy", "decision", "reject", "quality", "", "program_decision", "")
	f := m.agreement()
	for statistic, want := range map[string]float64{"kappa": 0.4, "proportion_agreed": 0.7, "agreement_by_chance": 0.5} {
		row := find(t, f, "comparison", betweenReaders, "statistic", statistic)
		agree(t, statistic, f.Number(row, "estimate"), want)
		if f.TextAt(row, "first") != "reader 1" || f.TextAt(row, "second") != "reader 2" || f.Number(row, "observations") != 50 {
			t.Errorf("%s: %s and %s, %v recordings", statistic, f.TextAt(row, "first"), f.TextAt(row, "second"), f.Number(row, "observations"))
		}
	}
	row := find(t, f, "comparison", readerAndGrade, "first", "reader 2", "statistic", "proportion_accepted_usable")
	agree(t, "accepted by the second reader", f.Number(row, "estimate"), 30.0/50)
	for row := range f.N {
		if f.TextAt(row, "first") == "reader 3" {
			t.Error("a recording that was never graded is compared with its grade")
		}
	}
}

// Two visits of two recordings ± 1: a within-visit SD of √2, twice what the
// errors of 1/√2 say.
func TestReportedErrors(t *testing.T) {
	m := newMeasured()
	for i, mean := range []float64{100, 110, 120} {
		who := fmt.Sprintf("S%d", i)
		m.visit(who, "v1", 50)
		for k, sign := range []float64{-1, 1} {
			id := fmt.Sprint(who, k)
			m.recording(who, "v1", id, "central_sbp_mmhg", mean+sign)
			fill(m.Uncertainty, "recording_id", id, "value", "central_sbp_mmhg", "se_beats", math.Sqrt(0.5))
		}
	}
	f := m.agreement()
	for statistic, want := range map[string]float64{"observed_sd": math.Sqrt2, "reported_se": math.Sqrt(0.5), "observed_over_reported": 2} {
		agree(t, statistic, f.Number(find(t, f, "comparison", observedReported, "statistic", statistic), "estimate"), want)
	}
}
