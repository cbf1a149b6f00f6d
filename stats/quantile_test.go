package stats

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"tonocohort/testdata"
)

// The nine types on 1 … 10, by R 4.2.2, after the definitions of Hyndman and
// Fan 1996, Am Stat 50:361-5.
func TestQuantileTypes(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}
	p := []float64{0.1, 0.25, 0.5, 0.75, 0.9}
	want := map[QuantileType][]float64{
		InverseCDF:         {1, 3, 5, 8, 9},
		AveragedInverseCDF: {1.5, 3, 5.5, 8, 9.5},
		NearestEven:        {1, 2, 5, 8, 9},
		InterpolatedCDF:    {1, 2.5, 5, 7.5, 9},
		MidPositions:       {1.5, 3, 5.5, 8, 9.5},
		MeanPositions:      {1.1, 2.75, 5.5, 8.25, 9.9},
		ModePositions:      {1.9, 3.25, 5.5, 7.75, 9.1},
		MedianUnbiased:     {41.0 / 30, 35.0 / 12, 5.5, 97.0 / 12, 289.0 / 30},
		NormalUnbiased:     {1.4, 2.9375, 5.5, 8.0625, 9.6},
	}
	for kind, values := range want {
		for i := range p {
			atLeast(t, fmt.Sprintf("%s at %g", kind.Name(), p[i]), 14, Quantile(x, p[i], kind), values[i])
		}
	}
}

// The replicated values of the weights 1 2 3 2 1 on 1 … 5: type 7 gives 1.8 2 3
// 4 4.2 (R 4.2.2).
func TestQuantileOfTies(t *testing.T) {
	x := []float64{1, 2, 2, 3, 3, 3, 4, 4, 5}
	for i, p := range []float64{0.1, 0.25, 0.5, 0.75, 0.9} {
		atLeast(t, fmt.Sprint(p), 14, Quantile(x, p, ModePositions), []float64{1.8, 2, 3, 4, 4.2}[i])
	}
}

func TestQuantileWithoutAnswer(t *testing.T) {
	for name, got := range map[string]float64{
		"no values":    Quantile(nil, 0.5, DefaultQuantileType),
		"p below 0":    Quantile([]float64{1, 2}, -0.1, DefaultQuantileType),
		"p above 1":    Quantile([]float64{1, 2}, 1.1, DefaultQuantileType),
		"p NaN":        Quantile([]float64{1, 2}, math.NaN(), DefaultQuantileType),
		"unknown type": Quantile([]float64{1, 2}, 0.5, 10),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s: %v, want NaN", name, got)
		}
	}
}

func TestQuantileTypeNames(t *testing.T) {
	for kind := InverseCDF; kind <= NormalUnbiased; kind++ {
		back, err := ParseQuantileType(kind.Name())
		if err != nil || back != kind {
			t.Errorf("%s: %v, %v", kind.Name(), back, err)
		}
	}
	if _, err := ParseQuantileType("quantile_type_0"); err == nil {
		t.Error("quantile_type_0 was accepted")
	}
}

// golden is what testdata/golden/r04_quantiles.R wrote with R 4.2.2.
type golden struct {
	Probs      []float64                       `json:"probs"`
	HyndmanFan map[string]map[string][]float64 `json:"hyndman_fan"`
	Moments    map[string]struct {
		N    int      `json:"n"`
		Mean float64  `json:"mean"`
		SD   *float64 `json:"sd"`
	} `json:"moments"`
	OrderStat struct {
		Cases []struct {
			N        int      `json:"n"`
			P        float64  `json:"p"`
			Level    float64  `json:"level"`
			Lower    *int     `json:"lower_rank"`
			Upper    *int     `json:"upper_rank"`
			Coverage *float64 `json:"coverage"`
		} `json:"cases"`
	} `json:"order_stat_ci"`
}

func readGolden(t *testing.T) (g golden, sets map[string][]float64) {
	t.Helper()
	readJSON(t, "golden/out/r04_quantiles.json", &g)
	sets = map[string][]float64{}
	for _, row := range readCSV(t, "golden/in/quant.csv") {
		v, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		sets[row[0]] = append(sets[row[0]], v)
	}
	return g, sets
}

