package impute

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"tonocohort/stats/regress"
	"tonocohort/testdata"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) && got != want {
		t.Errorf("%s: %.17g, want %.17g", what, got, want)
	}
}

// pooledByR is what R 4.2.2, mice 3.15.0 wrote (testdata/golden/r06_mice.R).
type pooledByR struct {
	PerImputation []struct{ Coef, Var []float64 } `json:"per_imputation"`
	Pooled        map[string][]float64
	Scalar        map[string]float64 `json:"scalar_map_barnard_rubin"`
	OldDF         map[string]float64 `json:"scalar_map_old_df"`
	R2            struct {
		Data []float64 `json:"data_rowmajor"`
	} `json:"pooled_r2"`
}

func readGolden(t *testing.T) (g pooledByR) {
	t.Helper()
	text, err := os.ReadFile(testdata.Path(t, "golden/out/r06_rubin.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &g); err != nil {
		t.Fatal(err)
	}
	return g
}

// completed fits cpp on age, sex, bmi, heart rate and mean pressure in one
// completed copy.
func completed(t *testing.T, number int) *regress.Fit {
	t.Helper()
	file, err := os.Open(testdata.Path(t, fmt.Sprintf("golden/in/imputed_%d.csv", number)))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	columns := make([][]float64, len(rows[0]))
	for _, row := range rows[1:] {
		for k, field := range row {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				t.Fatal(err)
			}
			columns[k] = append(columns[k], v)
		}
	}
	f, err := regress.OLS(regress.Columns(true, rows[0][:5], columns[:5]), columns[5], nil)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestPoolAgainstR(t *testing.T) {
	g := readGolden(t)
	var fits []*regress.Fit
	var covariances []*regress.Covariance
	var r2 []float64
	for i := range 5 {
		f := completed(t, i+1)
		c, err := f.Covariance(regress.Classical)
		if err != nil {
			t.Fatal(err)
		}
		fits, covariances, r2 = append(fits, f), append(covariances, c), append(r2, f.R2)
	}
	for j, name := range fits[0].Names {
		var q, u []float64
		for i, f := range fits {
			near(t, name, f.Coefficients[j], g.PerImputation[i].Coef[j], 1e-9)
			near(t, name, covariances[i].Matrix[j][j], g.PerImputation[i].Var[j], 1e-9)
			q, u = append(q, f.Coefficients[j]), append(u, covariances[i].Matrix[j][j])
		}
		p, err := Pool(q, u, float64(fits[0].DF), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for stat, got := range map[string]float64{
			"estimate": p.Estimate, "se": p.SE, "t": p.T, "df_barnard_rubin": p.DF, "p": p.P, "lo": p.Low, "hi": p.High,
			"ubar": p.Within, "b": p.Between, "t_var": p.Total, "riv": p.RelativeIncrease, "lambda": p.Lambda, "fmi": p.FMI,
		} {
			near(t, name+" "+stat, got, g.Pooled[stat][j], 1e-9)
		}
		if name != "map" {
			continue
		}
		near(t, "scalar df", p.DF, g.Scalar["df"], 1e-9)
		if p, err = Pool(q, u, math.Inf(1), 0.95); err != nil {
			t.Fatal(err)
		}
		near(t, "df of large samples", p.DF, g.OldDF["df"], 1e-9)
		near(t, "fmi of large samples", p.FMI, g.OldDF["fmi"], 1e-9)
	}
	// mice takes 1.96 for the normal quantile.
	p, err := PoolR2(r2, fits[0].N, math.Erf(1.96/math.Sqrt2))
	if err != nil {
		t.Fatal(err)
	}
	for i, got := range []float64{p.Estimate, p.Low, p.High, p.FMI} {
		near(t, "pooled R2", got, g.R2.Data[i], 1e-9)
	}
}

// A worked set of five, R 4.2.2, mice 3.15.0 (pool.scalar, n = 200, k = 6).
func TestPoolWorkedExample(t *testing.T) {
	q, u := []float64{42.1, 43.0, 41.5, 44.2, 42.7}, []float64{4.0, 4.2, 3.9, 4.4, 4.1}
	p, err := Pool(q, u, 194, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for name, pair := range map[string][2]float64{
		"mean": {p.Estimate, 42.7}, "within": {p.Within, 4.12}, "between": {p.Between, 1.035}, "total": {p.Total, 5.362},
		"relative increase": {p.RelativeIncrease, 0.301456310679612}, "lambda": {p.Lambda, 0.231629988810146},
		"df": {p.DF, 49.52835110196344}, "fmi": {p.FMI, 0.260885428780015},
		"low": {p.Low, 38.0478843412506}, "high": {p.High, 47.3521156587494},
	} {
		near(t, name, pair[0], pair[1], 1e-12)
	}
	p, err = Pool(q, u, math.Inf(1), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "df 1987", p.DF, 74.5539089464033, 1e-12)
	near(t, "fmi", p.FMI, 0.251445108940863, 1e-12)
}

// Estimates that agree: the degrees of freedom of the observed data, infinite
// only when the complete-data ones are, and no missing information.
func TestPoolWithoutSpread(t *testing.T) {
	same := []float64{2, 2, 2}
	p, err := Pool(same, []float64{1, 1, 1}, 194, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "df", p.DF, 194*195.0/197, 1e-14) // Barnard and Rubin 1999, their ν_obs at λ = 0
	if p.FMI != 0 || p.SE != 1 || math.IsNaN(p.P) {
		t.Errorf("%+v", p)
	}
	p, err = Pool(same, []float64{1, 1, 1}, math.Inf(1), 0.95)
	if err != nil || !math.IsInf(p.DF, 1) {
		t.Errorf("%+v, %v", p, err)
	}
	near(t, "normal interval", p.High, 2+1.959963984540054, 1e-14)
}

func TestPoolRefusals(t *testing.T) {
	for name, err := range map[string]error{
		"one imputation":    second(Pool([]float64{1}, []float64{1}, 10, 0.95)),
		"lengths":           second(Pool([]float64{1, 2}, []float64{1}, 10, 0.95)),
		"missing estimate":  second(Pool([]float64{1, math.NaN()}, []float64{1, 1}, 10, 0.95)),
		"negative variance": second(Pool([]float64{1, 2}, []float64{1, -1}, 10, 0.95)),
		"no freedom":        second(Pool([]float64{1, 2}, []float64{1, 1}, 0, 0.95)),
		"no variance":       second(Pool([]float64{1, 1}, []float64{0, 0}, 10, 0.95)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func second(_ Pooled, err error) error { return err }

// One coefficient: the joint statistic is the square of the pooled t. Agreeing
// imputations: Wald's test with the mean covariance.
func TestJointTest(t *testing.T) {
	q, u := []float64{42.1, 43.0, 41.5, 44.2, 42.7}, []float64{4.0, 4.2, 3.9, 4.4, 4.1}
	var estimates [][]float64
	var covariances [][][]float64
	for i := range q {
		estimates = append(estimates, []float64{q[i]})
		covariances = append(covariances, [][]float64{{u[i]}})
	}
	got, err := Joint(estimates, covariances)
	if err != nil {
		t.Fatal(err)
	}
	p, err := Pool(q, u, math.Inf(1), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "F", got.F, p.T*p.T, 1e-13)
	near(t, "relative increase", got.RelativeIncrease, p.RelativeIncrease, 1e-13)
	// ν = t(1 + 1/k)(1 + 1/r)²/2 with t = 4, k = 1.
	near(t, "df", got.DF2, 4*math.Pow(1+1/got.RelativeIncrease, 2), 1e-13)

	v := [][]float64{{2, 0.5}, {0.5, 1}}
	got, err = Joint([][]float64{{3, 1}, {3, 1}}, [][][]float64{v, v})
	if err != nil {
		t.Fatal(err)
	}
	chi := (9*1 - 2*3*1*0.5 + 1*2) / (2*1 - 0.25)
	near(t, "F of agreeing imputations", got.F, chi/2, 1e-13)
	near(t, "P", got.P, math.Exp(-chi/2), 1e-12) // chi-square with two degrees of freedom
	mean, total, err := PoolCovariance([][]float64{{3, 1}, {3, 1}}, [][][]float64{v, v})
	if err != nil || mean[0] != 3 || total[0][1] != 0.5 {
		t.Errorf("%v %v %v", mean, total, err)
	}
}
