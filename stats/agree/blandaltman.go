package agree

import (
	"fmt"
	"math"

	"tonocohort/stats"
)

// Names of the intervals of a limit of agreement.
const (
	LimitsApproximate = "bland_altman_1986"  // standard error √(3·s²/n) (Bland and Altman 1986, Lancet i:307-10)
	LimitsDelta       = "bland_altman_1999"  // standard error s·√(1/n + z²/(2(n − 1))) (Bland and Altman 1999, Stat Methods Med Res 8:135-60)
	LimitsExact       = "noncentral_t_exact" // exact for normal differences: a tolerance limit (Carkeet 2015, Optom Vis Sci 92:e71-80)
)

// Limits are limits of agreement: between which the given share of differences
// lies if they are normal.
type Limits struct {
	N       int
	Bias    float64 // mean difference
	SD      float64 // standard deviation of the differences
	BiasCI  stats.Interval
	Lower   float64 // Bias − z·SD
	Upper   float64 // Bias + z·SD
	LowerCI stats.Interval
	UpperCI stats.Interval
	Share   float64 // of differences between the limits, as 0.95
}

// BlandAltman computes limits of agreement from one difference per person, for
// the share of differences and the confidence level given, with the named
// interval of each limit. At least three differences are needed.
func BlandAltman(differences []float64, share, level float64, method string) (Limits, error) {
	if err := needAtLeast(3, "differences", differences); err != nil {
		return Limits{}, err
	}
	sample := stats.Describe(differences)
	n := float64(sample.N)
	l := Limits{N: sample.N, Bias: sample.Mean, SD: sample.SD, Share: share, BiasCI: stats.MeanInterval(sample, level)}
	z := stats.NormalQuantile((1 + share) / 2)
	l.Lower, l.Upper = l.Bias-float64(z*l.SD), l.Bias+float64(z*l.SD)
	t := stats.StudentQuantile((1+level)/2, n-1)
	var below, above float64 // distances of the ends of the upper limit's interval from the bias, in SD
	switch method {
	case LimitsApproximate:
		half := float64(t * math.Sqrt(3/n))
		below, above = z-half, z+half
	case LimitsDelta:
		half := float64(t * math.Sqrt(1/n+float64(z*z)/(2*(n-1))))
		below, above = z-half, z+half
	case LimitsExact:
		root := math.Sqrt(n)
		below = noncentralTQuantile((1-level)/2, n-1, float64(z*root)) / root
		above = noncentralTQuantile((1+level)/2, n-1, float64(z*root)) / root
	default:
		return Limits{}, fmt.Errorf("agree: no interval %q for limits of agreement", method)
	}
	l.UpperCI = stats.Interval{Low: l.Bias + float64(below*l.SD), High: l.Bias + float64(above*l.SD), Level: level, Method: method}
	l.LowerCI = stats.Interval{Low: l.Bias - float64(above*l.SD), High: l.Bias - float64(below*l.SD), Level: level, Method: method}
	return l, nil
}

// Trend is the least-squares line of differences on means: a slope other than
// zero says that the bias depends on the size of what is measured.
type Trend struct {
	Intercept, Slope     float64
	InterceptSE, SlopeSE float64
	P                    float64 // of the slope, two-sided
	ResidualSD           float64
}

// BlandAltmanTrend regresses the differences second − first on the means of the
// pairs.
func BlandAltmanTrend(first, second []float64) (Trend, error) {
	if err := checkPairs(first, second, 3); err != nil {
		return Trend{}, err
	}
	differences, means := make([]float64, len(first)), make([]float64, len(first))
	for i := range first {
		differences[i], means[i] = second[i]-first[i], (first[i]+second[i])/2
	}
	n := float64(len(first))
	x, y := stats.Mean(means), stats.Mean(differences)
	var sxx, sxy, rss float64
	for i := range means {
		sxx += float64((means[i] - x) * (means[i] - x))
		sxy += float64((means[i] - x) * (differences[i] - y))
	}
	t := Trend{Slope: sxy / sxx}
	t.Intercept = y - float64(t.Slope*x)
	for i := range means {
		e := differences[i] - y - float64(t.Slope*(means[i]-x))
		rss += float64(e * e)
	}
	t.ResidualSD = math.Sqrt(rss / (n - 2))
	t.SlopeSE = t.ResidualSD / math.Sqrt(sxx)
	t.InterceptSE = t.ResidualSD * math.Sqrt(1/n+float64(x*x)/sxx)
	t.P = stats.StudentTail(t.Slope/t.SlopeSE, n-2)
	return t, nil
}

func checkPairs(first, second []float64, n int) error {
	if len(first) != len(second) {
		return fmt.Errorf("agree: %d values of one method, %d of the other", len(first), len(second))
	}
	return needAtLeast(n, "pairs", first, second)
}
