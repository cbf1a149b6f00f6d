package tabulate

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// certifiedSet is a linear data set of the NIST Statistical Reference Datasets
// (www.itl.nist.gov/div898/strd), and the least digits that must be right in
// coefficients and errors.
type certifiedSet struct {
	name      string
	degree    int // of the polynomial term; 0: several predictors
	intercept bool
	gate      float64
}

func certifiedSets() []certifiedSet {
	return []certifiedSet{
		{"Norris", 1, true, 10.5}, {"Pontius", 2, true, 10.5}, {"NoInt1", 1, false, 10.5}, {"NoInt2", 1, false, 10.5}, {"Longley", 0, true, 10.5},
		{"Filip", 10, true, 12}, {"Wampler1", 5, true, 8.5}, {"Wampler2", 5, true, 8.5}, {"Wampler3", 5, true, 8.5}, {"Wampler4", 5, true, 9}, {"Wampler5", 5, true, 7},
	}
}

// certifiedTable reads the data of a set as a person-level table: outcome y,
// predictors x1, x2, ….
func certifiedTable(t *testing.T, name string) (table, int) {
	t.Helper()
	file, err := os.Open(testdata.External(t, "reference/nist/"+name+".dat"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var rows [][]float64
	scanner := bufio.NewScanner(file)
	for started := false; scanner.Scan(); {
		fields := strings.Fields(scanner.Text())
		if len(fields) > 2 && fields[0] == "Data:" && fields[1] == "y" {
			started = true
			continue
		}
		if !started || len(fields) < 2 {
			continue
		}
		var row []float64
		for _, field := range fields {
			row = append(row, parse(t, field))
		}
		rows = append(rows, row)
	}
	columns := []schema.Column{{Name: "y", Kind: schema.Number}}
	for k := 1; k < len(rows[0]); k++ {
		columns = append(columns, schema.Column{Name: fmt.Sprint("x", k), Kind: schema.Number})
	}
	f := newTable(columns...)
	for i, row := range rows {
		var cells []any
		for k, v := range row {
			cells = append(cells, columns[k].Name, v)
		}
		f.add(fmt.Sprintf("s%03d", i), "v1", cells...)
	}
	return f, len(columns) - 1
}

// certifiedValues returns the certified coefficients and errors.
func certifiedValues(t *testing.T, name string) (b, se []float64) {
	t.Helper()
	text, err := os.ReadFile(testdata.Path(t, "nist/nist_linear_certified_coefficients.csv"))
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(string(text), "\n") {
		if field := strings.Split(line, ","); field[0] == name {
			estimate, _ := strconv.ParseFloat(field[2], 64)
			spread, _ := strconv.ParseFloat(field[3], 64)
			b, se = append(b, estimate), append(se, spread)
		}
	}
	return b, se
}

// The certified sets as declared models: a polynomial as one term, coefficients
// on the scale of the data. None is refused, and where the certified error is 0
// so is ours, to rounding.
func TestCertifiedSetsThroughTheTable(t *testing.T) {
	for _, set := range certifiedSets() {
		t.Run(set.name, func(t *testing.T) {
			f, predictors := certifiedTable(t, set.name)
			m := schema.Model{Name: "nist", Outcome: "y", Errors: "classical", Intercept: &set.intercept}
			names := []string{"intercept"}
			if !set.intercept {
				names = nil
			}
			for k := 1; k <= predictors; k++ {
				name := fmt.Sprint("x", k)
				m.Terms = append(m.Terms, schema.Term{Column: name, Form: schema.Polynomial, Degree: max(set.degree, 1)})
				names = append(names, name)
				for power := 2; power <= set.degree; power++ {
					names = append(names, fmt.Sprintf("%s^%d", name, power))
				}
			}
			r := run(t, f, model(m))
			b, se := certifiedValues(t, set.name)
			if len(b) != len(names) {
				t.Fatalf("%d certified coefficients, %d of ours", len(b), len(names))
			}
			worst, worstError := 15.0, 15.0
			for j, name := range names {
				value := func(statistic string) float64 {
					return r.Regression.Number(find(t, r.Regression, "term", name, "statistic", statistic), "estimate")
				}
				worst = min(worst, digits(value("estimate"), b[j]))
				if se[j] != 0 {
					worstError = min(worstError, digits(value("se_classical"), se[j]))
				} else if e := value("se_classical"); !(math.Abs(e) <= 1e-9*max(1, math.Abs(b[j]))) {
					t.Errorf("%s: error %g, certified 0", name, e)
				}
			}
			t.Logf("%s: coefficients %.1f digits, errors %.1f", set.name, worst, worstError)
			if !(worst >= set.gate) || !(worstError >= set.gate) {
				t.Errorf("coefficients %.1f, errors %.1f digits; at least %.1f wanted", worst, worstError, set.gate)
			}
		})
	}
}
