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
//
// Where not even the outermost curve reaches far enough, the end lies beyond it
// on an exponential tail, as the quantile function of a sample is carried past
// its outermost value (Hutson 2002, Stat Comput 12:331-8; from memory), and the
// method says so. With less than one person expected outside the level there is
// no end.
func (f *QuantileFit) Bands(ages []float64, level float64) ([][]stats.Interval, error) {
	worth := make([]float64, len(ages))
	for j, age := range ages {
		worth[j] = f.worth(age)
	}
	out := make([][]stats.Interval, len(f.Levels))
	for k, p := range f.Levels {
		lows, highs := make([]end, len(ages)), make([]end, len(ages))
		for j, m := range worth {
			lows[j], highs[j] = f.ends(p, m, level)
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
			method := BandQuantile
			if lows[j].beyond > 0 || highs[j].beyond > 0 {
				method = BandQuantileTail
			}
			out[k][j] = stats.Interval{Low: low[j], High: high[j], Level: level, Method: method}
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

// end is one end of an interval: the regression quantile of a level, NaN for
// none, and so many scales of the tail past it.
type end struct{ level, beyond, worth float64 }

// ends are those of the interval of Clopper and Pearson for a share p among m
// people, m and p·m not whole.
func (f *QuantileFit) ends(p, m, level float64) (low, high end) {
	tail, hits := (1-level)/2, float64(p*m)
	low = f.reaching(f.outwards(mathext.InvRegIncBeta(hits, m-hits+1, tail)), p, m, tail)
	high = f.reaching(f.outwards(mathext.InvRegIncBeta(hits+1, m-hits, 1-tail)), 1-p, m, tail)
	return low, high
}

// quarter is the share of people whose distance from the outermost curve gives
// the scale of the tail; a level further in has no end past that curve.
const quarter = 0.25

// reaching carries an end past the outermost curve where that misses a level with
// the share p outside it too often. The least of m people lies at a share U with
// P(U > u) = (1 − u)^m; on an exponential tail so many scales past it lies the
// share p with no more than the wanted probability. The tail is halved, since a
// curve that leans on as many people as it has columns scatters more than the
// least of m (own correction; the tests hold the coverage).
func (f *QuantileFit) reaching(level, p, m, tail float64) end {
	e := end{level: level, worth: m}
	reach := 1 - math.Pow(tail/2, 1/m)
	if !(reach > p) {
		return e
	}
	if p >= quarter || float64(p*m) < 1 || math.IsNaN(level) {
		e.level = math.NaN()
		return e
	}
	e.beyond = math.Log(reach / p)
	e.level = 1 / (2 * float64(f.N))
	if level > 0.5 {
		e.level = 1 - e.level
	}
	return e
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
func (f *QuantileFit) side(ages []float64, ends []end) ([]float64, error) {
	levels := make([]float64, len(ends))
	for j, e := range ends {
		levels[j] = e.level
	}
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
	return out, f.pastOutermost(ages, ends, out)
}

// pastOutermost moves ends that lie past the outermost curve from it. The scale
// of the tail is the curve's distance from that of a quarter over the logarithms
// of the shares outside them, which for the least of m people is −γ − ln m on
// average, γ being Euler's constant.
func (f *QuantileFit) pastOutermost(ages []float64, ends []end, at []float64) error {
	const euler = 0.5772156649015329
	var inner [2]*Curve // of the lower and the upper quarter
	for j, e := range ends {
		if !(e.beyond > 0) {
			continue
		}
		side, level := 0, quarter
		if e.level > 0.5 {
			side, level = 1, 1-quarter
		}
		if inner[side] == nil {
			c, _, err := f.curve(level)
			if err != nil {
				return err
			}
			inner[side] = &c
		}
		scale := (at[j] - inner[side].At(f.Ages.Position(ages[j]))) / (math.Log(quarter*e.worth) + euler)
		at[j] += float64(scale * e.beyond)
	}
	return nil
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
