package regress

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"tonocohort/testdata"
)

// golden is a tree of numbers that another program wrote (testdata/golden, with
// the scripts and versions); compare by tolerance.
type golden struct {
	t    testing.TB
	path string
	node any
}

func readGolden(t testing.TB, name string) golden {
	t.Helper()
	text, err := os.ReadFile(testdata.Path(t, "golden/out/"+name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	var tree any
	if err := json.Unmarshal(text, &tree); err != nil {
		t.Fatal(err)
	}
	return golden{t, name, tree}
}

// at follows keys and positions down the tree.
func (g golden) at(keys ...any) golden {
	g.t.Helper()
	for _, key := range keys {
		g.path += fmt.Sprintf("/%v", key)
		switch k := key.(type) {
		case string:
			m, ok := g.node.(map[string]any)
			if _, present := m[k]; !ok || !present {
				g.t.Fatalf("golden: no %s", g.path)
			}
			g.node = m[k]
		case int:
			g.node = g.node.([]any)[k]
		}
	}
	return g
}

func (g golden) number() float64 {
	g.t.Helper()
	switch v := g.node.(type) {
	case float64:
		return v
	case nil:
		return math.NaN()
	case string:
		return map[string]float64{"NaN": math.NaN(), "Inf": math.Inf(1), "-Inf": math.Inf(-1)}[v]
	}
	g.t.Fatalf("golden: %s is not a number", g.path)
	return 0
}

func (g golden) numbers() []float64 {
	g.t.Helper()
	list, ok := g.node.([]any)
	if !ok {
		return []float64{g.number()}
	}
	out := make([]float64, len(list))
	for i := range list {
		out[i] = golden{g.t, g.path, list[i]}.number()
	}
	return out
}

func (g golden) matrix() (rows int, data []float64) {
	return int(g.at("rows").number()), g.at("data_rowmajor").numbers()
}

// same fails unless got and want agree to a relative tolerance, or absolutely
// below floor.
func same(t testing.TB, what string, got, want []float64, relative, floor float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%s: %d numbers, want %d", what, len(got), len(want))
		return
	}
	for i := range want {
		if d := math.Abs(got[i] - want[i]); !(d <= relative*math.Abs(want[i]) || d <= floor) && !(math.IsNaN(got[i]) && math.IsNaN(want[i])) && got[i] != want[i] {
			t.Errorf("%s [%d]: %.17g, want %.17g (relative %.2g)", what, i, got[i], want[i], d/math.Abs(want[i]))
		}
	}
}

func near(t testing.TB, what string, got, want, relative float64) {
	t.Helper()
	same(t, what, []float64{got}, []float64{want}, relative, 0)
}

// table is a comma-separated file with a header.
type table map[string][]string

func readTable(t testing.TB, name string) table {
	t.Helper()
	file, err := os.Open(testdata.Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
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

// numbers returns a column; what is no number is NaN.
func (c table) numbers(name string) []float64 {
	out := make([]float64, len(c[name]))
	for i, text := range c[name] {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			v = math.NaN()
		}
		out[i] = v
	}
	return out
}

// indicator is 1 where the column has the level.
func (c table) indicator(name, level string) []float64 {
	out := make([]float64, len(c[name]))
	for i, text := range c[name] {
		if text == level {
			out[i] = 1
		}
	}
	return out
}

// goldenDesign is the model of r01_linear: cpp on age, age², sex, height, bmi,
// heart rate, mean pressure, smoking, diabetes and race (reference A).
func goldenDesign(c table, polynomial bool) *Design {
	d := NewDesign(true)
	age := c.numbers("age")
	if polynomial {
		d.AddPolynomial("age", age, 2)
	} else {
		square := make([]float64, len(age))
		for i, v := range age {
			square[i] = v * v
		}
		d.AddTerm("age", []string{"age", "age^2"}, [][]float64{age, square})
	}
	for _, name := range []string{"sex", "height", "bmi", "hr", "map", "smoker", "diabetes"} {
		d.Add(name, c.numbers(name))
	}
	d.AddTerm("race", []string{"race B", "race C"}, [][]float64{c.indicator("race", "B"), c.indicator("race", "C")})
	return d
}

// mustOLS fits or fails.
func mustOLS(t testing.TB, d *Design, y, weights []float64) *Fit {
	t.Helper()
	fit, err := OLS(d, y, weights)
	if err != nil {
		t.Fatal(err)
	}
	return fit
}

func mustCovariance(t testing.TB, f *Fit, kind string) *Covariance {
	t.Helper()
	c, err := f.Covariance(kind)
	if err != nil {
		t.Fatal(err)
	}
	return c
}
