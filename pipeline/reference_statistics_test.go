package pipeline_test

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The plans as a study would write them, each on a table of people that no
// recording stands behind; R's numbers are those of R 4.2.2 with sandwich and
// survey 4.1-1 (National Health and Nutrition Examination Survey, public domain;
// Western Collaborative Group Study, data set wcgs of the R package epitools).
const nhanesPlan = `
age: {bands: [18, 30, 40, 50, 60, 70]}
sets: {all: [], women: [{sex: [female]}], men: [{sex: [male]}]}
strata: [sex, age_band]
quantile_type: 7
variables: [brachial_sbp_mmhg, brachial_dbp_mmhg, brachial_pp_mmhg, heart_rate_bpm, height_cm]
threshold: {}
compare_with: []
models:
  - {name: adjusted, outcome: brachial_pp_mmhg, errors: classical, terms: [age_years, sex, height_cm, heart_rate_bpm, brachial_dbp_mmhg]}
  - {name: adjusted hc1, extends: adjusted, errors: hc1}
  - name: crossing
    outcome: brachial_sbp_mmhg
    errors: classical
    terms: [{column: age_years, degree: 2}, sex, {interaction: [sex, {column: age_years, form: linear}]}]
  - {name: crossing hc1, extends: crossing, errors: hc1}
  - {name: women, set: women, outcome: brachial_pp_mmhg, errors: classical, terms: [age_years, height_cm]}
  - {name: women hc1, extends: women, errors: hc1}
  - {name: men, extends: women, set: men}
  - {name: men hc1, extends: men, errors: hc1}
  - {name: pulse, outcome: heart_rate_bpm, errors: classical, terms: [sex]}
  - {name: bands, outcome: brachial_pp_mmhg, errors: classical, terms: [age_band]}
  - {name: age, outcome: brachial_pp_mmhg, errors: classical, terms: [age_years]}
  - {name: hypertension, outcome: hypertension, event: "yes", kind: logistic, errors: classical, terms: [age_years, sex]}
`

const wcgsPlan = `
variables: [brachial_pp_mmhg]
threshold: {}
compare_with: []
models:
  - {name: smoking, outcome: brachial_pp_mmhg, errors: classical, terms: [age_years, height_cm, weight_kg, cigarettes_per_day]}
  - {name: smoking hc1, extends: smoking, errors: hc1}
`

const surveyPlan = `
age: {bands: [18, 40, 60]}
sets: {not_pregnant: [{pregnant: ["no"]}]}
strata: [sex, age_band]
variables: [hypertension]
threshold: {}
compare_with: []
models: []
weights: {column: sampling_weight, kind: sampling, stratum: stratum, cluster: cluster, single_psu: centred}
`

const weightedPlan = `
strata: []
variables: [brachial_sbp_mmhg]
threshold: {}
compare_with: []
models: []
weights: {column: sampling_weight, kind: sampling, single_psu: centred}
`

// Kinds of statistics that no table of ours has, and why.
var notOurs = map[string]string{
	"chi2":                "no table of two columns with a test; a proportion has its Wilson interval, an odds ratio its model",
	"mann_whitney":        "no rank test: groups are compared by means, quantiles and models with their intervals",
	"kruskal":             "no rank test",
	"cor_spearman":        "no rank correlation",
	"cor_kendall":         "no rank correlation",
	"shapiro":             "no test of normality decides on anything; the Q-tests judge centiles",
	"p_adjust_bonferroni": "no P value is adjusted: the plan is declared before the data are seen",
	"p_adjust_holm":       "no P value is adjusted",
	"p_adjust_BH":         "no P value is adjusted",
	"p_adjust_BY":         "no P value is adjusted",
}

type rKey struct{ dataset, analysis, term, stat string }

// ledger holds our numbers beside R's.
type ledger struct {
	t   *testing.T
	got map[rKey]float64
}

func (l ledger) set(dataset, analysis, term, stat string, v float64) {
	l.got[rKey{dataset, analysis, term, stat}] = v
}

// Every statistic that R computed on the three data sets: how many we have, to
// how many digits, and which not. Ours stand in the tables, but for a t that is an
// estimate over its error and for Welch's test, which has no row of its own.
func TestReferenceStatistics(t *testing.T) {
	adults, wcgs := externalRows(t, "data/cohort_tables/ref/nhanes_2021_2023_adults.csv", ','), externalRows(t, "data/cohort_tables/wcgs.csv", ',')
	l := ledger{t, map[rKey]float64{}}
	l.nhanes(adults)
	l.welch(adults)
	l.readings(adults)
	l.smoking(wcgs)
	l.survey()
	type bin struct{ exact, nine, six, four int }
	counted, missing := map[string]bin{}, map[string]int{}
	total, compared := 0, 0
	for _, row := range externalRows(t, "data/cohort_tables/ref/r_reference_statistics.csv", ',') {
		k := rKey{row["dataset"], row["analysis"], row["term"], row["stat"]}
		want, err := strconv.ParseFloat(row["value"], 64)
		if err != nil {
			t.Fatal(err)
		}
		total++
		kind := row["analysis"]
		got, have := l.got[k]
		if !have {
			missing[kind+" "+map[bool]string{true: row["stat"]}[notOurs[kind] == ""]]++
			continue
		}
		compared++
		digits := -math.Log10(math.Abs(got-want) / math.Abs(want))
		if got == want {
			digits = 16
		}
		b := counted[strings.Split(kind, "_")[0]]
		switch {
		case digits >= 12:
			b.exact++
		case digits >= 9:
			b.nine++
		case digits >= 6:
			b.six++
		default:
			b.four++
		}
		counted[strings.Split(kind, "_")[0]] = b
		if digits < leastDigits(k) {
			t.Errorf("%v: %.17g, R has %.17g (%.1f digits)", k, got, want, digits)
		}
	}
	for _, kind := range sorted(counted) {
		b := counted[kind]
		t.Logf("%-12s %3d to 12 digits, %3d to 9, %2d to 6, %2d to 4 and fewer", kind, b.exact, b.nine, b.six, b.four)
	}
	for _, kind := range sorted(missing) {
		name, stat, _ := strings.Cut(kind, " ")
		why := notOurs[name]
		if why == "" {
			why = "no row for " + stat
		}
		t.Logf("%2d not compared: %s: %s", missing[kind], name, why)
	}
	t.Logf("%d of %d statistics compared", compared, total)
	if total != 773 || compared != 735 {
		t.Errorf("%d of %d statistics compared, want 735 of 773", compared, total)
	}
}

// leastDigits is 9, but where R's own number is less exact: its logistic
// iteration stops at a relative change of the deviance of 1e-8 and its errors are
// those of the step before, which P values far from one carry enlarged; and it
// multiplied the spread of differences by 1.96.
func leastDigits(k rKey) float64 {
	switch {
	case strings.HasPrefix(k.analysis, "logit") && k.stat == "p":
		return 3
	case strings.HasPrefix(k.analysis, "logit"):
		return 6
	case k.stat == "loa_lo" || k.stat == "loa_hi":
		return 4
	}
	return 9
}

func sorted[V any](m map[string]V) []string {
	names := make([]string, 0, len(m))
	for name := range m {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
