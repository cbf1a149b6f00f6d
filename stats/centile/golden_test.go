package centile

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	"tonocohort/testdata"
)

// readGolden returns the tree of numbers of a file that another program wrote.
func readGolden(t testing.TB, name string) map[string]any {
	t.Helper()
	text, err := os.ReadFile(testdata.Path(t, "golden/out/"+name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	var tree map[string]any
	if err := json.Unmarshal(text, &tree); err != nil {
		t.Fatal(err)
	}
	return tree
}

// listAt follows keys down a tree to a list of numbers.
func listAt(t testing.TB, tree map[string]any, keys ...string) []float64 {
	t.Helper()
	var node any = tree
	for _, k := range keys {
		node = node.(map[string]any)[k]
	}
	items, ok := node.([]any)
	if !ok {
		t.Fatalf("golden: no list at %v", keys)
	}
	out := make([]float64, len(items))
	for i, v := range items {
		out[i] = v.(float64)
	}
	return out
}

// readColumns reads numeric columns of a CSV file under testdata.
func readColumns(t testing.TB, name string, columns ...string) [][]float64 {
	t.Helper()
	return readWhere(t, name, nil, columns...)
}

// readWhere reads those rows whose cells are as given by column.
func readWhere(t testing.TB, name string, where map[string]string, columns ...string) [][]float64 {
	t.Helper()
	file, err := os.Open(testdata.Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	lines, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range lines[0] {
		at[name] = i
	}
	out := make([][]float64, len(columns))
	for _, line := range lines[1:] {
		wanted := true
		for column, cell := range where {
			wanted = wanted && line[at[column]] == cell
		}
		for k, column := range columns {
			if !wanted {
				continue
			}
			v, err := strconv.ParseFloat(line[at[column]], 64)
			if err != nil {
				t.Fatal(err)
			}
			out[k] = append(out[k], v)
		}
	}
	return out
}

// near fails unless got lies within a relative tolerance of want.
func near(t testing.TB, what string, got, want, relative float64) {
	t.Helper()
	if d := math.Abs(got - want); !(d <= relative*math.Abs(want)) && got != want {
		t.Errorf("%s: %.17g, want %.17g", what, got, want)
	}
}

// between draws the line through points of ascending x, level beyond the ends.
func between(x, y []float64, at float64) float64 {
	if at <= x[0] {
		return y[0]
	}
	for i := 1; i < len(x); i++ {
		if at <= x[i] {
			return y[i-1] + (y[i]-y[i-1])*(at-x[i-1])/(x[i]-x[i-1])
		}
	}
	return y[len(y)-1]
}
