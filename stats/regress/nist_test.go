package regress

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"tonocohort/testdata"
)

// nistSet is one linear data set of the NIST Statistical Reference Datasets.
// Gates for the plain matrix and for the polynomial term, as log relative
// errors: what orthogonal decomposition reaches in double precision.
type nistSet struct {
	name              string
	degree            int // of the polynomial in x; 0: several predictors
	intercept         bool
	plain, polynomial float64
}

var nistSets = []nistSet{
	{"Norris", 1, true, 10, 10.5},
	{"Pontius", 2, true, 10, 10.5},
	{"NoInt1", 1, false, 10, 10.5},
	{"NoInt2", 1, false, 10, 10.5},
	{"Longley", 0, true, 10, 10.5},
	{"Filip", 10, true, 7, 12},
	{"Wampler1", 5, true, 7, 8.5},
	{"Wampler2", 5, true, 7, 8.5},
	{"Wampler3", 5, true, 7, 8.5},
	{"Wampler4", 5, true, 7, 9},
	{"Wampler5", 5, true, 5, 7},
}

// nistRows returns the outcome and the predictors of a set.
func nistRows(t testing.TB, name string) (y []float64, x [][]float64) {
	pairs := func(flat []float64) ([]float64, [][]float64) {
		x = [][]float64{nil}
		for i := 0; i < len(flat); i += 2 {
			y, x[0] = append(y, flat[i]), append(x[0], flat[i+1])
		}
		return y, x
	}
	switch name {
	case "Norris":
		return pairs(nistNorris())
	case "Pontius":
		return pairs(nistPontius())
	case "NoInt1":
		return pairs(nistNoInt1())
	case "NoInt2":
		return pairs(nistNoInt2())
	}
	rows := readNumbers(t, "golden/nist/"+strings.ToLower(name)+".csv")
	x = make([][]float64, len(rows[0])-1)
	for _, row := range rows {
		y = append(y, row[0])
		for k := range x {
			x[k] = append(x[k], row[k+1])
		}
	}
	return y, x
}

