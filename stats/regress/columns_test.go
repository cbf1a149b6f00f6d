package regress

import (
	"math"
	deep "reflect"
	"runtime"
	"testing"

	"tonocohort/testdata"
)

// Columns that are computed where they are wanted give the numbers that the same
// columns give when they are stored, to the last bit, wherever rows are taken one by
// one (quantiles, clusters) or in blocks.
func TestComputedColumnsAreTheStoredOnes(t *testing.T) {
	n := 2*blockRows + 77
	x, other, y, cluster := make([]float64, n), make([]float64, n), make([]float64, n), make([]int, n)
	for i := range x {
		x[i] = 20 + 60*unitHash(uint64(i))
		other[i] = unitHash(uint64(i) ^ 0xabcdef)
		y[i] = math.Sin(x[i]/9) + 2*other[i] + unitHash(uint64(i)^0x1234567)
		cluster[i] = i % 40
	}
	s, err := NewNaturalSpline(x, 4)
	if err != nil {
		t.Fatal(err)
	}
	computed := NewDesign(true)
	computed.AddPolynomial("other", other, 2)
	computed.AddSpline("x", x, s)
	level := make([]int32, n)
	for i := range level {
		level[i] = int32(4 * unitHash(uint64(i)^0xfeed))
	}
	computed.AddFactor("level", []string{"1", "3"}, level, []int32{1, 3})
	kept := *computed
	kept.columns = nil
	for j := range computed.columns {
		kept.columns = append(kept.columns, column{values: computed.whole(j, n)})
	}
	type numbers struct{ Coefficients, Residuals, Leverages, HC3, Cluster, Quantile, NID, Mixed []float64 }
	of := func(d *Design) numbers {
		f := mustOLS(t, d, y, nil)
		c, err := f.ClusterCovariance(CR2, cluster)
		if err != nil {
			t.Fatal(err)
		}
		q, err := Quantile(d, y, nil, 0.3)
		if err != nil {
			t.Fatal(err)
		}
		nid, err := q.Covariance(QuantileNID)
		if err != nil {
			t.Fatal(err)
		}
		mixed, err := RandomIntercept(d, y, cluster)
		if err != nil {
			t.Fatal(err)
		}
		return numbers{f.Coefficients, f.Residuals, f.Leverages(), mustCovariance(t, f, HC3).SE(), c.SE(), q.Coefficients, nid.SE(), mixed.Coefficients}
	}
	if a, b := of(computed), of(&kept); !deep.DeepEqual(a, b) {
		t.Errorf("computed %v\nstored %v", a.Coefficients, b.Coefficients)
	}
}

// A row that no power or spline can be computed of is named.
func TestComputedColumnsNameTheirBadRow(t *testing.T) {
	x := []float64{1, 2, 3, math.Inf(1), 5, 6}
	d := NewDesign(true)
	d.AddPolynomial("x", x, 2)
	if _, err := OLS(d, []float64{1, 2, 1, 2, 1, 2}, nil); err == nil {
		t.Error("an infinite predictor passes")
	}
	s, err := NaturalSplineWith([]float64{3}, [2]float64{0, 6})
	if err != nil {
		t.Fatal(err)
	}
	d = NewDesign(true)
	d.AddSpline("x", x[:3], s)
	if _, err := OLS(d, []float64{1, 2, 1, 2}, nil); err == nil {
		t.Error("a predictor of three rows passes for four")
	}
}

// A fit in the place of one whose rows were dropped gives the same numbers, and
// leaves those of the other as they were.
func TestFitInThePlaceOfADroppedOne(t *testing.T) {
	n := blockRows + 9
	x, y, z := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range x {
		x[i], y[i] = unitHash(uint64(i)), unitHash(uint64(i)^0x77)
		z[i] = x[i] - 2*y[i]
	}
	type numbers struct{ Coefficients, Residuals, Leverages, HC3 []float64 }
	of := func(f *Fit) numbers {
		hc3 := mustCovariance(t, f, HC3).SE()
		return numbers{f.Coefficients, append([]float64(nil), f.Residuals...), append([]float64(nil), f.Leverages()...), hc3}
	}
	fit := func(outcome []float64) *Fit { return mustOLS(t, Columns(true, nil, [][]float64{x}), outcome, nil) }
	first, second := of(fit(y)), of(fit(z))
	for range 3 {
		f := fit(y)
		if got := of(f); !deep.DeepEqual(got, first) {
			t.Fatalf("%v, not %v", got.Coefficients, first.Coefficients)
		}
		f.DropRows()
		g := fit(z)
		if got := of(g); !deep.DeepEqual(got, second) || !deep.DeepEqual(f.Coefficients, first.Coefficients) {
			t.Fatalf("%v, not %v", got.Coefficients, second.Coefficients)
		}
	}
}

// invented is a design with a computed column of each kind on n rows.
func invented(t *testing.T, n int) (d *Design, y []float64) {
	t.Helper()
	x, other, level := make([]float64, n), make([]float64, n), make([]int32, n)
	y = make([]float64, n)
	for i := range x {
		x[i], other[i] = 20+60*unitHash(uint64(i)), unitHash(uint64(i)^0xabcdef)
		level[i] = int32(4 * unitHash(uint64(i)^0xfeed))
		y[i] = x[i]/9 + 2*other[i] + float64(level[i]) + unitHash(uint64(i)^0x1234567)
	}
	s, err := NewNaturalSpline(x, 5)
	if err != nil {
		t.Fatal(err)
	}
	d = NewDesign(true)
	d.AddPolynomial("other", other, 2)
	d.AddSpline("x", x, s)
	d.AddFactor("level", []string{"1", "2", "3"}, level, []int32{1, 2, 3})
	return d, y
}

// No digit tells how many processors there were.
func TestProcessorsDoNotShow(t *testing.T) {
	d, y := invented(t, 2*chunkRows+1000)
	type numbers struct {
		Coefficients, Residuals, Leverages, HC3, Quantile, NID []float64
		Tests                                                  [2]Test
	}
	of := func(processors int) numbers {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		f := mustOLS(t, d, y, nil)
		hc3 := mustCovariance(t, f, HC3).SE()
		variance, form, _, err := f.Specification()
		if err != nil {
			t.Fatal(err)
		}
		variance.DF2 = 0 // none
		q, err := Quantile(d, y, nil, 0.5)
		if err != nil {
			t.Fatal(err)
		}
		nid, err := q.Covariance(QuantileNID)
		if err != nil {
			t.Fatal(err)
		}
		return numbers{f.Coefficients, f.Residuals, f.Leverages(), hc3, q.Coefficients, nid.SE(), [2]Test{variance, form}}
	}
	if one, four := of(1), of(4); !deep.DeepEqual(one, four) {
		t.Errorf("one %v %v\nfour %v %v", one.Coefficients, one.NID, four.Coefficients, four.NID)
	}
}

// A fit keeps residuals and leverages of its rows, and no model matrix: that of this
// design is 88 bytes a row.
func TestFitHoldsNoModelMatrix(t *testing.T) {
	const n = 200_000
	perRow := uint64(24)
	if testdata.UnderRaceDetector() {
		perRow = 60 // which lets pools lose at random what they are given
	}
	d, y := invented(t, n)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f := mustOLS(t, d, y, nil)
	mustCovariance(t, f, HC3)
	f.Leverages()
	runtime.ReadMemStats(&after)
	if got := after.TotalAlloc - before.TotalAlloc; got > perRow*n {
		t.Errorf("%d bytes a row were asked for", got/n)
	}
}
