package centile

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"tonocohort/stats"
)

// QTest asks whether z-scores are standard normal at every age in one respect.
type QTest struct {
	Name      string // Q1 mean, Q2 variance, Q3 skewness, Q4 kurtosis
	Statistic float64
	Degrees   float64 // of freedom of chi-square
	P         float64
}

// AgeGroup describes the z-scores of neighbours in age.
type AgeGroup struct {
	AgeLow, AgeHigh float64 // of the youngest and the oldest
	Z               []float64
	Mean, SD        float64
	Skewness        float64 // √b₁
	Kurtosis        float64 // b₂, 3 for a normal distribution
}

// smallestGroup is the least number of people for whom kurtosis has a normal
// deviate (Anscombe and Glynn 1983 give 20 as its limit).
const smallestGroup = 20

// Groups sorts people by age and parts them into groups of nearly equal size,
// people of one age never apart. There are fewer groups than asked for where
// they would fall below 20 people.
func Groups(age, z []float64, count int) ([]AgeGroup, error) {
	if len(age) != len(z) || len(age) < smallestGroup {
		return nil, errors.New("centile: too few z-scores for age groups")
	}
	order := make([]int, len(age))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(age[a], age[b]), cmp.Compare(z[a], z[b])) })
	count = max(1, min(count, len(age)/smallestGroup))
	var groups []AgeGroup
	for from := 0; from < len(order); {
		left := count - len(groups)
		to := from + max((len(order)-from)/max(left, 1), smallestGroup)
		for to < len(order) && age[order[to]] == age[order[to-1]] {
			to++
		}
		if len(order)-to < smallestGroup {
			to = len(order)
		}
		to = min(to, len(order))
		groups = append(groups, newGroup(age, z, order[from:to]))
		from = to
	}
	return groups, nil
}

func newGroup(age, z []float64, members []int) AgeGroup {
	g := AgeGroup{AgeLow: age[members[0]], AgeHigh: age[members[len(members)-1]]}
	for _, i := range members {
		g.Z = append(g.Z, z[i])
	}
	slices.Sort(g.Z)
	g.Mean, g.SD = stats.Mean(g.Z), stats.StandardDeviation(g.Z)
	var moments [3][]float64
	for _, v := range g.Z {
		d := v - g.Mean
		square := float64(d * d)
		moments[0] = append(moments[0], square)
		moments[1] = append(moments[1], float64(square*d))
		moments[2] = append(moments[2], float64(square*square))
	}
	second := stats.Mean(moments[0])
	g.Skewness = stats.Mean(moments[1]) / math.Pow(second, 1.5)
	g.Kurtosis = stats.Mean(moments[2]) / float64(second*second)
	return g
}

// QTests returns the four tests of Royston and Wright 2000 (Stat Med 19:2943-62)
// on groups of z-scores: sums over groups of squares that are chi-square with one
// degree of freedom each where z is standard normal. df are the degrees of
// freedom that the curves of median or mean, of spread and of skewness have taken
// up: one for each is lost by Q1 and Q3, half of it and a half by Q2 (as the
// R package gamlss reckons; from memory). Without degrees left P is NaN.
func QTests(groups []AgeGroup, df [3]float64) [4]QTest {
	count := float64(len(groups))
	tests := [4]QTest{
		{Name: "Q1", Degrees: count - df[0]},
		{Name: "Q2", Degrees: count - (df[1]+1)/2},
		{Name: "Q3", Degrees: count - df[2]},
		{Name: "Q4", Degrees: count},
	}
	for _, g := range groups {
		for k, deviate := range g.deviates() {
			tests[k].Statistic += float64(deviate * deviate)
		}
	}
	for k := range tests {
		tests[k].P = stats.ChiSquareTail(tests[k].Statistic, tests[k].Degrees)
	}
	return tests
}

