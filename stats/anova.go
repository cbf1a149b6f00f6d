package stats

import "math"

// ANOVA is a one-way analysis of variance.
type ANOVA struct {
	BetweenDegrees, WithinDegrees int
	BetweenSquares, WithinSquares float64 // sums of squares
	F                             float64
	P                             float64
	RSquared                      float64
	ResidualSD                    float64
}

// OneWayANOVA compares the means of several groups. Groups without values do
// not count; F is NaN with fewer than two groups or no degrees of freedom left
// within. The first value is subtracted from all before anything is squared: it
// costs nothing and saves the digits that values with a large common part would
// lose.
func OneWayANOVA(groups ...[]float64) ANOVA {
	shifted := shiftByFirst(groups)
	var all []float64
	for _, g := range shifted {
		all = append(all, g...)
	}
	grand := Mean(all)
	var between, within sum
	a := ANOVA{BetweenDegrees: len(shifted) - 1, WithinDegrees: len(all) - len(shifted)}
	for _, g := range shifted {
		mean := Mean(g)
		d := mean - grand
		between.add(float64(len(g)) * float64(d*d))
		within.add(squaresAbout(g, mean))
	}
	a.BetweenSquares, a.WithinSquares = between.value(), within.value()
	if a.BetweenDegrees < 1 || a.WithinDegrees < 1 {
		a.F, a.P, a.RSquared, a.ResidualSD = math.NaN(), math.NaN(), math.NaN(), math.NaN()
		return a
	}
	residual := a.WithinSquares / float64(a.WithinDegrees)
	a.F = a.BetweenSquares / float64(a.BetweenDegrees) / residual
	a.P = FTail(a.F, float64(a.BetweenDegrees), float64(a.WithinDegrees))
	a.RSquared = a.BetweenSquares / (a.BetweenSquares + a.WithinSquares)
	a.ResidualSD = math.Sqrt(residual)
	return a
}

func shiftByFirst(groups [][]float64) [][]float64 {
	var shifted [][]float64
	var first float64
	for _, g := range groups {
		if len(g) == 0 {
			continue
		}
		if shifted == nil {
			first = g[0]
		}
		s := make([]float64, len(g))
		for i, v := range g {
			s[i] = v - first
		}
		shifted = append(shifted, s)
	}
	return shifted
}
