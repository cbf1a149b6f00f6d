package regress

import (
	"math"
	"strconv"
	"testing"
)

// sites returns the column site as numbers.
func sites(t testing.TB, c table) []int {
	out := make([]int, len(c["site"]))
	for i, text := range c["site"] {
		v, err := strconv.Atoi(text)
		if err != nil {
			t.Fatal(err)
		}
		out[i] = v
	}
	return out
}

// R 4.2.2 with sandwich 3.0-2 and clubSandwich 0.5.8.
func TestClusterErrorsAgainstR(t *testing.T) {
	g := readGolden(t, "r01_linear").at("cluster_site")
	cohort := readTable(t, "golden/in/cohort.csv")
	f := mustOLS(t, goldenDesign(cohort, true), cohort.numbers("cpp"), nil)
	for kind, name := range map[string]string{CR0: "CR0", CR1: "vcovCL_HC1_stata", CR2: "CR2_satterthwaite"} {
		c, err := f.ClusterCovariance(kind, sites(t, cohort))
		if err != nil {
			t.Fatal(err)
		}
		same(t, kind, c.SE(), g.at(name, "se").numbers(), goldenTolerance, 0)
		if kind != CR2 {
			if want := g.at("n_clusters").number() - 1; c.DF[0] != want {
				t.Errorf("%s: %g degrees of freedom, want %g", kind, c.DF[0], want)
			}
			continue
		}
		same(t, "degrees of freedom", c.DF, g.at(name, "df").numbers(), goldenTolerance, 0)
		for j, row := range f.CoefficientTable(c, 0.95) {
			near(t, "P by CR2", row.P, g.at(name, "p", j).number(), goldenTolerance)
		}
	}
}

// statsmodels 0.13.5, without its small-sample factors.
func TestClusterErrorsAgainstStatsmodels(t *testing.T) {
	cohort := readTable(t, "golden/in/cohort.csv")
	f := mustOLS(t, goldenDesign(cohort, true), cohort.numbers("cpp"), nil)
	c, err := f.ClusterCovariance(CR0, sites(t, cohort))
	if err != nil {
		t.Fatal(err)
	}
	same(t, "CR0", c.SE(), readGolden(t, "p03_stats").at("cluster", "se_nocorr").numbers(), goldenTolerance, 0)
}

// Every row its own cluster: CR0 is HC0 and CR2 is HC2.
func TestClustersOfOne(t *testing.T) {
	cohort := readTable(t, "golden/in/cohort.csv")
	f := mustOLS(t, goldenDesign(cohort, true), cohort.numbers("cpp"), nil)
	own := make([]int, f.N)
	for i := range own {
		own[i] = i
	}
	for kind, twin := range map[string]string{CR0: HC0, CR2: HC2} {
		c, err := f.ClusterCovariance(kind, own)
		if err != nil {
			t.Fatal(err)
		}
		same(t, kind, c.SE(), mustCovariance(t, f, twin).SE(), 1e-11, 0)
	}
}

// A cluster with its own indicator has no error of its own, and spoils nothing.
func TestClusterWithItsIndicator(t *testing.T) {
	cohort := readTable(t, "golden/in/cohort.csv")
	d := goldenDesign(cohort, false)
	d.Add("site 1", cohort.indicator("site", "1"))
	f := mustOLS(t, d, cohort.numbers("cpp"), nil)
	c, err := f.ClusterCovariance(CR2, sites(t, cohort))
	if err != nil {
		t.Fatal(err)
	}
	for j, se := range c.SE() {
		if math.IsNaN(se) || math.IsNaN(c.DF[j]) {
			t.Errorf("%s: error %v on %v degrees of freedom", f.Names[j], se, c.DF[j])
		}
	}
	if _, err := f.ClusterCovariance(CR1, make([]int, f.N)); err == nil {
		t.Error("one cluster: no error")
	}
}

// R 4.2.2 with survey 4.1-1: weights and clusters, one stratum.
func TestDesignErrorsAgainstR(t *testing.T) {
	g := readGolden(t, "r01_linear").at("svyglm")
	cohort := readTable(t, "golden/in/cohort.csv")
	f := mustOLS(t, goldenDesign(cohort, true), cohort.numbers("cpp"), cohort.numbers("wt"))
	c, err := f.DesignCovariance(nil, sites(t, cohort))
	if err != nil {
		t.Fatal(err)
	}
	same(t, "coefficients", f.Coefficients, g.at("coef").numbers(), goldenTolerance, 0)
	same(t, "errors", c.SE(), g.at("se").numbers(), goldenTolerance, 0)
	if c.DF[0] != g.at("degf").number() {
		t.Errorf("%g degrees of freedom, want %g", c.DF[0], g.at("degf").number())
	}
}

// The mean of a stratified cluster sample is the intercept alone: R 4.2.2,
// survey 4.1-1 (testdata/golden/r04_quantiles.R).
func TestDesignErrorsWithStrata(t *testing.T) {
	g := readGolden(t, "r04_quantiles").at("survey")
	sample := readTable(t, "golden/in/wquant.csv")
	f := mustOLS(t, NewDesign(true), sample.numbers("x"), sample.numbers("w"))
	c, err := f.DesignCovariance(labels(sample.numbers("stratum")), labels(sample.numbers("psu")))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", f.Coefficients[0], g.at("mean").number(), goldenTolerance)
	near(t, "error", c.SE()[0], g.at("mean_se").number(), goldenTolerance)
	row := f.CoefficientTable(c, 0.95)[0]
	same(t, "degrees and interval", []float64{row.DF, row.Low, row.High}, append(g.at("degf").numbers(), g.at("mean_ci_t").numbers()...), goldenTolerance, 0)
}

func labels(x []float64) []int {
	out := make([]int, len(x))
	for i, v := range x {
		out[i] = int(v)
	}
	return out
}