// deviates are the four statistics of a group as standard normal deviates.
func (g AgeGroup) deviates() [4]float64 {
	n := float64(len(g.Z))
	third := 2 / (9 * (n - 1)) // Wilson and Hilferty 1931
	return [4]float64{
		math.Sqrt(n) * g.Mean,
		(math.Pow(g.SD, 2.0/3) - (1 - third)) / math.Sqrt(third),
		skewnessDeviate(g.Skewness, n),
		kurtosisDeviate(g.Kurtosis, n),
	}
}

// skewnessDeviate is that of √b₁ in a normal sample of n ≥ 8 (D'Agostino 1970,
// Biometrika 57:679-81).
func skewnessDeviate(skewness, n float64) float64 {
	y := skewness * math.Sqrt((n+1)*(n+3)/(6*(n-2)))
	beta := 3 * (n*n + 27*n - 70) * (n + 1) * (n + 3) / ((n - 2) * (n + 5) * (n + 7) * (n + 9))
	w := math.Sqrt(2*(beta-1)) - 1 // W²
	delta := 1 / math.Sqrt(math.Log(w)/2)
	alpha := math.Sqrt(2 / (w - 1))
	return delta * math.Asinh(y/alpha)
}

// kurtosisDeviate is that of b₂ in a normal sample of n ≥ 20 (Anscombe and Glynn
// 1983, Biometrika 70:227-34).
func kurtosisDeviate(kurtosis, n float64) float64 {
	mean := 3 * (n - 1) / (n + 1)
	variance := 24 * n * (n - 2) * (n - 3) / ((n + 1) * (n + 1) * (n + 3) * (n + 5))
	x := (kurtosis - mean) / math.Sqrt(variance)
	skew := 6 * (n*n - 5*n + 2) / ((n + 7) * (n + 9)) * math.Sqrt(6*(n+3)*(n+5)/(n*(n-2)*(n-3)))
	a := 6 + 8/skew*(2/skew+math.Sqrt(1+4/(skew*skew)))
	ratio := (1 - 2/a) / (1 + x*math.Sqrt(2/(a-4)))
	return (1 - 2/(9*a) - math.Cbrt(ratio)) / math.Sqrt(2/(9*a))
}

// DetrendedPoint is a point of a detrended normal quantile plot (worm plot: van
// Buuren and Fredriks 2001, Stat Med 20:1259-77): how far the z-score of a group
// at a deviate lies above that deviate, and the pointwise limits within which it
// lies for 95 of 100 groups from a normal distribution.
type DetrendedPoint struct {
	Deviate    float64
	Difference float64
	Limit      float64 // the limits are −Limit and Limit
}

// Detrended returns the points of a group at some shares below, as quantiles of
// type 9; a share with fewer than one person beyond it has none.
func (g AgeGroup) Detrended(shares []float64) []DetrendedPoint {
	var points []DetrendedPoint
	n := float64(len(g.Z))
	for _, p := range shares {
		if n*min(p, 1-p) < 1 {
			continue
		}
		deviate := stats.NormalQuantile(p)
		density := math.Exp(-float64(deviate*deviate)/2) / math.Sqrt(2*math.Pi)
		points = append(points, DetrendedPoint{
			Deviate:    deviate,
			Difference: stats.Quantile(g.Z, p, stats.NormalUnbiased) - deviate,
			Limit:      stats.NormalQuantile(0.975) * math.Sqrt(p*(1-p)/n) / density,
		})
	}
	return points
}

// ShareBelow returns how many of some people lie below their centile p, of how
// many for whom it exists: the fit of a single curve, by whatever method.
func ShareBelow(r Reference, age, value []float64, p float64) (below, of int) {
	c := math.NaN()
	for i, a := range age {
		if i == 0 || a != age[i-1] { // of one age there is one
			c = r.Centile(a, p)
		}
		if math.IsNaN(c) {
			continue
		}
		of++
		if value[i] < c {
			below++
		}
	}
	return below, of
}
