package regress

import (
	"math/rand/v2"
	"testing"
)

// benchmarkTable makes n rows of 12 predictors and an outcome.
func benchmarkTable(n int) (y []float64, x [][]float64) {
	random := rand.New(rand.NewPCG(1, 2))
	x = make([][]float64, 11)
	for k := range x {
		x[k] = make([]float64, n)
		for i := range x[k] {
			x[k][i] = 50 + 12*random.NormFloat64()
		}
	}
	y = make([]float64, n)
	for i := range y {
		y[i] = 40 + 0.01*x[0][i]*x[0][i] - 0.1*x[3][i] + 6*random.NormFloat64()
	}
	return y, x
}

// One million rows, 13 columns (a quadratic in the first), with HC3 errors;
// making the model matrix is counted.
func BenchmarkLeastSquaresHC3Million(b *testing.B) {
	y, x := benchmarkTable(1_000_000)
	b.ReportAllocs()
	for b.Loop() {
		d := NewDesign(true)
		d.AddPolynomial("age", x[0], 2)
		for k := 1; k < len(x); k++ {
			d.Add(powerName("x", k), x[k])
		}
		f, err := OLS(d, y, nil)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := f.Covariance(HC3); err != nil {
			b.Fatal(err)
		}
	}
}

// Median regression of one million rows on a natural spline of age with five
// columns and ten other predictors, with errors; making the model matrix is
// counted.
func BenchmarkMedianMillion(b *testing.B) {
	y, x := benchmarkTable(1_000_000)
	b.ReportAllocs()
	for b.Loop() {
		s, err := NewNaturalSpline(x[0], 5)
		if err != nil {
			b.Fatal(err)
		}
		d := NewDesign(true)
		d.AddSpline("age", x[0], s)
		for k := 1; k < len(x); k++ {
			d.Add(powerName("x", k), x[k])
		}
		f, err := Quantile(d, y, nil, 0.5)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := f.Covariance(QuantileNID); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(f.Steps), "exchanges")
	}
}

// Errors by person for 100 000 persons with two visits each, 13 columns.
func BenchmarkClusterCR2(b *testing.B) {
	y, x := benchmarkTable(200_000)
	person := make([]int, len(y))
	for i := range person {
		person[i] = i / 2
	}
	f, err := OLS(Columns(true, nil, x), y, nil)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := f.ClusterCovariance(CR2, person); err != nil {
			b.Fatal(err)
		}
	}
}
