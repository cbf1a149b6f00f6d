package stats

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tonocohort/stats/exact"
)

// Values of a rank, quantiles and counts of parts are those of all values sorted
// together, with ties across parts, empty parts and parts that do not overlap.
func TestRunsAreOneSample(t *testing.T) {
	random := rand.New(rand.NewPCG(12, 3))
	for range 300 {
		runs := make(Runs, 1+random.IntN(20))
		var all []float64
		coarse := random.IntN(2) == 0
		for i := range runs {
			for range random.IntN(40) {
				v := random.NormFloat64() + float64(random.IntN(2)*i)
				if coarse {
					v = math.Round(v)
				}
				runs[i] = append(runs[i], v)
			}
			slices.Sort(runs[i])
			all = append(all, runs[i]...)
		}
		slices.Sort(all)
		if runs.Len() != len(all) {
			t.Fatalf("%d values of %d", runs.Len(), len(all))
		}
		for i, want := range all {
			if got := runs.At(i + 1); got != want {
				t.Fatalf("rank %d of %v: %v, want %v", i+1, runs, got, want)
			}
			if below, _ := slices.BinarySearch(all, want); runs.Below(want) != below {
				t.Fatalf("%d below %v, want %d", runs.Below(want), want, below)
			}
		}
		for _, p := range []float64{0, 0.025, 0.5, 0.9, 1} {
			for kind := InverseCDF; kind <= NormalUnbiased; kind++ {
				got, want := runs.Quantile(p, kind), Quantile(all, p, kind)
				if got != want && !(len(all) == 0 && got != got) {
					t.Errorf("quantile %g of type %d: %v, want %v", p, kind, got, want)
				}
			}
		}
		for _, rank := range []int{-1, 0, len(all) + 1} {
			if got := runs.At(rank); got == got {
				t.Errorf("rank %d of %d values: %v", rank, len(all), got)
			}
		}
	}
}

// A description by exact sums is that of the values.
func TestSampleOf(t *testing.T) {
	var m exact.Moments
	x := []float64{3, 1, 4, 1, 5, 9, 2, 6}
	for _, v := range x {
		m.Add(v)
	}
	got, want := SampleOf(&m), Describe(x)
	if got.N != want.N {
		t.Errorf("%d values", got.N)
	}
	atLeast(t, "mean", 15, got.Mean, want.Mean)
	atLeast(t, "SD", 15, got.SD, want.SD)
}
