package pipeline_test

import (
	"compress/gzip"
	"encoding/csv"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"tonocohort/pipeline/study"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/testdata"
)

// externalRows reads a table of the outside recordings, packed or not, by the
// names in its header, or skips.
func externalRows(t *testing.T, name string, comma rune) []map[string]string {
	t.Helper()
	file, err := os.Open(testdata.External(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var from io.Reader = file
	if strings.HasSuffix(name, ".gz") {
		if from, err = gzip.NewReader(file); err != nil {
			t.Fatal(err)
		}
	}
	reader := csv.NewReader(from)
	reader.Comma = comma
	lines, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	rows := make([]map[string]string, len(lines)-1)
	for i, line := range lines[1:] {
		rows[i] = make(map[string]string, len(line))
		for k, cell := range line {
			rows[i][lines[0][k]] = cell
		}
	}
	return rows
}

// numberIn is a cell's number, NaN where there is none.
func numberIn(row map[string]string, name string) float64 {
	v, err := strconv.ParseFloat(row[name], 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

// people is a table of persons with columns that a study might declare.
func people(extra ...schema.Column) *schema.Frame {
	carried := append([]schema.Column{{Name: "sex", Kind: schema.Category, Levels: []string{"female", "male"}},
		{Name: "age_years", Kind: schema.Number, Unit: "years"}, {Name: "height_cm", Kind: schema.Number, Unit: "cm"}}, extra...)
	return schema.NewFrame(schema.SubjectVisitsTable(carried), 0)
}

func addPerson(f *schema.Frame, id, sex string, numbers map[string]float64) int {
	row := f.AddRow()
	for name, text := range map[string]string{"subject_id": id, "visit_id": "v1", "status": "used", "sex": sex} {
		f.SetText(row, name, text)
	}
	for name, v := range numbers {
		f.SetNumber(row, name, v)
	}
	return row
}

// tables carries out a plan, as text, on a table of persons.
func (l ledger) tables(f *schema.Frame, text string) tabulate.Results {
	l.t.Helper()
	plan := study.LoadAnalysis([]byte(text), "plan.yaml", f.Table.Columns, study.Options{})
	if schema.AnyStructural(plan.Issues) {
		l.t.Fatal(plan.Issues)
	}
	settings := schema.DefaultSettings()
	settings.Analysis = plan.Analysis
	r := tabulate.Tables(f, settings, "plan.yaml", plan.Section)
	if schema.AnyStructural(r.Issues) {
		l.t.Fatal(r.Issues)
	}
	return r
}

// cell finds the only row with the given cells: name, text, ….
func (l ledger) cell(f *schema.Frame, cells ...string) int {
	l.t.Helper()
	found := -1
	for row := range f.N {
		fits := true
		for i := 0; i < len(cells) && fits; i += 2 {
			fits = f.TextAt(row, cells[i]) == cells[i+1]
		}
		if fits && found >= 0 {
			l.t.Fatalf("two rows of %s with %v", f.Table.Name, cells)
		}
		if fits {
			found = row
		}
	}
	if found < 0 {
		l.t.Fatalf("no row of %s with %v", f.Table.Name, cells)
	}
	return found
}

// ofModel enters a least-squares model and its twin with HC1 errors; terms are
// ours by R's names.
func (l ledger) ofModel(f *schema.Frame, dataset, analysis, model string, terms map[string]string) {
	value := func(model, term, statistic string) float64 {
		return f.Number(l.cell(f, "model", model, "term", term, "statistic", statistic), "estimate")
	}
	terms["(Intercept)"] = "intercept"
	for theirs, ours := range terms {
		row := l.cell(f, "model", model, "term", ours, "statistic", "estimate")
		estimate, se := f.Number(row, "estimate"), value(model, ours, "se_classical")
		for stat, v := range map[string]float64{"beta": estimate, "ci_lo": f.Number(row, "low"), "ci_hi": f.Number(row, "high"), "se": se, "t": estimate / se,
			"p": value(model, ours, "p_value"), "se_hc3": value(model, ours, "se_hc3"), "se_hc1": value(model+" hc1", ours, "se_hc1")} {
			l.set(dataset, analysis, theirs, stat, v)
		}
	}
	for stat, ours := range map[string]string{"r2": "r_squared", "adj_r2": "r_squared_adjusted", "sigma": "residual_sd", "F": "model_f", "aic": "aic"} {
		l.set(dataset, analysis, "(model)", stat, value(model, "", ours))
	}
	l.set(dataset, analysis, "(model)", "n", f.Number(l.cell(f, "model", model, "term", "", "statistic", "r_squared"), "n"))
}

func (l ledger) nhanes(rows []map[string]string) {
	const set = "nhanes_2021_2023_adults"
	f := people(schema.Column{Name: "hypertension", Kind: schema.Category, Levels: schema.YesNo}, schema.Column{Name: "sampling_weight", Kind: schema.Number})
	for _, r := range rows {
		sbp, dbp := numberIn(r, "sbp"), numberIn(r, "dbp")
		row := addPerson(f, r["SEQN"], strings.ToLower(r["Sex"]), map[string]float64{"age_years": numberIn(r, "Age"), "height_cm": numberIn(r, "HeightCm"),
			"brachial_sbp_mmhg": sbp, "brachial_dbp_mmhg": dbp, "brachial_pp_mmhg": numberIn(r, "pp"), "heart_rate_bpm": numberIn(r, "pulse"), "sampling_weight": numberIn(r, "SamplingWeight")})
		f.SetText(row, "hypertension", map[bool]string{true: "yes", false: "no"}[sbp >= 130 || dbp >= 80])
	}
	r := l.tables(f, nhanesPlan)
	l.strata(set, r.Summary)
	m := r.Regression
	l.ofModel(m, set, "ols_pp~Age+SexMale+HeightCm+pulse+dbp", "adjusted", map[string]string{"Age": "age_years", "SexMale": "sex=male", "HeightCm": "height_cm", "pulse": "heart_rate_bpm", "dbp": "brachial_dbp_mmhg"})
	l.ofModel(m, set, "ols_sbp~Age*SexMale+I(Age^2)", "crossing", map[string]string{"Age": "age_years", "SexMale": "sex=male", "I(Age^2)": "age_years^2", "Age:SexMale": "sex=male:age_years"})
	l.ofModel(m, set, "ols_pp~Age+HeightCm|Female", "women", map[string]string{"Age": "age_years", "HeightCm": "height_cm"})
	l.ofModel(m, set, "ols_pp~Age+HeightCm|Male", "men", map[string]string{"Age": "age_years", "HeightCm": "height_cm"})
	at := func(model, term, statistic string) float64 {
		return m.Number(l.cell(m, "model", model, "term", term, "statistic", statistic), "estimate")
	}
	for theirs, ours := range map[string]string{"(Intercept)": "intercept", "Age": "age_years", "SexMale": "sex=male"} {
		for stat, name := range map[string]string{"beta": "estimate", "se": "se_classical", "p": "p_value"} {
			l.set(set, "logit_htn~Age+SexMale", theirs, stat, at("hypertension", ours, name))
		}
	}
	// Student's t, the analysis of variance and Pearson's r are models of one term.
	l.set(set, "student_t", "pulse~Sex", "t", -at("pulse", "sex=male", "estimate")/at("pulse", "sex=male", "se_classical")) // women less men
	l.set(set, "student_t", "pulse~Sex", "p", at("pulse", "sex=male", "p_value"))
	for stat, name := range map[string]string{"F": "model_f", "p": "model_p", "eta2": "r_squared"} {
		l.set(set, "anova1", "pp~ageband", stat, at("bands", "", name))
	}
	l.set(set, "cor_pearson", "Age,pp", "r", at("age", "age_years", "standardised"))
	l.set(set, "cor_pearson", "Age,pp", "p", at("age", "age_years", "p_value"))
	weighted := l.tables(f, weightedPlan).Summary
	l.set(set, "weighted_mean", "sbp", "mean", weighted.Number(l.cell(weighted, "set", "all", "variable", "brachial_sbp_mmhg", "statistic", "mean"), "estimate"))
}

// strata enters the summary by sex and age.
func (l ledger) strata(set string, f *schema.Frame) {
	names := map[string]string{"brachial_sbp_mmhg": "sbp", "brachial_dbp_mmhg": "dbp", "brachial_pp_mmhg": "pp", "heart_rate_bpm": "pulse", "height_cm": "HeightCm"}
	stats := map[string]string{"sd": "sd", "p25": "q25_type7", "median": "median", "p75": "q75_type7"}
	for row := range f.N {
		sex, band, statistic := f.TextAt(row, "sex"), f.TextAt(row, "age_band"), f.TextAt(row, "statistic")
		short := names[f.TextAt(row, "variable")]
		switch {
		case f.TextAt(row, "set") != "all":
		case sex == "all" && band == "all":
			if short == "sbp" && statistic == "mean" {
				l.set(set, "n", "all", "n", f.Number(row, "n"))
			}
		case statistic == "mean":
			term := strings.ToUpper(sex[:1]) + sex[1:] + "|" + band
			for stat, v := range map[string]float64{"n": f.Number(row, "n"), "mean": f.Number(row, "estimate"), "ci_lo": f.Number(row, "low"), "ci_hi": f.Number(row, "high")} {
				l.set(set, "stratum", term, short+"_"+stat, v)
			}
		case stats[statistic] != "":
			l.set(set, "stratum", strings.ToUpper(sex[:1])+sex[1:]+"|"+band, short+"_"+stats[statistic], f.Number(row, "estimate"))
		}
	}
}

// welch is the comparison of two samples by mean, SD and n that stands behind
// every difference from a published mean.
func (l ledger) welch(rows []map[string]string) {
	const set = "nhanes_2021_2023_adults"
	by := map[string][]float64{} // pulse pressure by sex, and by sex and band
	for _, r := range rows {
		by[r["Sex"]] = append(by[r["Sex"]], numberIn(r, "pp"))
		by[r["Sex"]+r["ageband"]] = append(by[r["Sex"]+r["ageband"]], numberIn(r, "pp"))
	}
	d := stats.WelchDifference(stats.Describe(by["Female"]), stats.Describe(by["Male"]), 0.95)
	for stat, v := range map[string]float64{"t": d.T, "df": d.Degrees, "p": d.P, "diff_ci_lo": d.Low, "diff_ci_hi": d.High} {
		l.set(set, "welch_t", "pp~Sex", stat, v)
	}
	for _, band := range []string{"18-29", "30-39", "40-49", "50-59", "60-69", "70+"} {
		l.set(set, "welch_p_by_ageband", band, "p", stats.WelchDifference(stats.Describe(by["Female"+band]), stats.Describe(by["Male"+band]), 0.95).P)
	}
}

// readings are the three cuff readings of the adults through the table of
// agreement, where a difference is the second less the first.
func (l ledger) readings(adults []map[string]string) {
	const set = "nhanes_2021_2023_adults"
	member := map[string]bool{}
	for _, r := range adults {
		member[r["SEQN"]] = true
	}
	m := tabulate.Measured{Visits: people()}
	for _, need := range m.Needs() {
		*need.Into = schema.NewFrame(need.Table, 0)
	}
	for _, r := range externalRows(l.t, "data/cohort_tables/nhanes_2021_2023.tsv", '\t') {
		if !member[r["SEQN"]] {
			continue
		}
		addPerson(m.Visits, r["SEQN"], "", map[string]float64{"age_years": numberIn(r, "Age")})
		for _, k := range []string{"1", "2", "3"} {
			if v := numberIn(r, "SysBP"+k); !math.IsNaN(v) {
				row := m.Readings.AddRow()
				m.Readings.SetText(row, "subject_id", r["SEQN"])
				m.Readings.SetText(row, "visit_id", "v1")
				m.Readings.SetNumber(row, "reading", numberIn(map[string]string{"k": k}, "k"))
				m.Readings.SetNumber(row, "sbp_mmhg", v)
			}
		}
	}
	f := tabulate.Agreement(m, schema.DefaultAnalysis())
	at := func(statistic string) int {
		return l.cell(f, "comparison", "cuff_readings", "variable", "brachial_sbp_mmhg", "statistic", statistic)
	}
	value := func(statistic string) float64 { return f.Number(at(statistic), "estimate") }
	bias, sd := -value("bias"), value("sd_of_differences")
	for stat, v := range map[string]float64{"bias": bias, "sd": sd, "loa_lo": -value("upper_limit"), "loa_hi": -value("lower_limit")} {
		l.set(set, "bland_altman", "SysBP1-SysBP2", stat, v)
	}
	n := f.Number(at("bias"), "n")
	l.set(set, "paired_t", "SysBP1,SysBP2", "t", bias/sd*math.Sqrt(n))
	l.set(set, "paired_t", "SysBP1,SysBP2", "p", stats.StudentTail(bias/sd*math.Sqrt(n), n-1))
	l.set(set, "icc", "SysBP1..3", "ICC2_1", value("icc_2_1"))
	l.set(set, "icc", "SysBP1..3", "ICC3_1", value("icc_3_1"))
}

func (l ledger) smoking(rows []map[string]string) {
	f := people(schema.Column{Name: "cigarettes_per_day", Kind: schema.Integer, Unit: "1/day"}, schema.Column{Name: "weight_kg", Kind: schema.Number, Unit: "kg"})
	for _, r := range rows {
		addPerson(f, r["id"], "male", map[string]float64{"age_years": numberIn(r, "age0"), "height_cm": numberIn(r, "height0") * 2.54, "weight_kg": numberIn(r, "weight0") * 0.45359237,
			"cigarettes_per_day": numberIn(r, "ncigs0"), "brachial_pp_mmhg": numberIn(r, "sbp0") - numberIn(r, "dbp0")})
	}
	l.ofModel(l.tables(f, wcgsPlan).Regression, "wcgs", "ols_pp~age0+height_cm+weight_kg+ncigs0", "smoking",
		map[string]string{"age0": "age_years", "height_cm": "height_cm", "weight_kg": "weight_kg", "ncigs0": "cigarettes_per_day"})
}

// survey is the prevalence of hypertension by the design of NHANES 2015-2016; its
// error is taken back from the interval, which is on the scale of log odds with 15
// degrees of freedom (2.131449545559323, R's qt).
func (l ledger) survey() {
	f := people(schema.Column{Name: "sampling_weight", Kind: schema.Number}, schema.Column{Name: "stratum", Kind: schema.Text}, schema.Column{Name: "cluster", Kind: schema.Text},
		schema.Column{Name: "pregnant", Kind: schema.Category, Levels: schema.YesNo}, schema.Column{Name: "hypertension", Kind: schema.Category, Levels: []string{"No", "Yes"}})
	for _, r := range externalRows(l.t, "data/cohort_tables/nhanes_1999_2020_bp.csv.gz", ',') {
		if r["svy_year"] != "2015-2016" {
			continue
		}
		row := addPerson(f, r["svy_id"], map[string]string{"Men": "male", "Women": "female"}[r["demo_gender"]], map[string]float64{"age_years": numberIn(r, "demo_age_years"), "sampling_weight": numberIn(r, "svy_weight_mec")})
		f.SetText(row, "stratum", r["svy_strata"])
		f.SetText(row, "cluster", r["svy_psu"])
		f.SetText(row, "pregnant", map[bool]string{true: "yes", false: "no"}[r["demo_pregnant"] == "Yes"])
		if htn := r["htn_jnc7"]; htn != "NA" {
			f.SetText(row, "hypertension", htn)
		}
	}
	summary := l.tables(f, surveyPlan).Summary
	odds := func(p float64) float64 { return math.Log(p / (1 - p)) }
	for sex, theirs := range map[string]string{"male": "Men", "female": "Women"} {
		for _, band := range []string{"18-39", "40-59", "60+"} {
			row := l.cell(summary, "set", "not_pregnant", "variable", "hypertension", "sex", sex, "age_band", band, "statistic", "proportion_Yes")
			p := summary.Number(row, "estimate")
			l.set("nhanes_2015_2016", "svymean_htn_jnc7", theirs+"|"+band, "mean", p)
			l.set("nhanes_2015_2016", "svymean_htn_jnc7", theirs+"|"+band, "se", (odds(summary.Number(row, "high"))-odds(summary.Number(row, "low")))/2/2.131449545559323*p*(1-p))
		}
	}
}
