package tabulate

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"tonocohort/schema"
)

// R 4.2.2: splines 4.2.2 (ns), and its own list of the 36 fractional polynomials
// of two powers, of age over 10.
func TestBentTermsAgainstR(t *testing.T) {
	g := readGolden(t, "r02_splines")
	at := 45.5
	r := run(t, goldenCohort(t), plan(func(a *schema.Analysis) {
		a.Models = []schema.Model{
			{Name: "spline", Outcome: "central_pp_mmhg", Terms: []schema.Term{{Column: "age_years", Form: schema.NaturalSpline, DF: 4, At: &at}}},
			{Name: "chosen", Outcome: "central_pp_mmhg", Terms: []schema.Term{{Column: "age_years", Form: schema.FractionalPolynomial}}},
			{Name: "given", Outcome: "central_pp_mmhg", Terms: []schema.Term{{Column: "age_years", Powers: []float64{2, -0.5}}}},
			{Name: "one", Outcome: "central_pp_mmhg", Terms: []schema.Term{{Column: "age_years", Form: schema.FractionalPolynomial, Degree: 1}}},
		}
	}))
	in := func(model string) cells { return cells{t, r.Regression, model} }
	in("spline").is("intercept", "estimate", g.number("ns_df4", "lm", "coef", 0))
	for k := range 4 {
		in("spline").is(fmt.Sprintf("age_years spline %d", k+1), "estimate", g.number("ns_df4", "lm", "coef", k+1))
	}
	// The curve from 45.5 on, at 30, from R's basis and coefficients.
	want := 0.0
	for k := range 4 {
		rows := func(i int) float64 {
			return g.number("ns_df4", "basis_new_incl_linear_extrapolation", "data_rowmajor", 4*i+k)
		}
		want += (rows(2) - rows(3)) * g.number("ns_df4", "lm", "coef", k+1)
	}
	f := r.Effects
	found := false
	for row := range f.N {
		if f.TextAt(row, "model") == "spline" && f.Number(row, "x") == 30 {
			found = true
			agree(t, "curve at 30", f.Number(row, "estimate"), want)
		}
	}
	if !found {
		t.Error("no point of the curve at 30 years")
	}
	best := -1
	for i := range 36 {
		if g.number("fp", "fp2", "p1", i) == -0.5 && g.number("fp", "fp2", "p2", i) == 2 {
			best = i
		}
	}
	for _, model := range []string{"chosen", "given"} {
		in(model).is("intercept", "estimate", g.number("fp", "fp2", "b0", best))
		in(model).is("(age_years/10)^-0.5", "estimate", g.number("fp", "fp2", "b1", best))
		in(model).is("(age_years/10)^2", "estimate", g.number("fp", "fp2", "b2", best))
	}
	in("one").is("(age_years/10)^2", "estimate", g.number("fp", "fp1", "b1", 6))
	if note := r.Regression.TextAt(in("chosen").row("(age_years/10)^2", "estimate"), "note"); !strings.Contains(note, "among 36") {
		t.Errorf("note %q", note)
	}
}

// R 4.2.2, quantreg 5.94: coefficients of the exact vertex and three kinds of
// error at three quantiles.
func TestQuantilesAgainstR(t *testing.T) {
	g := readGolden(t, "r03_quantreg")
	names := []string{"intercept", "age_years", "sex=male", "height_cm", "heart_rate_bpm", "brachial_map_mmhg"}
	terms := schema.PlainTerms("age_years", "sex", "height_cm", "heart_rate_bpm", "brachial_map_mmhg")
	for i, tau := range []float64{0.25, 0.5, 0.9} {
		position := []int{2, 3, 5}[i] // among the seven quantiles
		r := run(t, goldenCohort(t), model(schema.Model{Name: "q", Outcome: "central_pp_mmhg", Kind: schema.QuantileModel, Quantile: tau, Terms: terms}))
		c := cells{t, r.Regression, "q"}
		for j, name := range names {
			c.is(name, "estimate", g.number("br", position, "coef", j))
			c.is(name, "se_equal_density", g.number("se", i, "iid", j))
			c.is(name, "se_local_density", g.number("se", i, "nid", j))
			c.is(name, "se_kernel_density", g.number("se", i, "ker", j))
		}
		c.is("", "unique", 1)
	}
}

// The even number of women and of men leaves each median between two values.
func TestQuantileThatIsNotUniqueIsSaid(t *testing.T) {
	f := newTable()
	for i := range 40 {
		f.add(fmt.Sprint("s", i), "v1", "sex", []string{"female", "male"}[i%2], "height_cm", float64(150+i))
	}
	r := run(t, f, model(schema.Model{Name: "q", Outcome: "height_cm", Kind: schema.QuantileModel, Terms: schema.PlainTerms("sex")}))
	row := find(t, r.Regression, "term", "", "statistic", "unique", "variable", "height_cm")
	rank := find(t, r.Regression, "term", "", "statistic", "rank", "variable", "height_cm")
	if r.Regression.Number(row, "estimate") != 0 || !strings.Contains(r.Regression.TextAt(rank, "note"), "not_unique") {
		t.Errorf("unique %g, note %q", r.Regression.Number(row, "estimate"), r.Regression.TextAt(rank, "note"))
	}
}