func readJSON(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(testdata.Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

func readCSV(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(testdata.Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func TestQuantilesAgainstR(t *testing.T) {
	g, sets := readGolden(t)
	compared := 0
	for name, types := range g.HyndmanFan {
		x := slices.Clone(sets[name])
		slices.Sort(x)
		for kind := InverseCDF; kind <= NormalUnbiased; kind++ {
			for i, want := range types[fmt.Sprintf("type%d", int(kind))] {
				atLeast(t, fmt.Sprintf("%s %s at %g", name, kind.Name(), g.Probs[i]), 12, Quantile(x, g.Probs[i], kind), want)
				compared++
			}
		}
	}
	if compared != 7*9*13 {
		t.Errorf("%d quantiles compared", compared)
	}
}

func TestMomentsAgainstR(t *testing.T) {
	g, sets := readGolden(t)
	for name, want := range g.Moments {
		s := Describe(sets[name])
		if s.N != want.N {
			t.Errorf("%s: n %d, want %d", name, s.N, want.N)
		}
		atLeast(t, name+" mean", 14, s.Mean, want.Mean)
		switch {
		case want.SD == nil && !math.IsNaN(s.SD):
			t.Errorf("%s: SD %v, want NaN", name, s.SD)
		case want.SD != nil:
			atLeast(t, name+" SD", 14, s.SD, *want.SD)
		}
	}
}

func TestOrderStatisticRanksAgainstR(t *testing.T) {
	g, _ := readGolden(t)
	rank := func(r *int) int {
		if r == nil {
			return 0
		}
		return *r
	}
	for _, c := range g.OrderStat.Cases {
		low, high, coverage := OrderStatisticRanks(c.N, c.P, c.Level)
		if low != rank(c.Lower) || high != rank(c.Upper) {
			t.Errorf("n %d p %g: ranks %d and %d, want %d and %d", c.N, c.P, low, high, rank(c.Lower), rank(c.Upper))
		}
		if c.Coverage == nil {
			if !math.IsNaN(coverage) {
				t.Errorf("n %d p %g: coverage %v where there is no interval", c.N, c.P, coverage)
			}
			continue
		}
		atLeast(t, fmt.Sprintf("coverage at n %d p %g", c.N, c.P), 12, coverage, *c.Coverage)
	}
}

// The least n at which an equal-tailed 95 % interval exists follows from
// (1 − p)^n ≤ 0.025, and the ranks at 90 % for P2.5 are those of the rule of
// 120 people per group of a reference interval (CLSI EP28-A3c): 1 and 7 at 119
// to 132, 2 and 10 at 200.
func TestOrderStatisticLeastSize(t *testing.T) {
	for p, least := range map[float64]int{0.5: 6, 0.1: 36, 0.9: 36, 0.05: 72, 0.95: 72, 0.025: 146, 0.975: 146} {
		for n := 1; n <= 200; n++ {
			low, high, coverage := OrderStatisticRanks(n, p, 0.95)
			if exists := low > 0 && high > 0; exists != (n >= least) {
				t.Errorf("p %g, n %d: interval exists is %v", p, n, exists)
			} else if exists && coverage < 0.95 {
				t.Errorf("p %g, n %d: coverage %v", p, n, coverage)
			}
		}
	}
	for n, want := range map[int][2]int{119: {1, 7}, 120: {1, 7}, 132: {1, 7}, 200: {2, 10}, 400: {5, 16}, 1000: {17, 34}} {
		if low, high, _ := OrderStatisticRanks(n, 0.025, 0.90); low != want[0] || high != want[1] {
			t.Errorf("n %d: ranks %d and %d, want %v", n, low, high, want)
		}
	}
}

// The ranks are the narrowest equal-tailed ones: one step inwards on either
// side misses with more than 2.5 %. The binomial probabilities are summed here
// term by term.
func TestOrderStatisticRanksAreNarrowest(t *testing.T) {
	for _, n := range []int{6, 17, 36, 73, 150, 331} {
		for _, p := range []float64{0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95} {
			low, high, _ := OrderStatisticRanks(n, p, 0.95)
			if low > 0 && (enumerated(low-1, n, p) > 0.025 || enumerated(low, n, p) <= 0.025) {
				t.Errorf("n %d p %g: lower rank %d", n, p, low)
			}
			if high > 0 && (1-enumerated(high-1, n, p) > 0.025 || 1-enumerated(high-2, n, p) <= 0.025) {
				t.Errorf("n %d p %g: upper rank %d", n, p, high)
			}
		}
	}
}

// enumerated is P(X ≤ k), summed from its terms.
func enumerated(k, n int, p float64) float64 {
	total := 0.0
	for i := 0; i <= k; i++ {
		a, _ := math.Lgamma(float64(n + 1))
		b, _ := math.Lgamma(float64(i + 1))
		c, _ := math.Lgamma(float64(n - i + 1))
		total += math.Exp(a - b - c + float64(i)*math.Log(p) + float64(n-i)*math.Log(1-p))
	}
	return total
}

func TestQuantileInterval(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6}
	if got := QuantileInterval(x, 0.5, 0.95); got.Low != 1 || got.High != 6 || got.Method != MethodOrderStatistic {
		t.Errorf("median of six: %+v", got)
	}
	if got := QuantileInterval(x[:5], 0.5, 0.95); !math.IsNaN(got.Low) || !math.IsNaN(got.High) {
		t.Errorf("median of five has no interval: %+v", got)
	}
	if got := QuantileInterval(x, 0.1, 0.95); !math.IsNaN(got.Low) || !math.IsNaN(got.High) {
		t.Errorf("one end alone is no interval: %+v", got)
	}
}
