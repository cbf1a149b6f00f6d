package exact

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

// numbers of every size, subnormal ones among them, and some that nearly cancel.
func numbers(random *rand.Rand, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		switch random.IntN(5) {
		case 0:
			x[i] = math.Float64frombits(random.Uint64())
		case 1:
			x[i] = float64(random.IntN(2000)-1000) * math.SmallestNonzeroFloat64
		case 2:
			x[i] = 1e15 + random.Float64()
		default:
			x[i] = random.NormFloat64()
		}
		if math.IsNaN(x[i]) || math.IsInf(x[i], 0) {
			x[i] = -math.MaxFloat64
		}
	}
	return x
}

// rational is the sum of products of two by math/big's fractions.
func rational(x, y []float64) *big.Rat {
	total := new(big.Rat)
	for i := range x {
		a, b := new(big.Rat).SetFloat64(x[i]), new(big.Rat).SetFloat64(y[i])
		total.Add(total, a.Mul(a, b))
	}
	return total
}

func ones(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 1
	}
	return x
}

func float(r *big.Rat) float64 { v, _ := r.Float64(); return v }

// Sums are the true ones, rounded once, as math/big's fractions have them.
func TestSumAgainstFractions(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	for range 300 {
		n := 1 + random.IntN(60)
		x, y := numbers(random, n), numbers(random, n)
		var sum, products Sum
		for i := range x {
			sum.Add(x[i])
			products.AddProduct(x[i], y[i])
		}
		if got, want := sum.Float64(), float(rational(x, ones(n))); got != want {
			t.Errorf("sum of %v: %v, want %v", x, got, want)
		}
		if got, want := products.Float64(), float(rational(x, y)); got != want {
			t.Errorf("sum of products of %v and %v: %v, want %v", x, y, got, want)
		}
	}
}

// A sum that is gathered in parts, in another order, with carries in between, is the
// same, and what is merged stays as it was.
func TestSumOfParts(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 2))
	for range 100 {
		x := numbers(random, 200)
		var whole Sum
		for _, v := range x {
			whole.Add(v)
			whole.AddProduct(v, v)
		}
		parts := make([]Sum, 1+random.IntN(9))
		for _, i := range random.Perm(len(x)) {
			p := &parts[random.IntN(len(parts))]
			p.AddProduct(x[i], x[i])
			p.Add(x[i])
			switch random.IntN(20) {
			case 0:
				p.carry()
			case 1:
				p.pending = mostPending - 1 // the next brings the carries on
			}
		}
		var joined Sum
		for i := range parts {
			before := parts[i].Float64()
			joined.Merge(&parts[i])
			if after := parts[i].Float64(); after != before && !(math.IsInf(after, 0) && after == before) {
				t.Errorf("merged, a part went from %v to %v", before, after)
			}
		}
		if whole.units().Cmp(joined.units()) != 0 {
			t.Errorf("in parts %v, else %v", joined.Float64(), whole.Float64())
		}
	}
}

// The largest and the least number and product have a place.
func TestSumReach(t *testing.T) {
	for _, x := range []float64{math.MaxFloat64, -math.MaxFloat64, math.SmallestNonzeroFloat64, -math.SmallestNonzeroFloat64, 1, 0} {
		var s Sum
		const n = 1000
		for range n {
			s.AddProduct(x, x)
		}
		square := new(big.Int).Mul(s.units(), big.NewInt(1))
		want := new(big.Rat).Mul(rational([]float64{x}, []float64{x}), new(big.Rat).SetInt(new(big.Int).Lsh(big.NewInt(n), unit)))
		if !want.IsInt() || want.Num().Cmp(square) != 0 {
			t.Errorf("%d squares of %v: %v, want %v", n, x, square, want)
		}
	}
	var s Sum
	s.Add(math.MaxFloat64)
	s.Add(math.MaxFloat64)
	if got := s.Float64(); !math.IsInf(got, 1) {
		t.Errorf("beyond the largest number: %v", got)
	}
	s.Add(-math.MaxFloat64)
	if got := s.Float64(); got != math.MaxFloat64 {
		t.Errorf("and back: %v", got)
	}
}

