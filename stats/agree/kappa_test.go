package agree

import (
	"math"
	"testing"
)

// R 4.2.2, psych 2.2.9.
func TestKappaAgainstR(t *testing.T) {
	two, err := CohenKappa([][]int{{20, 5}, {10, 15}}, KappaUnweighted, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "2 × 2", []float64{two.Observed, two.Expected, two.Estimate, two.SE}, []float64{0.7, 0.5, 0.4, 0.1269960629311}, 1e-12)
	counts := [][]int{{88, 14, 18}, {10, 40, 10}, {2, 6, 12}}
	plain, err := CohenKappa(counts, KappaUnweighted, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "3 × 3", []float64{plain.Estimate, plain.SE}, []float64{0.491525423728813, 0.0510018155760779}, 1e-11)
	quadratic, err := CohenKappa(counts, KappaQuadratic, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "3 × 3, quadratic", []float64{quadratic.Estimate}, []float64{0.454545454545454}, 1e-11)
	g := readGolden(t, "r05_agreement").at("tests", "kappa")
	counts = [][]int{{20, 4, 1}, {5, 15, 3}, {2, 6, 18}}
	for weights, name := range map[string]string{KappaUnweighted: "kappa", KappaQuadratic: "weighted_quadratic"} {
		k, err := CohenKappa(counts, weights, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		same(t, name, []float64{k.Estimate}, g.at(name).numbers(), goldenTolerance)
	}
}

// The error is that of the first-order expansion of kappa in the shares of the
// cells, here by differences. (psych 2.2.9 has another value for weighted kappa.)
func TestKappaError(t *testing.T) {
	counts := [][]int{{88, 14, 18}, {10, 40, 10}, {2, 6, 12}}
	const size, n = 3, 200.0
	for _, weights := range []string{KappaUnweighted, KappaLinear, KappaQuadratic} {
		weight, err := kappaWeights(weights, size)
		if err != nil {
			t.Fatal(err)
		}
		kappa := func(cell int, h float64) float64 {
			var p, row, column [size * size]float64
			var total, observed, expected float64
			for c := range p {
				p[c] = float64(counts[c/size][c%size]) / n
				if c == cell {
					p[c] += h
				}
				total += p[c]
				row[c/size] += p[c]
				column[c%size] += p[c]
			}
			for c := range p {
				observed += weight(c/size, c%size) * p[c] / total
				expected += weight(c/size, c%size) * row[c/size] * column[c%size] / (total * total)
			}
			return (observed - expected) / (1 - expected)
		}
		var mean, square float64
		for c := range size * size {
			share := float64(counts[c/size][c%size]) / n
			slope := (kappa(c, 1e-5) - kappa(c, -1e-5)) / 2e-5
			mean += share * slope
			square += share * slope * slope
		}
		k, err := CohenKappa(counts, weights, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		same(t, weights, []float64{k.SE}, []float64{math.Sqrt((square - mean*mean) / n)}, 1e-7)
	}
}