// readNumbers reads a comma-separated file of numbers below a header line;
// lines that start with # are comments.
func readNumbers(t testing.TB, name string) [][]float64 {
	t.Helper()
	file, err := os.Open(testdata.Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var rows [][]float64
	scanner := bufio.NewScanner(file)
	for header := true; scanner.Scan(); {
		line := scanner.Text()
		if strings.HasPrefix(line, "#") {
			continue
		}
		if header {
			header = false
			continue
		}
		var row []float64
		for _, field := range strings.Split(line, ",") {
			v, err := strconv.ParseFloat(strings.TrimSpace(field), 64)
			if err != nil {
				v = math.NaN()
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	return rows
}

// nistCertified returns estimates and errors (testdata/nist) of a set.
func nistCertified(t testing.TB, name string) (estimates, errors []float64) {
	t.Helper()
	text, err := os.ReadFile(testdata.Path(t, "nist/nist_linear_certified_coefficients.csv"))
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(string(text), "\n") {
		field := strings.Split(line, ",")
		if field[0] != name {
			continue
		}
		b, err1 := strconv.ParseFloat(field[2], 64)
		se, err2 := strconv.ParseFloat(field[3], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(line)
		}
		estimates, errors = append(estimates, b), append(errors, se)
	}
	return estimates, errors
}

// nistModel returns the certified statistics of the whole model: residual SD,
// R², F.
func nistModel(t testing.TB, name string) (sd, r2, f float64) {
	t.Helper()
	text, err := os.ReadFile(testdata.Path(t, "nist/nist_linear_certified_anova.csv"))
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(string(text), "\n") {
		field := strings.Split(line, ",")
		if field[0] == name {
			number := func(i int) float64 { v, _ := strconv.ParseFloat(field[i], 64); return v }
			return number(3), number(4), number(8)
		}
	}
	t.Fatal(name)
	return
}

func (s nistSet) plainDesign(x [][]float64) *Design {
	if s.degree == 0 {
		return Columns(s.intercept, nil, x)
	}
	d := NewDesign(s.intercept)
	for k := 1; k <= s.degree; k++ {
		power := make([]float64, len(x[0]))
		for i, v := range x[0] {
			power[i] = 1
			for range k {
				power[i] *= v
			}
		}
		d.Add(powerName("x", k), power)
	}
	return d
}

func (s nistSet) polynomialDesign(x [][]float64) *Design {
	d := NewDesign(s.intercept)
	for k, c := range x {
		d.AddPolynomial(fmt.Sprintf("x%d", k+1), c, max(s.degree, 1))
	}
	return d
}

// logRelativeError is the number of correct significant digits, at most 15: the
// certified values have no more.
func logRelativeError(got, want float64) float64 {
	if got == want {
		return 15
	}
	return min(15, -math.Log10(math.Abs(got-want)/math.Abs(want)))
}

func worst(got, want []float64) float64 {
	low := 15.0
	for i := range want {
		if want[i] != 0 {
			low = min(low, logRelativeError(got[i], want[i]))
		}
	}
	return low
}

func TestCertifiedLinearSets(t *testing.T) {
	for _, s := range nistSets {
		y, x := nistRows(t, s.name)
		estimates, errors := nistCertified(t, s.name)
		sd, r2, f := nistModel(t, s.name)
		for kind, d := range map[string]*Design{"plain": s.plainDesign(x), "polynomial": s.polynomialDesign(x)} {
			gate, errorGate := s.plain, 7.0
			if kind == "polynomial" {
				gate, errorGate = s.polynomial, s.polynomial
			}
			fit, err := OLS(d, y, nil)
			if err != nil {
				t.Fatalf("%s %s: %v", s.name, kind, err)
			}
			if fit.Rank != len(estimates) {
				t.Errorf("%s %s: refused %v", s.name, kind, fit.Warnings)
			}
			c, err := fit.Covariance(Classical)
			if err != nil {
				t.Fatal(err)
			}
			b, se := worst(fit.Coefficients, estimates), worst(c.SE(), errors)
			t.Logf("%-9s %-10s coefficients %4.1f  errors %4.1f  residual SD %4.1f  R2 %4.1f  F %4.1f  condition %.3g refined %v", s.name, kind,
				b, se, logRelativeError(fit.ResidualSD, sd), logRelativeError(fit.R2, r2), logRelativeError(fit.F, f), fit.ConditionNumber, fit.Refined)
			if b < gate {
				t.Errorf("%s %s: coefficients correct to %.1f digits, gate %.1f", s.name, kind, b, gate)
			}
			if se < errorGate {
				t.Errorf("%s %s: standard errors correct to %.1f digits, gate %.1f", s.name, kind, se, errorGate)
			}
			if sd == 0 {
				// The certified residual is exactly 0, as are the errors.
				if largest := y[len(y)-1]; fit.ResidualSD > 1e-12*largest {
					t.Errorf("%s %s: residual SD %g, certified 0", s.name, kind, fit.ResidualSD)
				}
				for j, v := range c.SE() {
					if v > 1e-8 {
						t.Errorf("%s %s: error of coefficient %d is %g, certified 0", s.name, kind, j, v)
					}
				}
				continue
			}
			if d := logRelativeError(fit.ResidualSD, sd); d < errorGate {
				t.Errorf("%s %s: residual SD correct to %.1f digits", s.name, kind, d)
			}
			if d := logRelativeError(fit.R2, r2); d < 9 {
				t.Errorf("%s %s: R2 correct to %.1f digits", s.name, kind, d)
			}
			if d := logRelativeError(fit.F, f); d < errorGate {
				t.Errorf("%s %s: F correct to %.1f digits", s.name, kind, d)
			}
		}
	}
}
