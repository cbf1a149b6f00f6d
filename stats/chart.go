package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Chart holds the points of a control chart with their limits, by group in the
// order of time.
type Chart struct {
	Value, Lower, Upper []float64
}

// PooledSD returns the standard deviation within groups and its degrees of
// freedom: what a control chart takes for the spread of a single value while
// nothing drifts. NaN where no group has two values.
func PooledSD(groups [][]float64) (sd float64, degrees int) {
	var within sum
	for _, g := range groups {
		if len(g) > 1 {
			within.add(squaresAbout(g, Mean(g)))
			degrees += len(g) - 1
		}
	}
	return math.Sqrt(within.value() / float64(degrees)), degrees
}

// XBar charts the means of groups of the given sizes about target; the limits
// are width standard errors away (Shewhart 1931, Economic Control of Quality;
// from memory).
func XBar(means []float64, sizes []int, target, sd, width float64) Chart {
	c := newChart(len(means))
	for i, mean := range means {
		half := float64(width * sd / math.Sqrt(float64(sizes[i])))
		c.Value[i], c.Lower[i], c.Upper[i] = mean, target-half, target+half
	}
	return c
}

// EWMA charts the exponentially weighted moving average of the means of groups,
// which begins at target; weight is that of the newest. The limits are width
// standard errors of each point away, exact for groups of unequal sizes (Roberts
// 1959, Technometrics 1:239-50; from memory).
func EWMA(means []float64, sizes []int, target, sd, weight, width float64) Chart {
	c := newChart(len(means))
	last, variance := target, 0.0
	for i, mean := range means {
		last = float64(weight*mean) + float64((1-weight)*last)
		variance = float64(weight*weight*sd*sd)/float64(sizes[i]) + float64((1-weight)*(1-weight)*variance)
		half := float64(width * math.Sqrt(variance))
		c.Value[i], c.Lower[i], c.Upper[i] = last, target-half, target+half
	}
	return c
}

// Shares charts the shares of hits in groups of the given sizes; a share below
// the lower or above the upper limit has, if the true share is target, at most
// the probability tail on its side, by the binomial distribution.
func Shares(hits, sizes []int, target, tail float64) Chart {
	c := newChart(len(hits))
	for i, k := range hits {
		n := sizes[i]
		low, high := 0, n
		for low < n && binomialCDF(low, n, target) <= tail {
			low++
		}
		for high > 0 && 1-binomialCDF(high-1, n, target) <= tail {
			high--
		}
		size := float64(n)
		c.Value[i], c.Lower[i], c.Upper[i] = float64(k)/size, float64(low)/size, float64(high)/size
	}
	return c
}

// Outside reports whether the point i lies beyond its limits.
func (c Chart) Outside(i int) bool { return c.Value[i] < c.Lower[i] || c.Value[i] > c.Upper[i] }

func newChart(n int) Chart {
	return Chart{Value: make([]float64, n), Lower: make([]float64, n), Upper: make([]float64, n)}
}

// Line is the least-squares line of y on x.
type Line struct {
	Slope, SE, Degrees float64
	P                  float64 // of the slope being zero, two-sided
}

// LeastSquaresLine fits y = a + slope·x; all NaN with fewer than three pairs or
// where x does not vary.
func LeastSquaresLine(x, y []float64) Line {
	nan := math.NaN()
	n := len(x)
	centreX, centreY := Mean(x), Mean(y)
	var xx, xy, rest sum
	for i := range x {
		d := x[i] - centreX
		xx.add(float64(d * d))
		xy.add(float64(d * (y[i] - centreY)))
	}
	if n < 3 || !(xx.value() > 0) {
		return Line{nan, nan, nan, nan}
	}
	l := Line{Slope: xy.value() / xx.value(), Degrees: float64(n - 2)}
	for i := range x {
		e := y[i] - centreY - float64(l.Slope*(x[i]-centreX))
		rest.add(float64(e * e))
	}
	l.SE = math.Sqrt(rest.value() / l.Degrees / xx.value())
	l.P = StudentTail(l.Slope/l.SE, l.Degrees)
	return l
}

// Interval returns Student's interval for the slope.
func (l Line) Interval(level float64) Interval {
	return around(l.Slope, StudentQuantile((1+level)/2, l.Degrees)*l.SE, level, MethodT)
}

// EqualCounts tests whether all categories are equally frequent (Pearson 1900).
// P is NaN where fewer than five are expected in each: the distribution of
// chi-square is then not what is taken (Cochran 1954, Biometrics 10:417-51; from
// memory).
func EqualCounts(counts []int) (chiSquare, degrees, p float64) {
	total := 0
	for _, c := range counts {
		total += c
	}
	expected := float64(total) / float64(len(counts))
	degrees = float64(len(counts) - 1)
	for _, c := range counts {
		d := float64(c) - expected
		chiSquare += float64(d*d) / expected
	}
	if !(expected >= 5) {
		return chiSquare, degrees, math.NaN()
	}
	return chiSquare, degrees, distuv.ChiSquared{K: degrees}.Survival(chiSquare)
}
