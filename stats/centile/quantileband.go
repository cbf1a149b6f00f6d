package centile

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"

	"tonocohort/stats"
)

// bandCurves is the number of levels at which curves are fitted for each side of
// a band; between them it is interpolated.
const bandCurves = 5

// Bands returns the pointwise intervals of every level at some ages, by level
// and age. An interval lies between two regression quantiles, without an
// estimate of any density (Zhou and Portnoy 1996, Ann Stat 24:287-306; from
// memory): at each age the variance of a fitted value says how many independent
// people it is worth, the exact binomial interval (Clopper and Pearson 1934,
// Biometrika 26:404-13) of the level among so many gives the two levels, and
// these are moved outwards by n/(n − columns), since a regression quantile with
// many columns is drawn inwards (own correction; the tests hold the coverage).
func (f *QuantileFit) Bands(ages []float64, level float64) ([][]stats.Interval, error) {
	worth := make([]float64, len(ages))
	for j, age := range ages {
		worth[j] = f.worth(age)
	}
	out := make([][]stats.Interval, len(f.Levels))
	for k, p := range f.Levels {
		lows, highs := make([]float64, len(ages)), make([]float64, len(ages))
		for j, m := range worth {
			low, high := binomialLevels(p, m, level)
			lows[j], highs[j] = f.outwards(low), f.outwards(high)
		}
		low, err := f.side(ages, lows)
		if err != nil {
			return nil, err
		}
		high, err := f.side(ages, highs)
		if err != nil {
			return nil, err
		}
		out[k] = make([]stats.Interval, len(ages))
		for j := range ages {
			out[k][j] = stats.Interval{Low: low[j], High: high[j], Level: level, Method: BandQuantile}
		}
	}
	f.uncross(ages, out)
	return out, nil
}

// worth is the number of independent people to which a fitted value at an age is
// worth: the reciprocal of x′(X′X)⁻¹x.
func (f *QuantileFit) worth(age float64) float64 {
	x := f.Ages.Position(age)
	if math.IsNaN(x) {
		return x
	}
	v := mat.NewVecDense(len(f.basis.knots), f.basis.weights(x))
	var solved mat.VecDense
	// The condition was judged where the matrix was factorised.
	_ = f.spread.SolveVecTo(&solved, v)
	return 1 / mat.Dot(v, &solved)
}

// binomialLevels is the interval of Clopper and Pearson for a share p among m
// people, m and p·m not whole. An end is NaN where even the outermost of so many
// people would miss the level too often: with more than twice the probability
// of its tail, of which the middle of the discrete distribution is taken (mid-P).
func binomialLevels(p, m, level float64) (low, high float64) {
	low, high = math.NaN(), math.NaN()
	tail, hits := (1-level)/2, float64(p*m)
	if math.Pow(1-p, m) <= 2*tail {
		low = mathext.InvRegIncBeta(hits, m-hits+1, tail)
	}
	if math.Pow(p, m) <= 2*tail {
		high = mathext.InvRegIncBeta(hits+1, m-hits, 1-tail)
	}
	return low, high
}

// outwards moves a level away from the middle, at most so far that half a person
// lies beyond it, where the curve runs along the outermost people.
func (f *QuantileFit) outwards(level float64) float64 {
	n := float64(f.N)
	edge := 1 / (2 * n)
	moved := 0.5 + (level-0.5)*n/(n-float64(len(f.basis.knots)))
	if math.IsNaN(moved) {
		return moved
	}
	return min(max(moved, edge), 1-edge)
}

// side evaluates, at each age, the regression quantile at its own level: curves
// are fitted at a few levels from the lowest to the highest.
func (f *QuantileFit) side(ages, levels []float64) ([]float64, error) {
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, l := range levels {
		lowest, highest = min(lowest, fromNaN(l, lowest)), max(highest, fromNaN(l, highest))
	}
	out := make([]float64, len(ages))
	if math.IsInf(lowest, 0) {
		for j := range out {
			out[j] = math.NaN()
		}
		return out, nil
	}
	at := evenKnots(lowest, highest, bandCurves)
	if lowest == highest {
		at = at[:1]
	}
	curves := make([]Curve, len(at))
	for i, l := range at {
		var err error
		if curves[i], _, err = f.curve(l); err != nil {
			return nil, err
		}
	}
	for j, age := range ages {
		x := f.Ages.Position(age)
		i := min(max(sortSearch(at, levels[j])-1, 0), max(len(at)-2, 0))
		out[j] = curves[i].At(x)
		if i+1 < len(at) {
			share := (levels[j] - at[i]) / (at[i+1] - at[i])
			out[j] += float64(share * (curves[i+1].At(x) - out[j]))
		}
		if math.IsNaN(levels[j]) {
			out[j] = math.NaN()
		}
	}
	return out, nil
}

func fromNaN(v, otherwise float64) float64 {
	if math.IsNaN(v) {
		return otherwise
	}
	return v
}

// uncross sorts the ends of the intervals of an age by level, as the centiles
// are, and keeps each centile within its interval.
func (f *QuantileFit) uncross(ages []float64, bands [][]stats.Interval) {
	for j, age := range ages {
		var lows, highs []float64
		for k := range bands {
			if b := bands[k][j]; !math.IsNaN(b.Low) && !math.IsNaN(b.High) {
				lows, highs = append(lows, b.Low), append(highs, b.High)
			}
		}
		slices.Sort(lows)
		slices.Sort(highs)
		at := 0
		for k, centile := range f.At(age) {
			b := &bands[k][j]
			if math.IsNaN(b.Low) || math.IsNaN(b.High) {
				b.Low, b.High = math.NaN(), math.NaN()
				continue
			}
			b.Low, b.High = min(lows[at], centile), max(highs[at], centile)
			at++
		}
	}
}
