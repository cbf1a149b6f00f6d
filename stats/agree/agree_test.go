package agree

import (
	"fmt"
	"math"
	"testing"

	"tonocohort/stats"
)

func TestBlandAltmanAgainstR(t *testing.T) {
	g := readGolden(t, "r05_agreement").at("bland_altman")
	pairs := readColumns(t, "golden/in/pairs.csv")
	differences := subtract(pairs["new"], pairs["ref"])
	for method, name := range map[string]string{LimitsApproximate: "ci_approx", LimitsDelta: "ci_full", LimitsExact: "ci_exact_noncentral_t"} {
		l, err := BlandAltman(differences, 0.95, 0.95, method)
		if err != nil {
			t.Fatal(err)
		}
		same(t, "bias and SD", []float64{float64(l.N), l.Bias, l.SD}, []float64{g.at("n").numbers()[0], g.at("bias").numbers()[0], g.at("sd").numbers()[0]}, goldenTolerance)
		same(t, "interval of the bias", ends(l.BiasCI), g.at("bias_ci").numbers(), goldenTolerance)
		same(t, "limits", []float64{l.Lower, l.Upper}, g.at("loa").numbers(), goldenTolerance)
		same(t, "lower limit, "+method, ends(l.LowerCI), g.at("lower_"+name).numbers(), goldenTolerance)
		same(t, "upper limit, "+method, ends(l.UpperCI), g.at("upper_"+name).numbers(), goldenTolerance)
		if method == LimitsExact { // scipy's noncentral t
			same(t, "upper limit, scipy", ends(l.UpperCI), readGolden(t, "p03_stats").at("loa_exact", "upper").numbers(), goldenTolerance)
		}
	}
	trend, err := BlandAltmanTrend(pairs["ref"], pairs["new"])
	if err != nil {
		t.Fatal(err)
	}
	same(t, "trend", []float64{trend.Intercept, trend.Slope}, g.at("trend", "coef").numbers(), goldenTolerance)
	same(t, "errors of the trend", []float64{trend.InterceptSE, trend.SlopeSE}, g.at("trend", "se").numbers(), goldenTolerance)
	same(t, "P of the trend", []float64{trend.P}, g.at("trend", "p_slope").numbers(), goldenTolerance)
}

