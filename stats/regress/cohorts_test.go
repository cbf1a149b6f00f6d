package regress

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"tonocohort/testdata"
)

// externalTable reads a table of the outside recordings, or skips.
func externalTable(t testing.TB, name string) table {
	t.Helper()
	file, err := os.Open(testdata.External(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := table{}
	for k, name := range rows[0] {
		for _, row := range rows[1:] {
			out[name] = append(out[name], row[k])
		}
	}
	return out
}

// referenceStatistics are R 4.2.2's numbers for the tables, by data set,
// analysis, term and statistic.
func referenceStatistics(t testing.TB) map[string]float64 {
	c := externalTable(t, "data/cohort_tables/ref/r_reference_statistics.csv")
	out := map[string]float64{}
	for i := range c["value"] {
		if v, err := strconv.ParseFloat(c["value"][i], 64); err == nil {
			out[c["analysis"][i]+"|"+c["term"][i]+"|"+c["stat"][i]] = v
		}
	}
	return out
}

// compareModel checks every statistic of a least-squares model.
func compareModel(t *testing.T, want map[string]float64, analysis string, terms []string, f *Fit) {
	t.Helper()
	const digits = 1e-9
	classical, hc1, hc3 := mustCovariance(t, f, Classical), mustCovariance(t, f, HC1).SE(), mustCovariance(t, f, HC3).SE()
	for j, row := range f.CoefficientTable(classical, 0.95) {
		for stat, got := range map[string]float64{"beta": row.Estimate, "se": row.SE, "t": row.T, "p": row.P, "ci_lo": row.Low, "ci_hi": row.High, "se_hc1": hc1[j], "se_hc3": hc3[j]} {
			key := analysis + "|" + terms[j] + "|" + stat
			value, present := want[key]
			if !present {
				t.Errorf("no reference for %s", key)
				continue
			}
			same(t, key, []float64{got}, []float64{value}, digits, 1e-300)
		}
	}
	for stat, got := range map[string]float64{"r2": f.R2, "adj_r2": f.R2Adjusted, "sigma": f.ResidualSD, "F": f.F, "n": float64(f.N)} {
		key := analysis + "|(model)|" + stat
		near(t, key, got, want[key], digits)
	}
}

// NHANES 2021–2023, adults: pulse pressure and systolic pressure on age, sex,
// height, pulse rate and diastolic pressure; R 4.2.2 with sandwich.
func TestNHANESModelsAgainstR(t *testing.T) {
	want := referenceStatistics(t)
	c := externalTable(t, "data/cohort_tables/ref/nhanes_2021_2023_adults.csv")
	age, male, height := c.numbers("Age"), c.indicator("Sex", "Male"), c.numbers("HeightCm")
	full := Columns(true, []string{"Age", "SexMale", "HeightCm", "pulse", "dbp"}, [][]float64{age, male, height, c.numbers("pulse"), c.numbers("dbp")})
	compareModel(t, want, "ols_pp~Age+SexMale+HeightCm+pulse+dbp", []string{"(Intercept)", "Age", "SexMale", "HeightCm", "pulse", "dbp"}, mustOLS(t, full, c.numbers("pp"), nil))

	product := make([]float64, len(age))
	for i := range age {
		product[i] = age[i] * male[i]
	}
	d := NewDesign(true)
	d.AddPolynomial("Age", age, 2)
	d.Add("SexMale", male)
	d.Add("Age:SexMale", product)
	compareModel(t, want, "ols_sbp~Age*SexMale+I(Age^2)", []string{"(Intercept)", "Age", "I(Age^2)", "SexMale", "Age:SexMale"}, mustOLS(t, d, c.numbers("sbp"), nil))

	for sex, is := range map[string]float64{"Male": 1, "Female": 0} {
		var x, h, y []float64
		for i, v := range c.numbers("pp") {
			if male[i] == is {
				x, h, y = append(x, age[i]), append(h, height[i]), append(y, v)
			}
		}
		compareModel(t, want, "ols_pp~Age+HeightCm|"+sex, []string{"(Intercept)", "Age", "HeightCm"}, mustOLS(t, Columns(true, nil, [][]float64{x, h}), y, nil))
	}
}

// NHANES 2021–2023: hypertension (130/80 mmHg) on age and sex, R 4.2.2. R stops
// its iteration at a relative change of the deviance of 1e-8 and takes the weights
// of the step before, which its errors show in the seventh digit.
func TestNHANESLogisticAgainstR(t *testing.T) {
	want := referenceStatistics(t)
	c := externalTable(t, "data/cohort_tables/ref/nhanes_2021_2023_adults.csv")
	systolic, diastolic := c.numbers("sbp"), c.numbers("dbp")
	y := make([]float64, len(systolic))
	for i := range y {
		if systolic[i] >= 130 || diastolic[i] >= 80 {
			y[i] = 1
		}
	}
	f, err := Logistic(Columns(true, []string{"Age", "SexMale"}, [][]float64{c.numbers("Age"), c.indicator("Sex", "Male")}), y, nil)
	if err != nil {
		t.Fatal(err)
	}
	covariance, err := f.Covariance(Information)
	if err != nil {
		t.Fatal(err)
	}
	terms := []string{"(Intercept)", "Age", "SexMale"}
	for j, row := range f.CoefficientTable(covariance, 0.95) {
		key := "logit_htn~Age+SexMale|" + terms[j] + "|"
		near(t, key+"beta", row.Estimate, want[key+"beta"], 1e-8)
		near(t, key+"se", row.SE, want[key+"se"], 1e-6)
		near(t, key+"p", row.P, want[key+"p"], 1e-3)
	}
}

// Western Collaborative Group Study, 3154 men: pulse pressure on age, height,
// weight and cigarettes; R 4.2.2 with sandwich.
func TestWCGSModelAgainstR(t *testing.T) {
	want := referenceStatistics(t)
	c := externalTable(t, "data/cohort_tables/wcgs.csv")
	height, weight, y := c.numbers("height0"), c.numbers("weight0"), c.numbers("sbp0")
	for i, low := range c.numbers("dbp0") {
		height[i] *= 2.54
		weight[i] *= 0.45359237
		y[i] -= low
	}
	f := mustOLS(t, Columns(true, nil, [][]float64{c.numbers("age0"), height, weight, c.numbers("ncigs0")}), y, nil)
	compareModel(t, want, "ols_pp~age0+height_cm+weight_kg+ncigs0", []string{"(Intercept)", "age0", "height_cm", "weight_kg", "ncigs0"}, f)
}
