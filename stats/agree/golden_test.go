package agree

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	"tonocohort/stats"
	"tonocohort/testdata"
)

// The golden numbers are those of R 4.2.2 (psych 2.2.9) and scipy 1.10.1, written
// by testdata/golden/r05_agreement.R and p03_stats.py.
const goldenTolerance = 1e-9

type golden struct {
	t    *testing.T
	node any
}

func readGolden(t *testing.T, name string) golden {
	t.Helper()
	text, err := os.ReadFile(testdata.Path(t, "golden/out/"+name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	var tree any
	if err := json.Unmarshal(text, &tree); err != nil {
		t.Fatal(err)
	}
	return golden{t, tree}
}

func (g golden) at(keys ...any) golden {
	g.t.Helper()
	for _, key := range keys {
		switch k := key.(type) {
		case string:
			next, present := g.node.(map[string]any)[k]
			if !present {
				g.t.Fatalf("golden: no %v", keys)
			}
			g.node = next
		case int:
			g.node = g.node.([]any)[k]
		}
	}
	return g
}

func (g golden) numbers() []float64 {
	if v, single := g.node.(float64); single {
		return []float64{v}
	}
	var out []float64
	for _, v := range g.node.([]any) {
		out = append(out, v.(float64))
	}
	return out
}

func same(t *testing.T, what string, got, want []float64, relative float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %v, want %v", what, got, want)
	}
	for i := range want {
		if !(math.Abs(got[i]-want[i]) <= relative*math.Abs(want[i])) {
			t.Errorf("%s [%d]: %.17g, want %.17g", what, i, got[i], want[i])
		}
	}
}

func ends(i stats.Interval) []float64 { return []float64{i.Low, i.High} }

// readColumns reads a comma-separated file of numbers by column; # starts a comment.
func readColumns(t *testing.T, name string) map[string][]float64 {
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
	out := map[string][]float64{}
	for _, row := range rows[1:] {
		for k, field := range row {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				t.Fatal(err)
			}
			out[rows[0][k]] = append(out[rows[0][k]], v)
		}
	}
	return out
}

func subtract(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] - b[i]
	}
	return out
}
