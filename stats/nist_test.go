package stats

import (
	"bufio"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"tonocohort/testdata"
)

// digits is the log relative error: how many digits agree, at most 15; where
// want is 0, the log absolute error.
func digits(got, want float64) float64 {
	d := math.Abs(got - want)
	if want != 0 {
		d /= math.Abs(want)
	}
	if d == 0 {
		return 15
	}
	return math.Min(15, -math.Log10(d))
}

// atLeast fails unless got agrees with want to the given number of digits.
func atLeast(t *testing.T, what string, gate, got, want float64) {
	t.Helper()
	if d := digits(got, want); !(d >= gate) {
		t.Errorf("%s: %.17g agrees with %.17g to %.1f digits, want %.1f", what, got, want, d, gate)
	}
}

// certified reads a table of certified values: data set → column → value.
func certified(t *testing.T, name string) map[string]map[string]float64 {
	t.Helper()
	f, err := os.Open(testdata.Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]map[string]float64{}
	for _, row := range rows[1:] {
		values := map[string]float64{}
		for i, cell := range row[1:] {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			values[rows[0][i+1]] = v
		}
		out[row[0]] = values
	}
	return out
}

// nistColumns reads the trailing block of numbers of a file of the statistical
// reference data sets: its columns.
func nistColumns(t *testing.T, path string) [][]float64 {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var lines [][]float64
	for s := bufio.NewScanner(f); s.Scan(); {
		fields := strings.Fields(s.Text())
		line := make([]float64, 0, len(fields))
		for _, field := range fields {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				lines, line = nil, nil
				break
			}
			line = append(line, v)
		}
		if len(line) > 0 {
			lines = append(lines, line)
		}
	}
	columns := make([][]float64, len(lines[0]))
	for _, line := range lines {
		for i, v := range line {
			columns[i] = append(columns[i], v)
		}
	}
	return columns
}

// constructedSets are the sets that are given by their definition (Simon and
// Lesage 1989, Comput Stat Data Anal 8:325-32): three values, and 1001 values
// that go up and down by a tenth.
func constructedSets() map[string][]float64 {
	zigzag := func(middle, low, high string) []float64 {
		number := func(s string) float64 { v, _ := strconv.ParseFloat(s, 64); return v }
		x := []float64{number(middle)}
		for range 500 {
			x = append(x, number(low), number(high))
		}
		return x
	}
	return map[string][]float64{
		"NumAcc1": {10000001, 10000003, 10000002},
		"NumAcc2": zigzag("1.2", "1.1", "1.3"),
		"NumAcc3": zigzag("1000000.2", "1000000.1", "1000000.3"),
		"NumAcc4": zigzag("10000000.2", "10000000.1", "10000000.3"),
	}
}

// The certified values of NIST/ITL, Statistical Reference Datasets, univariate
// (https://www.itl.nist.gov/div898/strd). The gates of the standard deviation
// are what two passes reach in double precision; 9.5 and 8.3 are the limits
// that rounding the data to binary sets.
func TestUnivariateReferenceSets(t *testing.T) {
	gates := map[string]struct{ mean, sd, lag1 float64 }{
		"Lew": {15, 14.5, 14}, "Lottery": {15, 14.5, 14}, "Mavro": {15, 13, 13}, "Michelso": {15, 13.8, 13},
		"NumAcc1": {15, 15, 15}, "NumAcc2": {14.9, 14.5, 14}, "NumAcc3": {15, 9.4, 9}, "NumAcc4": {15, 8.2, 8},
	}
	values := certified(t, "reference/nist_univariate_certified.csv")
	sets := constructedSets()
	for _, name := range []string{"Lew", "Lottery", "Mavro", "Michelso", "NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"} {
		t.Run(name, func(t *testing.T) {
			x, constructed := sets[name]
			if !constructed {
				x = nistColumns(t, testdata.External(t, "reference/nist/"+name+".dat"))[0]
			}
			want, gate := values[name], gates[name]
			if len(x) != int(want["n"]) {
				t.Fatalf("%d values, want %g", len(x), want["n"])
			}
			s := Describe(x)
			atLeast(t, "mean", gate.mean, s.Mean, want["mean"])
			atLeast(t, "standard deviation", gate.sd, s.SD, want["sd_n_minus_1"])
			atLeast(t, "lag 1", gate.lag1, Lag1(x), want["lag1_autocorrelation"])
			t.Logf("digits: mean %.1f, sd %.1f, lag 1 %.1f", digits(s.Mean, want["mean"]), digits(s.SD, want["sd_n_minus_1"]), digits(Lag1(x), want["lag1_autocorrelation"]))
		})
	}
}

// The constructed sets are the files, number by number.
func TestConstructedSetsAreTheFiles(t *testing.T) {
	for name, x := range constructedSets() {
		file := nistColumns(t, testdata.External(t, "reference/nist/"+name+".dat"))[0]
		if len(file) != len(x) {
			t.Fatalf("%s: %d values, file %d", name, len(x), len(file))
		}
		for i := range x {
			if x[i] != file[i] {
				t.Fatalf("%s: value %d is %v, in the file %v", name, i, x[i], file[i])
			}
		}
	}
}

// NIST/ITL, Statistical Reference Datasets, analysis of variance. Sets 7 to 9
// of SmLs have 13 leading digits in common: three to four digits of F are all
// that the data keep in double precision.
func TestANOVAReferenceSets(t *testing.T) {
	gates := map[string]float64{
		"AtmWtAgt": 9.5, "SiRstvt": 12,
		"SmLs01t": 13, "SmLs02t": 13, "SmLs03t": 12.5,
		"SmLs04t": 9.8, "SmLs05t": 9.8, "SmLs06t": 9.8,
		"SmLs07t": 3.8, "SmLs08t": 3.8, "SmLs09t": 3.8,
	}
	values := certified(t, "reference/nist_anova_certified.csv")
	if len(values) != len(gates) {
		t.Fatalf("%d sets are certified, %d have a gate", len(values), len(gates))
	}
	for name, gate := range gates {
		t.Run(name, func(t *testing.T) {
			groups := nistColumns(t, testdata.External(t, filepath.Join("reference/nist", name+".dat")))
			for i := range groups {
				groups[i] = groups[i][1:] // the line above the data numbers the treatments
			}
			want := values[name]
			a := OneWayANOVA(groups...)
			if a.BetweenDegrees != int(want["between_df"]) || a.WithinDegrees != int(want["within_df"]) {
				t.Fatalf("degrees of freedom %d, %d", a.BetweenDegrees, a.WithinDegrees)
			}
			atLeast(t, "F", gate, a.F, want["f_statistic"])
			atLeast(t, "between", gate, a.BetweenSquares, want["between_ss"])
			atLeast(t, "within", gate, a.WithinSquares, want["within_ss"])
			atLeast(t, "R²", gate, a.RSquared, want["r_squared"])
			atLeast(t, "residual SD", gate, a.ResidualSD, want["residual_sd"])
			t.Logf("digits of F: %.1f", digits(a.F, want["f_statistic"]))
		})
	}
}
