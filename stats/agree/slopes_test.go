package agree

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The slopes that are kept around the median are those of all slopes, sorted.
func TestSlopesNearAreTheRanksOfAll(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 5))
	const n = 700
	shapes := map[string]func(i int) (x, y float64){
		"one line":        func(int) (float64, float64) { v := random.NormFloat64(); return v, v + 0.2*random.NormFloat64() },
		"no relation":     func(int) (float64, float64) { return random.NormFloat64(), random.NormFloat64() },
		"falling":         func(int) (float64, float64) { v := random.Float64(); return v, 0.1*random.NormFloat64() - v },
		"whole numbers":   func(int) (float64, float64) { return float64(random.IntN(9)), float64(random.IntN(9)) },
		"sorted, trended": func(i int) (float64, float64) { return float64(i), float64(i) + 30*random.NormFloat64() },
		"two groups":      func(i int) (float64, float64) { return float64(i % 2), random.NormFloat64() },
	}
	narrowed := 0
	for name, shape := range shapes {
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = shape(i)
		}
		var sorted []float64
		below := 0
		for i := range x {
			for j := range i {
				dx, dy := x[j]-x[i], y[j]-y[i]
				if dx == 0 && dy == 0 || dx != 0 && dy/dx == -1 {
					continue
				}
				s := dy / dx
				if dx == 0 {
					s = math.Inf(int(math.Copysign(1, dy)))
				}
				if s < -1 {
					below++
				}
				sorted = append(sorted, s)
			}
		}
		slices.Sort(sorted)
		got := slopesNear(x, y, 12000)
		if got.count != len(sorted) || got.offset != below {
			t.Errorf("%s: %d slopes, %d below −1; counted one by one %d and %d", name, got.count, got.offset, len(sorted), below)
			continue
		}
		if len(got.near) < len(sorted) {
			narrowed++
		}
		middle := len(sorted)/2 + below
		for _, rank := range []int{middle, middle - 6000, middle + 6000, middle - 17} {
			if rank < 0 || rank >= len(sorted) || !got.hold([]int{rank}) {
				continue
			}
			got.place([]int{rank})
			if v := got.near[rank-got.below]; v != sorted[rank] {
				t.Errorf("%s: rank %d is %g, sorted %g", name, rank, v, sorted[rank])
			}
		}
		if !got.hold([]int{middle, middle - 5000, middle + 5000}) {
			t.Errorf("%s: the sample missed the ranks", name)
		}
	}
	if narrowed < 3 {
		t.Errorf("all slopes were kept in all but %d shapes", narrowed)
	}
}