// Peak expiratory flow by two meters, Bland and Altman 1986, Lancet i:307-10,
// table 1. The paper, with rounded inputs (from memory): mean difference −2.1,
// SD 38.8, limits −79.7 to 75.5 at two SD, lower limit −114.3 to −45.1; full
// digits by R 4.2.2.
func TestPeakFlow(t *testing.T) {
	flow := readColumns(t, "reference/bland_altman1986_pefr.csv")
	l, err := BlandAltman(subtract(flow["large1"], flow["mini1"]), 0.95, 0.95, LimitsApproximate)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "bias and SD", []float64{l.Bias, l.SD}, []float64{-2.11764705882353, 38.7651298736074}, 1e-13)
	same(t, "limits at two SD", []float64{l.Bias - 2*l.SD, l.Bias + 2*l.SD}, []float64{-79.6479068060383, 75.4126126883912}, 1e-13)
	same(t, "interval of the bias", ends(l.BiasCI), []float64{-22.0488376966452, 17.8135435789981}, 1e-12)
	same(t, "limits at 1.96 SD", []float64{l.Lower, l.Upper}, []float64{-78.097301611094, 73.8620074934469}, 5e-5) // 1.96 there is rounded
	half := (l.LowerCI.High - l.LowerCI.Low) / 2
	same(t, "half-width", []float64{half}, []float64{2.11990529922125 * 16.2846117950315}, 1e-12)
	// The paper's interval of the lower limit is about mean − 2 SD.
	same(t, "interval of the lower limit", []float64{l.Bias - 2*l.SD - half, l.Bias - 2*l.SD + half}, []float64{-114.169741646087, -45.1260719659901}, 1e-12)

	for name, want := range map[string]float64{"large": 15.3066690578669, "mini": 19.9108306323616} {
		r, err := Repeat(byPerson(flow[name+"1"], flow[name+"2"]), 0.95, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		same(t, "within-subject SD, "+name, []float64{r.WithinSD}, []float64{want}, 1e-13)
		same(t, "repeatability coefficient", []float64{r.Coefficient}, []float64{1.959963984540054 * math.Sqrt2 * want}, 1e-12)
	}

	// With two replicates by either method the variance is that of the differences
	// of means plus a quarter of that of either method's repeat differences (1986).
	both, err := BlandAltmanReplicates(byPerson(flow["large1"], flow["large2"]), byPerson(flow["mini1"], flow["mini2"]), 0.95, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	means := make([]float64, 17)
	for i := range means {
		means[i] = (flow["mini1"][i] + flow["mini2"][i] - flow["large1"][i] - flow["large2"][i]) / 2
	}
	// mean squares of the repeat differences: rms 21.6469 and 28.1582 (R 4.2.2)
	want := math.Sqrt(stats.Variance(means) + (21.6468989763919*21.6468989763919+28.1581667183994*28.1581667183994)/4)
	same(t, "corrected SD", []float64{both.SD}, []float64{want}, 1e-12)
	if !(both.UpperCI.Low < both.Upper && both.Upper < both.UpperCI.High && both.LowerCI.High < both.BiasCI.Low) {
		t.Errorf("%+v", both)
	}
}

func byPerson(columns ...[]float64) [][]float64 {
	out := make([][]float64, len(columns[0]))
	for i := range out {
		for _, c := range columns {
			out[i] = append(out[i], c[i])
		}
	}
	return out
}

func TestRepeatedLimitsAgainstR(t *testing.T) {
	g := readGolden(t, "r05_agreement").at("bland_altman_repeated", "true_value_varies")
	data := readColumns(t, "golden/in/repeated.csv")
	var persons [][]float64
	last := math.NaN()
	for i, d := range subtract(data["m2"], data["m1"]) {
		if data["subj"][i] != last {
			persons = append(persons, nil)
			last = data["subj"][i]
		}
		persons[len(persons)-1] = append(persons[len(persons)-1], d)
	}
	l, c, err := BlandAltmanRepeated(persons, 0.95, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string]float64{"msb": c.BetweenMS, "msw": c.WithinMS, "n0": c.PerPerson, "var_between": c.Between, "sd_total": l.SD, "mean_all": l.Bias} {
		same(t, name, []float64{got}, g.at(name).numbers(), goldenTolerance)
	}
	z := 1.96 // the golden limits take the rounded quantile
	same(t, "limits", []float64{l.Bias - z*l.SD, l.Bias + z*l.SD}, g.at("loa").numbers(), goldenTolerance)
}

func TestIntraclassCorrelationAgainstR(t *testing.T) {
	g := readGolden(t, "r05_agreement")
	forms := map[string]string{ICC11: "ICC1_1", ICC21: "ICC2_1", ICC31: "ICC3_1", ICC1K: "ICC1_k", ICC2K: "ICC2_k", ICC3K: "ICC3_k"}
	for set, columns := range map[string][][]float64{
		"icc_shrout_fleiss": columnsOf(readColumns(t, "golden/in/ratings_sf.csv"), "r1", "r2", "r3", "r4"),
		"icc_second":        columnsOf(readColumns(t, "golden/in/ratings_icc.csv"), "o1", "o2", "o3"),
	} {
		a, err := NewTwoWay(byPerson(columns...))
		if err != nil {
			t.Fatal(err)
		}
		for form, name := range forms {
			r, err := a.ICC(form, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			want := g.at(set, name)
			for key, got := range map[string]float64{"icc": r.Estimate, "lo": r.Low, "hi": r.High, "F": r.F, "df1": r.DF1, "df2": r.DF2, "p": r.P} {
				same(t, fmt.Sprintf("%s %s %s", set, name, key), []float64{got}, want.at(key).numbers(), goldenTolerance)
			}
		}
	}
}

func columnsOf(c map[string][]float64, names ...string) (out [][]float64) {
	for _, name := range names {
		out = append(out, c[name])
	}
	return out
}

// Shrout and Fleiss 1979, Psychol Bull 86:420-8, tables 2 to 4: mean squares and
// the six coefficients, printed with two decimals.
func TestShroutFleiss(t *testing.T) {
	sheet := readColumns(t, "reference/shrout_fleiss1979_table2.csv")
	a, err := NewTwoWay(byPerson(columnsOf(sheet, "judge1", "judge2", "judge3", "judge4")...))
	if err != nil {
		t.Fatal(err)
	}
	for name, pair := range map[string][2]float64{"BMS": {a.BetweenMS, 11.24}, "WMS": {a.WithinMS, 6.26}, "JMS": {a.RaterMS, 32.49}, "EMS": {a.ErrorMS, 1.02}} {
		if math.Abs(pair[0]-pair[1]) > 0.005 {
			t.Errorf("%s: %g, published %g", name, pair[0], pair[1])
		}
	}
	for form, want := range map[string]float64{ICC11: 0.17, ICC21: 0.29, ICC31: 0.71, ICC1K: 0.44, ICC2K: 0.62, ICC3K: 0.91} {
		r, err := a.ICC(form, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(r.Estimate-want) > 0.005 {
			t.Errorf("%s: %g, published %g", form, r.Estimate, want)
		}
	}
}

func TestDemingAgainstR(t *testing.T) {
	g := readGolden(t, "r05_agreement").at("deming")
	pairs := readColumns(t, "golden/in/pairs.csv")
	for i := range 3 {
		want := g.at(i)
		l, err := Deming(pairs["ref"], pairs["new"], want.at("lambda").numbers()[0], 0.95)
		if err != nil {
			t.Fatal(err)
		}
		same(t, "Deming", []float64{l.Intercept, l.Slope}, want.at("coef").numbers(), goldenTolerance)
		same(t, "jackknife errors", []float64{l.InterceptSE, l.SlopeSE}, want.at("jack_se").numbers(), goldenTolerance)
	}
	flow := readColumns(t, "reference/bland_altman1986_pefr.csv")
	l, err := Deming(flow["large1"], flow["mini1"], 1, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "peak flow", []float64{l.Intercept, l.Slope, l.InterceptSE, l.SlopeSE}, []float64{15.2315555223308, 0.970880819764939, 69.4795333626696, 0.139017094560376}, 1e-10)
}

// No package gave these: the 1983 formulas written out in R.
func TestPassingBablokAgainstR(t *testing.T) {
	g := readGolden(t, "r05_agreement").at("passing_bablok_own_formula")
	pairs := readColumns(t, "golden/in/pairs.csv")
	l, err := PassingBablok(pairs["ref"], pairs["new"], 0.95)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "counts", []float64{float64(l.Slopes), float64(l.Offset)}, append(g.at("N").numbers(), g.at("K").numbers()...), 0)
	same(t, "line", []float64{l.Slope, l.Intercept}, append(g.at("slope_geomean_if_even").numbers(), g.at("intercept").numbers()...), goldenTolerance)
	same(t, "interval of the slope", ends(l.SlopeCI), g.at("slope_ci").numbers(), goldenTolerance)
	same(t, "interval of the intercept", ends(l.InterceptCI), g.at("intercept_ci").numbers(), goldenTolerance)

	flow := readColumns(t, "reference/bland_altman1986_pefr.csv")
	if l, err = PassingBablok(flow["large1"], flow["mini1"], 0.95); err != nil {
		t.Fatal(err)
	}
	same(t, "peak flow", []float64{l.Slope, l.SlopeCI.Low, l.SlopeCI.High, l.Intercept, l.InterceptCI.Low, l.InterceptCI.High},
		[]float64{1.064814814814815, 0.837078651685393, 1.396825396825397, -24.3055555555556, -178.031746031746, 82.938202247191}, 1e-12)
	if l.Slopes != 135 || l.Offset != 13 || l.LowRank != 44 || l.HighRank != 92 {
		t.Errorf("%+v", l)
	}
}
