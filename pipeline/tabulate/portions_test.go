package tabulate

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"tonocohort/schema"
	"tonocohort/stats"
)

// Numbers of every size and sign, many alike in their upper half, come out in order.
func TestSortNumbers(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for name, draw := range map[string]func() float64{
		"any bits":     func() float64 { return math.Float64frombits(random.Uint64()) },
		"normal":       random.NormFloat64,
		"whole":        func() float64 { return float64(random.IntN(50) - 25) },
		"close to 1e9": func() float64 { return 1e9 + random.Float64() },
		"one value":    func() float64 { return 7 },
		"two decimals": func() float64 { return math.Round(100*(120+15*random.NormFloat64())) / 100 },
	} {
		for _, n := range []int{0, 1, 2, fewKeys - 1, fewKeys, 5 * fewKeys} {
			x := make([]float64, n)
			for i := range x {
				for x[i] = draw(); x[i] != x[i]; x[i] = draw() {
				}
			}
			want := slices.Sorted(slices.Values(x))
			sortNumbers(x, make([]float64, n))
			if !slices.Equal(x, want) {
				t.Errorf("%s, %d values: not in order", name, n)
			}
		}
	}
}

// Every cell of every margin is what its rows give when they are taken alone, also
// where a column has no value below 0 in some cells and some in others, and whatever
// the memory held before.
func TestCellsAreUnions(t *testing.T) {
	f := invented(4000)
	random := rand.New(rand.NewPCG(7, 7))
	for row := range f.N {
		if random.IntN(9) == 0 {
			f.SetNumber(row, "central_pp_mmhg", math.NaN())
		}
		if v := f.Number(row, "lead_ug_l"); f.TextAt(row, "sex") == "male" && row%7 == 0 {
			f.SetNumber(row, "lead_ug_l", -v)
		}
	}
	f.SetText(7, "sex", "")
	c := newCohort(f.Frame, plan(nil).Analysis, newFlow(), &reporter{})
	s := summariser{c: c, est: c.estimator(), memory: c.memory(0)}
	rows := slices.DeleteFunc(slices.Clone(c.rows), func(row int32) bool { return row%5 == 0 })
	strata := c.newStrata([]string{"sex", ageBand}, rows)
	for _, name := range []string{"lead_ug_l", "central_pp_mmhg", "central_sbp_mmhg"} {
		cells := 0
		s.eachCell(set{rows: rows}, strata, name, func(cell int, g sampled) {
			cells++
			var values []float64
			missing := 0
			for i, row := range rows {
				for margin := range strata.cells {
					switch v := f.Number(int(row), name); {
					case int(strata.at(margin, i)) != cell:
					case math.IsNaN(v):
						missing++
					default:
						values = append(values, v)
					}
				}
			}
			slices.Sort(values)
			checkCell(t, name, g, values, missing)
		})
		if cells != len(strata.labels) || cells < 10 {
			t.Errorf("%s: %d cells of %d", name, cells, len(strata.labels))
		}
	}
}

func checkCell(t *testing.T, name string, g sampled, values []float64, missing int) {
	t.Helper()
	close := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-12*math.Abs(want) || math.IsNaN(got) != math.IsNaN(want) {
			t.Errorf("%s, %d values: %s %v, want %v", name, len(values), what, got, want)
		}
	}
	if g.people() != len(values) || g.missing() != missing {
		t.Errorf("%s: %d people and %d without, want %d and %d", name, g.people(), g.missing(), len(values), missing)
	}
	want := stats.Describe(values)
	mean, se, sd := g.means()
	close("mean", mean.Estimate, want.Mean)
	close("standard error", se.Estimate, want.StandardError())
	close("SD", sd.Estimate, want.SD)
	close("geometric mean", g.geometric().Estimate, stats.GeometricMean(values))
	for _, p := range []float64{0.05, 0.5, 0.975} {
		q, i := g.quantile(p, stats.MedianUnbiased, 0.95), stats.QuantileInterval(values, p, 0.95)
		close("quantile", q.Estimate, stats.Quantile(values, p, stats.MedianUnbiased))
		close("low", q.interval.Low, i.Low)
		close("high", q.interval.High, i.High)
	}
	if len(values) > 0 {
		bound := values[len(values)/3]
		below, _ := slices.BinarySearch(values, bound)
		close("share", g.atLeast(bound).Estimate, float64(len(values)-below)/float64(len(values)))
	}
}

// The number of goroutines changes no digit.
func TestSummaryDoesNotDependOnWorkers(t *testing.T) {
	f := invented(3000)
	s := plan(func(a *schema.Analysis) {
		a.Variables = []string{"pp_amplification_ratio", "central_pp_mmhg", "lead_ug_l"}
		a.Models, a.Centiles = nil, nil
	})
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one := run(t, f, s)
	runtime.GOMAXPROCS(4)
	four := run(t, f, s)
	if !sameFrame(one.Summary, four.Summary) || !sameFrame(one.Characteristics, four.Characteristics) {
		t.Error("four goroutines give other numbers than one")
	}
}