func TestSumOfWhatIsNotFinite(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		x    []float64
		want float64
	}{{[]float64{1, inf}, inf}, {[]float64{-inf, 3, -inf}, -inf}, {[]float64{inf, -inf}, math.NaN()}, {[]float64{1, math.NaN()}, math.NaN()}} {
		var m Moments
		for _, v := range c.x {
			var one Moments
			one.Add(v)
			m.Merge(&one)
		}
		if got := m.Mean(); got != c.want && !(got != got && c.want != c.want) {
			t.Errorf("mean of %v: %v", c.x, got)
		}
		if v := m.Variance(); v == v {
			t.Errorf("variance of %v: %v", c.x, v)
		}
	}
}

// Mean, variance and the error of a ratio are those of exact fractions.
func TestMomentsAgainstFractions(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 3))
	for range 100 {
		n := 2 + random.IntN(40)
		x, y := make([]float64, n), make([]float64, n)
		var m Moments
		var p Pairs
		for i := range x {
			x[i], y[i] = 1e9+random.NormFloat64(), 40+random.NormFloat64()
			m.Add(x[i])
			p.Add(x[i], y[i])
		}
		size, one := new(big.Rat).SetInt64(int64(n)), ones(n)
		mean := new(big.Rat).Quo(rational(x, one), size)
		variance := new(big.Rat)
		for _, v := range x {
			d := new(big.Rat).SetFloat64(v)
			d.Sub(d, mean)
			variance.Add(variance, d.Mul(d, d))
		}
		below := new(big.Rat).SetInt64(int64(n - 1))
		if got, want := m.Mean(), float(mean); got != want {
			t.Errorf("mean %v, want %v", got, want)
		}
		if got, want := m.Variance(), float(variance.Quo(variance, below)); got != want {
			t.Errorf("variance %v, want %v", got, want)
		}
		ratio := new(big.Rat).Quo(rational(x, one), rational(y, one))
		squares := new(big.Rat)
		for i := range x {
			a, b := new(big.Rat).SetFloat64(x[i]), new(big.Rat).SetFloat64(y[i])
			a.Sub(a, b.Mul(b, ratio))
			squares.Add(squares, a.Mul(a, a))
		}
		squares.Quo(squares.Quo(squares, below), size) // variance of the mean residual
		meanBelow := new(big.Rat).Quo(rational(y, one), size)
		squares.Quo(squares, meanBelow.Mul(meanBelow, meanBelow))
		got, se := p.Ratio()
		if want := float(ratio); got != want {
			t.Errorf("ratio %v, want %v", got, want)
		}
		if want := math.Sqrt(float(squares)); se != want {
			t.Errorf("error of the ratio %v, want %v", se, want)
		}
	}
}

// Too few values have no answer.
func TestMomentsOfFew(t *testing.T) {
	var m Moments
	var p Pairs
	nan := func(v float64) bool { return v != v }
	if ratio, se := p.Ratio(); !nan(m.Mean()) || !nan(m.Variance()) || !nan(ratio) || !nan(se) {
		t.Error("of nothing there is an answer")
	}
	m.Add(3)
	p.Add(3, 2)
	if ratio, se := p.Ratio(); m.Mean() != 3 || !nan(m.Variance()) || ratio != 1.5 || !nan(se) {
		t.Error("of one value: its mean, its ratio and no spread")
	}
}

func BenchmarkMoments(b *testing.B) {
	random := rand.New(rand.NewPCG(4, 4))
	x := make([]float64, 1<<14)
	for i := range x {
		x[i] = 40 + 10*random.NormFloat64()
	}
	var s Sum
	var m Moments
	b.Run("sum", func(b *testing.B) {
		for i := range b.N {
			s.Add(x[i%len(x)])
		}
	})
	b.Run("moments", func(b *testing.B) {
		for i := range b.N {
			m.Add(x[i%len(x)])
		}
	})
}