// A fourfold table: the odds ratio is the cross product and the prevalence ratio
// the ratio of the shares, 30/50 and 20/80; their errors are those of Woolf 1955
// (sum of reciprocals) and of the log binomial ratio, 1/a − 1/n.
func TestRatiosOfAFourfoldTable(t *testing.T) {
	f := newTable(schema.Column{Name: "smoker", Kind: schema.Category, Levels: []string{"never", "current"}}, schema.Column{Name: "cough", Kind: schema.Category, Levels: schema.YesNo})
	add := func(n int, smoker, cough string, pp float64) {
		for range n {
			f.add(fmt.Sprint("s", f.N), "v1", "smoker", smoker, "cough", cough, "central_pp_mmhg", pp, "brachial_pp_mmhg", pp)
		}
	}
	add(30, "current", "yes", 55)
	add(20, "current", "no", 45)
	add(20, "never", "yes", 50)
	add(60, "never", "no", 49.9)
	f.add("u", "v1", "smoker", "never", "cough", "unknown")
	r := run(t, f, plan(func(a *schema.Analysis) {
		a.Models = []schema.Model{
			{Name: "odds", Outcome: "cough", Event: "yes", Kind: schema.LogisticModel, Errors: "classical", Terms: schema.PlainTerms("smoker")},
			{Name: "ratio", Outcome: "central_pp_mmhg", Kind: schema.PrevalenceRatio, Errors: "hc0", Terms: schema.PlainTerms("smoker")},
		}
	}))
	at := func(model, variable, term, statistic string) int {
		return find(t, r.Regression, "model", model, "variable", variable, "term", term, "statistic", statistic)
	}
	number := func(row int) float64 { return r.Regression.Number(row, "estimate") }
	agree(t, "odds ratio", number(at("odds", "cough", "smoker=current", "odds_ratio")), 30*60/(20*20.0))
	se := math.Sqrt(1.0/30 + 1.0/20 + 1.0/20 + 1.0/60)
	agree(t, "Woolf's error", number(at("odds", "cough", "smoker=current", "se_classical")), se)
	agree(t, "upper end", r.Regression.Number(at("odds", "cough", "smoker=current", "odds_ratio"), "high"), 4.5*math.Exp(1.959963984540054*se))
	if n := r.Regression.Number(at("odds", "cough", "", "events"), "estimate"); n != 50 {
		t.Errorf("%g events", n)
	}
	if n := number(at("odds", "cough", "cough", "missing")); n != 1 {
		t.Errorf("%g without an answer", n)
	}
	// 50 mmHg is the plan's threshold, with the bound inside; so it is for the twin.
	for _, variable := range []string{"central_pp_mmhg", "brachial_pp_mmhg"} {
		agree(t, "prevalence ratio", number(at("ratio", variable, "smoker=current", "prevalence_ratio")), 0.6/0.25)
		agree(t, "its error", number(at("ratio", variable, "smoker=current", "se_hc0")), math.Sqrt(1.0/30-1.0/50+1.0/20-1.0/80))
	}
	if note := r.Regression.TextAt(at("ratio", "brachial_pp_mmhg", "smoker=current", "prevalence_ratio"), "note"); !strings.Contains(note, "brachial_pp_mmhg is at least 50") {
		t.Errorf("note %q", note)
	}
}

// Nobody without the exposure has the outcome: no number with an error of 10⁶,
// but a missing estimate and a word.
func TestSeparationIsReported(t *testing.T) {
	f := invented(120)
	for row := range f.N {
		pp := 40.0
		if f.TextAt(row, "centre") == "south" && row%3 == 0 {
			pp = 60
		}
		f.SetNumber(row, "central_pp_mmhg", pp)
	}
	r := run(t, f, model(schema.Model{Name: "m", Outcome: "central_pp_mmhg", Kind: schema.LogisticModel, Terms: schema.PlainTerms("centre", "height_cm")}))
	row := find(t, r.Regression, "variable", "central_pp_mmhg", "term", "centre=south", "statistic", "odds_ratio")
	if e := r.Regression.Number(row, "estimate"); !math.IsNaN(e) || !strings.Contains(r.Regression.TextAt(row, "note"), "separation") {
		t.Errorf("odds ratio %g, note %q", e, r.Regression.TextAt(row, "note"))
	}
	rows := find(t, r.Regression, "variable", "central_pp_mmhg", "term", "", "statistic", "separated_rows")
	if n := r.Regression.Number(rows, "estimate"); !(n > 0) {
		t.Errorf("%g separated rows", n)
	}
	height := find(t, r.Regression, "variable", "central_pp_mmhg", "term", "height_cm", "statistic", "estimate")
	if math.IsNaN(r.Regression.Number(height, "low")) {
		t.Error("height lost its interval")
	}
}

