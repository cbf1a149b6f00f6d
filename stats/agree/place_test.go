package agree

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The wanted ranks hold what sorting by the standard library leaves there.
func TestPlaceIsSortingAtItsRanks(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	shapes := map[string]func(i, n int) float64{
		"any":        func(int, int) float64 { return random.NormFloat64() },
		"tied":       func(int, int) float64 { return float64(random.IntN(5)) },
		"ascending":  func(i, _ int) float64 { return float64(i) },
		"descending": func(i, n int) float64 { return float64(n - i) },
		"organ pipe": func(i, n int) float64 { return float64(min(i, n-i)) },
		"infinite":   func(i, _ int) float64 { return math.Inf(i%3-1) * float64(1-i%2) },
		"equal":      func(int, int) float64 { return 4 },
	}
	for name, shape := range shapes {
		for _, n := range []int{1, 2, 31, 32, 33, 1000, 20000} {
			x := make([]float64, n)
			for i := range x {
				if x[i] = shape(i, n); math.IsNaN(x[i]) {
					x[i] = 0
				}
			}
			sorted := slices.Sorted(slices.Values(x))
			ranks := []int{n / 2, (n - 1) / 2, random.IntN(n), n - 1, -3, n + 2}
			place(x, slices.Clone(ranks)...)
			for _, r := range ranks[:4] {
				if x[r] != sorted[r] {
					t.Errorf("%s, %d values: rank %d is %g, sorted %g", name, n, r, x[r], sorted[r])
				}
			}
			slices.Sort(x)
			if !slices.Equal(x, sorted) {
				t.Errorf("%s, %d values: values were lost", name, n)
			}
		}
	}
}
