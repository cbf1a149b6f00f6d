package agree

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
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

// What is told of the slopes by the places of points is what looking at each of them
// tells, to the sign of a zero.
func TestCrossingsAreTheSlopesBetween(t *testing.T) {
	random := rand.New(rand.NewPCG(13, 17))
	whole := func(n int) float64 { return float64(random.IntN(n) - n/2) }
	shapes := map[string]func(i int) (x, y float64){
		"one line":             func(int) (float64, float64) { v := random.NormFloat64(); return v, v + 0.2*random.NormFloat64() },
		"no relation":          func(int) (float64, float64) { return random.NormFloat64(), random.NormFloat64() },
		"falling":              func(int) (float64, float64) { v := random.Float64(); return v, 0.1*random.NormFloat64() - v },
		"whole numbers":        func(int) (float64, float64) { return whole(9), whole(9) },
		"whole numbers, many":  func(int) (float64, float64) { v := whole(90); return v, v + whole(9) },
		"falling whole":        func(int) (float64, float64) { v := whole(90); return v, whole(9) - v },
		"tenths":               func(int) (float64, float64) { v := whole(900) / 10; return v, v + whole(300)/10 },
		"exactly one line":     func(int) (float64, float64) { v := random.NormFloat64(); return v, 2 * v },
		"exactly a falling":    func(int) (float64, float64) { v := whole(400); return v, -v },
		"two groups":           func(i int) (float64, float64) { return float64(i % 2), random.NormFloat64() },
		"level":                func(int) (float64, float64) { return whole(50), whole(3) },
		"enormous":             func(int) (float64, float64) { return 1e300 * random.NormFloat64(), 1e300 * random.NormFloat64() },
		"tiny":                 func(int) (float64, float64) { return 1e-310 * random.NormFloat64(), 1e-310 * random.NormFloat64() },
		"of very unequal size": func(int) (float64, float64) { return 1e-200 * random.NormFloat64(), 1e200 * random.NormFloat64() },
		"far from zero":        func(int) (float64, float64) { return 1e12 + random.NormFloat64(), 1e12 + random.NormFloat64() },
		"a hair apart":         func(int) (float64, float64) { v := 1000 * whole(7); return v, v/10 + 0x1p-37*whole(3) },
		"each twice":           func(i int) (float64, float64) { return float64(i / 2), math.Sin(float64(i / 2)) },
		"zeros of both signs": func(i int) (float64, float64) {
			return math.Copysign(whole(3), float64(i%3)-1), math.Copysign(whole(3), float64(i%2)-1)
		},
	}
	told := map[string]int{}
	for name, shape := range shapes {
		for range 30 {
			n := 2 + random.IntN(90)
			x, y := make([]float64, n), make([]float64, n)
			for i := range x {
				x[i], y[i] = shape(i)
			}
			all := slices.Sorted(slices.Values(allSlopes(x, y).near))
			for range 10 {
				low, high := -2+3*random.Float64(), 3*random.Float64()
				if len(all) > 0 && random.IntN(2) == 0 {
					low, high = bounds(slices.Clone(all), random.IntN(len(all)), random.IntN(len(all)))
				}
				if !(low < high) {
					continue
				}
				got, ok := crossings(x, y, low, high, 0)
				if !ok {
					continue
				}
				told[name]++
				want := slopesWithin(x, y, low, high, 0)
				bits := func(of []float64) []uint64 {
					list := make([]uint64, len(of))
					for i, v := range of {
						list[i] = math.Float64bits(v)
					}
					slices.Sort(list)
					return list
				}
				if got.count != want.count || got.offset != want.offset || got.below != want.below || !slices.Equal(bits(got.near), bits(want.near)) {
					t.Fatalf("%s, %v and %v from %g to %g: %d slopes, %d below −1, %d below, %d within; one by one %d, %d, %d, %d", name, x, y, low, high,
						got.count, got.offset, got.below, len(got.near), want.count, want.offset, want.below, len(want.near))
				}
			}
		}
	}
	for name := range shapes {
		if extreme := name == "enormous" || name == "tiny"; (told[name] == 0) != extreme {
			t.Errorf("%s: told %d times", name, told[name])
		}
	}
}

func BenchmarkPassingBablok(b *testing.B) {
	random := rand.New(rand.NewPCG(19, 23))
	for _, n := range []int{200, 2000, 10000} {
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = 120 + 15*random.NormFloat64()
			y[i] = 0.9*x[i] + 4*random.NormFloat64()
		}
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			for b.Loop() {
				if _, err := PassingBablok(x, y, 0.95); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
