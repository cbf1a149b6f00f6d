package agree

import (
	"errors"
	"fmt"
	"math"

	"tonocohort/stats"
)

// Names of the lines between two methods that both err.
const (
	MethodDeming        = "deming_jackknife"
	MethodPassingBablok = "passing_bablok"
)

// Line is a straight line of one method on the other, with an interval for either
// coefficient.
type Line struct {
	Intercept, Slope         float64
	InterceptSE, SlopeSE     float64 // NaN for Passing-Bablok, which has none
	InterceptCI, SlopeCI     stats.Interval
	Slopes, Offset           int // Passing-Bablok: slopes between pairs, and how many lie below −1
	LowRank, HighRank, Pairs int // Passing-Bablok: ranks of the interval's ends, before the offset
}

// Deming fits y on x by least squares where both err, with ratio the variance of
// the error of y over that of x (Deming 1943; Cornbleet and Gochman 1979, Clin
// Chem 25:432-8). Errors are the jackknife's, intervals by t with n − 2 degrees of
// freedom (Linnet 1993, Clin Chem 39:424-32).
func Deming(x, y []float64, ratio, level float64) (Line, error) {
	if err := checkPairs(x, y, 4); err != nil {
		return Line{}, err
	}
	if !(ratio > 0) || math.IsInf(ratio, 0) {
		return Line{}, fmt.Errorf("agree: ratio of the error variances is %v", ratio)
	}
	n := len(x)
	l := Line{Pairs: n}
	all := momentsOf(x, y)
	l.Intercept, l.Slope = all.line(ratio)
	if math.IsNaN(l.Slope) {
		return l, errors.New("agree: the methods do not vary together; no line can be fitted")
	}
	intercepts, slopes := make([]float64, n), make([]float64, n)
	for i := range n {
		a, b := all.without(x[i], y[i]).line(ratio)
		intercepts[i] = float64(float64(n)*l.Intercept) - float64(float64(n-1)*a)
		slopes[i] = float64(float64(n)*l.Slope) - float64(float64(n-1)*b)
	}
	l.InterceptSE, l.SlopeSE = stats.StandardError(intercepts), stats.StandardError(slopes)
	t := stats.StudentQuantile((1+level)/2, float64(n-2))
	l.InterceptCI = stats.Interval{Low: l.Intercept - float64(t*l.InterceptSE), High: l.Intercept + float64(t*l.InterceptSE), Level: level, Method: MethodDeming}
	l.SlopeCI = stats.Interval{Low: l.Slope - float64(t*l.SlopeSE), High: l.Slope + float64(t*l.SlopeSE), Level: level, Method: MethodDeming}
	return l, nil
}

// moments are means, and sums of squares and products about them.
type moments struct{ n, mx, my, sxx, syy, sxy float64 }

func momentsOf(x, y []float64) moments {
	m := moments{n: float64(len(x)), mx: stats.Mean(x), my: stats.Mean(y)}
	for i := range x {
		dx, dy := x[i]-m.mx, y[i]-m.my
		m.sxx += float64(dx * dx)
		m.syy += float64(dy * dy)
		m.sxy += float64(dx * dy)
	}
	return m
}

// without leaves one point out.
func (m moments) without(x, y float64) moments {
	dx, dy, share := x-m.mx, y-m.my, m.n/(m.n-1)
	return moments{n: m.n - 1, mx: m.mx - dx/(m.n-1), my: m.my - dy/(m.n-1),
		sxx: m.sxx - float64(share*float64(dx*dx)), syy: m.syy - float64(share*float64(dy*dy)), sxy: m.sxy - float64(share*float64(dx*dy))}
}

func (m moments) line(ratio float64) (intercept, slope float64) {
	if m.sxy == 0 {
		return math.NaN(), math.NaN()
	}
	d := m.syy - float64(ratio*m.sxx)
	root := math.Sqrt(float64(d*d) + float64(4*ratio*float64(m.sxy*m.sxy)))
	// Two forms of the same root; the one without cancellation is used.
	if d >= 0 {
		slope = (d + root) / (2 * m.sxy)
	} else {
		slope = 2 * ratio * m.sxy / (root - d)
	}
	return m.my - float64(slope*m.mx), slope
}

// mostPairs bounds the time of Passing-Bablok, which may have to look at the slopes
// between all pairs, and its memory where it must keep them all: 400 MB.
const mostPairs = 10000

// PassingBablok fits y on x without a model of the errors, by the median of the
// slopes between all pairs of points, shifted by the number of slopes below −1;
// slopes of exactly −1 and pairs of equal points are left out (Passing and Bablok
// 1983, J Clin Chem Clin Biochem 21:709-20). With an even number of slopes it is
// the geometric mean of the middle ones. It takes up to 10 000 pairs.
func PassingBablok(x, y []float64, level float64) (Line, error) {
	if err := checkPairs(x, y, 4); err != nil {
		return Line{}, err
	}
	if len(x) > mostPairs {
		return Line{}, fmt.Errorf("agree: Passing-Bablok regression of %d pairs; it takes up to %d", len(x), mostPairs)
	}
	n := float64(len(x))
	half := stats.NormalQuantile((1+level)/2) * math.Sqrt(n*(n-1)*(2*n+5)/18)
	slopes := slopesNear(x, y, half)
	count, offset := slopes.count, slopes.offset
	l := Line{Pairs: len(x), Slopes: count, Offset: offset, InterceptSE: math.NaN(), SlopeSE: math.NaN()}
	l.LowRank = int(math.RoundToEven((float64(count) - half) / 2))
	l.HighRank = count - l.LowRank + 1
	before := offset - 1
	ranks := []int{(count+1)/2 + before, count/2 + 1 + before, l.LowRank + before, l.HighRank + before}
	if !slopes.hold(ranks) {
		slopes = allSlopes(x, y)
	}
	slopes.place(ranks)
	at := func(rank int) (float64, bool) { // rank from 1
		i := rank + offset - 1
		if i < 0 || i >= count {
			return math.NaN(), false
		}
		return slopes.near[i-slopes.below], true
	}
	middle, ok := at((count + 1) / 2)
	if next, more := at(count/2 + 1); count%2 == 0 {
		middle, ok = math.Copysign(math.Sqrt(math.Abs(middle*next)), middle), ok && more
	}
	if !ok || math.IsInf(middle, 0) {
		return l, errors.New("agree: the slopes have no median; no line can be fitted")
	}
	l.Slope = middle
	low, lowOK := at(l.LowRank)
	high, highOK := at(l.HighRank)
	if !lowOK || !highOK || l.LowRank < 1 {
		low, high = math.NaN(), math.NaN() // too few points for the level
	}
	l.SlopeCI = stats.Interval{Low: low, High: high, Level: level, Method: MethodPassingBablok}
	l.Intercept = medianRest(x, y, l.Slope)
	l.InterceptCI = stats.Interval{Low: medianRest(x, y, high), High: medianRest(x, y, low), Level: level, Method: MethodPassingBablok}
	return l, nil
}

// medianRest is the median of y − slope·x; NaN without a finite slope.
func medianRest(x, y []float64, slope float64) float64 {
	if math.IsNaN(slope) || math.IsInf(slope, 0) {
		return math.NaN()
	}
	rest := make([]float64, len(x))
	for i := range x {
		rest[i] = y[i] - float64(slope*x[i])
	}
	lower := (len(rest) - 1) / 2
	place(rest, lower, lower+1)
	return stats.Quantile(rest, 0.5, stats.ModePositions)
}