// Six persons rated by four judges (Shrout and Fleiss 1979, Psychol Bull
// 86:420-8, table 2; BMS 11.2417, EMS 1.0194): in balanced data the restricted
// likelihood gives the analysis of variance, and with it ICC(3,1) = 0.7148.
func TestRandomInterceptsThroughTheTable(t *testing.T) {
	f := newTable(schema.Column{Name: "judge", Kind: schema.Text})
	for i, row := range [][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}} {
		for j, v := range row {
			f.add(fmt.Sprint("person ", i), fmt.Sprint("v", j), "judge", fmt.Sprint("judge ", j), "height_cm", v, "age_years", float64(50+j))
		}
	}
	r := run(t, f, plan(func(a *schema.Analysis) {
		a.Visit = "all"
		a.Models = []schema.Model{{Name: "m", Outcome: "height_cm", Kind: schema.RandomIntercept, Terms: schema.PlainTerms("judge")}}
	}))
	const bms, ems = 11.241666666666667, 1.0194444444444444
	for name, want := range map[string]float64{"variance_between": (bms - ems) / 4, "variance_within": ems, "icc": 0.7148407148407149, "clusters": 6} {
		row := find(t, r.Regression, "term", "", "statistic", name)
		agree(t, name, r.Regression.Number(row, "estimate"), want)
	}
	df := find(t, r.Regression, "term", "judge=judge 1", "statistic", "df")
	agree(t, "df", r.Regression.Number(df, "estimate"), 15)
}

// Persons of 40 to 59 years, each followed for two: the outcome rises by 3 a year
// within a person and by 1 between persons of different age. A term of both
// keeps them apart, whatever the errors.
func TestWithinAndBetweenPersons(t *testing.T) {
	f := newTable()
	for i := range 20 {
		mean := float64(40 + i)
		for v := range 3 {
			noise := 0.1 * float64((7*i+5*v)%11)
			f.add(fmt.Sprintf("s%02d", i), fmt.Sprint("v", v), "age_years", mean+float64(v-1), "height_cm", 100+mean+3*float64(v-1)+noise, "sex", "male")
		}
	}
	for _, kind := range []string{schema.LeastSquares, schema.RandomIntercept} {
		r := run(t, f, plan(func(a *schema.Analysis) {
			a.Visit = "all"
			a.Models = []schema.Model{{Name: "m", Outcome: "height_cm", Kind: kind, Terms: []schema.Term{{Column: "age_years", Form: schema.WithinBetween}}}}
		}))
		for name, want := range map[string]float64{"age_years within subject_id": 3, "age_years between subject_id": 1} {
			row := find(t, r.Regression, "term", name, "statistic", "estimate")
			if e := r.Regression.Number(row, "estimate"); math.Abs(e-want) > 0.05 {
				t.Errorf("%s, %s: %g", kind, name, e)
			}
		}
	}
}

// A model whose errors go by a column that a person lacks counts that person as
// missing; persons in two clusters are noted.
func TestClusters(t *testing.T) {
	f := invented(60)
	f.SetText(3, "centre", "")
	for row := range 30 {
		f.SetText(row+30, "subject_id", f.TextAt(row, "subject_id"))
		f.SetText(row+30, "visit_id", "v2")
	}
	r := run(t, f, plan(func(a *schema.Analysis) {
		a.Visit = "all"
		a.Models = []schema.Model{{Name: "m", Outcome: "height_cm", Cluster: "centre", Terms: schema.PlainTerms("age_years")}}
	}))
	row := find(t, r.Regression, "term", "age_years", "statistic", "se_cluster_cr2")
	if n, note := r.Regression.Number(row, "n"), r.Regression.TextAt(row, "note"); n != 59 || !strings.Contains(note, "fall into different clusters of centre") {
		t.Errorf("n %g, note %q", n, note)
	}
	missing := find(t, r.Regression, "term", "centre", "statistic", "missing")
	if n := r.Regression.Number(missing, "estimate"); n != 1 {
		t.Errorf("%g rows without a centre", n)
	}
}

// Reference levels, steps and origins change the coefficients as they should.
func TestFormsChangeTheScale(t *testing.T) {
	fifty := 50.0
	f := invented(150)
	r := run(t, f, plan(func(a *schema.Analysis) {
		a.Models = []schema.Model{
			{Name: "plain", Outcome: "height_cm", Terms: schema.PlainTerms("age_years", "centre")},
			{Name: "formed", Outcome: "height_cm", Terms: []schema.Term{{Column: "age_years", Form: schema.Centred, At: &fifty, Per: 10}, {Column: "centre", Reference: "south"}}},
		}
	}))
	value := func(model, term string) float64 {
		return r.Regression.Number(find(t, r.Regression, "model", model, "term", term, "statistic", "estimate"), "estimate")
	}
	agree(t, "per ten years", value("formed", "age_years"), 10*value("plain", "age_years"))
	agree(t, "the other way round", value("formed", "centre=north"), -value("plain", "centre=south"))
	agree(t, "at fifty, in the south", value("formed", "intercept"), value("plain", "intercept")+50*value("plain", "age_years")+value("plain", "centre=south"))
	unit := r.Regression.TextAt(find(t, r.Regression, "model", "formed", "term", "age_years", "statistic", "estimate"), "unit")
	if unit != "cm per 10 years" {
		t.Errorf("unit %q", unit)
	}
}
