package stats

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"tonocohort/testdata"
)

// probabilities are the terms of the binomial distribution.
func probabilities(n int, p float64) []float64 {
	out := make([]float64, n+1)
	for k := range out {
		a, _ := math.Lgamma(float64(n + 1))
		b, _ := math.Lgamma(float64(k + 1))
		c, _ := math.Lgamma(float64(n - k + 1))
		out[k] = math.Exp(a - b - c + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
	}
	return out
}

// The interval between the order statistics l and u holds the quantile where the
// number of values below it is l to u − 1: the coverage that is told is that sum
// of binomial terms, and never below what was asked for, for every n to 600 and
// some larger.
func TestOrderStatisticCoverageIsBinomial(t *testing.T) {
	least, off, intervals := 1.0, 0.0, 0
	sizes := []int{1000, 2000, 5000, 10000}
	for n := 1; n <= 600; n++ {
		sizes = append(sizes, n)
	}
	for _, n := range sizes {
		for _, p := range []float64{0.025, 0.03, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.97, 0.975} {
			terms := probabilities(n, p)
			for _, level := range []float64{0.9, 0.95, 0.99} {
				low, high, coverage := OrderStatisticRanks(n, p, level)
				if low == 0 || high == 0 {
					continue
				}
				want := 0.0
				for _, term := range terms[low:high] {
					want += term
				}
				intervals++
				off = max(off, math.Abs(coverage-want))
				if level == 0.95 {
					least = min(least, want)
				}
				if want < level-1e-9 || math.Abs(coverage-want) > 1e-9 {
					t.Errorf("n %d, p %g, level %g: %.6f is told, %.6f by its terms", n, p, level, coverage, want)
				}
			}
		}
	}
	t.Logf("%d intervals: told and enumerated coverage differ by at most %.1e; the least at 95 %% is %.2f %%", intervals, off, 100*least)
}

// The same by drawing: the share of samples of 100 whose interval holds the
// quantile is the binomial value.
func TestOrderStatisticCoverageBySimulation(t *testing.T) {
	const n = 100
	samples, _ := testdata.Replicates(t, 2000)
	random := rand.New(rand.NewPCG(3, 100))
	levels := []float64{0.05, 0.5, 0.95}
	hits := make([]int, len(levels))
	x := make([]float64, n)
	for range samples {
		for i := range x {
			x[i] = math.Exp(random.NormFloat64())
		}
		sort.Float64s(x)
		for k, p := range levels {
			truth := math.Exp(NormalQuantile(p))
			if i := QuantileInterval(x, p, 0.95); i.Low <= truth && truth <= i.High {
				hits[k]++
			}
		}
	}
	for k, p := range levels {
		_, _, want := OrderStatisticRanks(n, p, 0.95)
		share := float64(hits[k]) / float64(samples)
		t.Logf("P%g of %d: %.2f %% of %d, binomial %.2f %%", 100*p, n, 100*share, samples, 100*want)
		if math.Abs(share-want) > 3.5*math.Sqrt(want*(1-want)/float64(samples)) {
			t.Errorf("P%g: %.4f, want %.4f", 100*p, share, want)
		}
	}
}

// Wilson's interval holds p where the score statistic |x − np|/√(np(1 − p)) is at
// most z (Wilson 1927), so that its coverage is the binomial probability of those
// x, enumerated here without the interval; the intervals give the same, and so
// does drawing. It is not exact: for p near 0 and 1 it falls below its level
// (Brown, Cai and DasGupta 2001, Stat Sci 16:101-33).
func TestWilsonCoverageIsEnumerated(t *testing.T) {
	samples, _ := testdata.Replicates(t, 2000)
	random := rand.New(rand.NewPCG(19, 27))
	z := NormalQuantile(0.975)
	off, least, mean, count := 0.0, 1.0, 0.0, 0
	for _, n := range []int{5, 10, 20, 43, 50, 100, 200, 500} {
		intervals := make([]Interval, n+1)
		for k := range intervals {
			intervals[k] = Wilson(k, n, 0.95)
		}
		for p := 0.0123; p < 1; p += 0.0171 { // such that no score is z itself
			want, got := 0.0, 0.0
			for k, term := range probabilities(n, p) {
				if math.Abs(float64(k)-float64(n)*p) <= z*math.Sqrt(float64(n)*p*(1-p)) {
					want += term
				}
				if intervals[k].Low <= p && p <= intervals[k].High {
					got += term
				}
			}
			count++
			off, least, mean = max(off, math.Abs(got-want)), min(least, got), mean+got
			if math.Abs(got-want) > 1e-9 {
				t.Errorf("n %d, p %.4f: coverage %.6f, by the score %.6f", n, p, got, want)
			}
		}
		for _, p := range []float64{0.1, 0.3} {
			hits, want := 0, 0.0
			for k, term := range probabilities(n, p) {
				if intervals[k].Low <= p && p <= intervals[k].High {
					want += term
				}
			}
			for range samples {
				k := 0
				for range n {
					if random.Float64() < p {
						k++
					}
				}
				if intervals[k].Low <= p && p <= intervals[k].High {
					hits++
				}
			}
			share := float64(hits) / float64(samples)
			if math.Abs(share-want) > 4*math.Sqrt(want*(1-want)/float64(samples)) {
				t.Errorf("n %d, p %g: %.4f of %d draws, enumerated %.4f", n, p, share, samples, want)
			}
		}
	}
	t.Logf("%d pairs of n and p: differ by at most %.1e; coverage %.2f %% on average, %.2f %% at least", count, off, 100*mean/float64(count), 100*least)
}
