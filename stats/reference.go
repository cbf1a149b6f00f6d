package stats

import "math"

// ReferenceSize is the least number of people for a non-parametric reference
// limit (CLSI EP28-A3c, as cited; its text from second hand).
const ReferenceSize = 120

// ReferenceLevel is the confidence level of a reference limit's own interval.
const ReferenceLevel = 0.90

// ReferenceLimit returns a non-parametric reference limit of a sample that is
// sorted upwards: the quantile of type 6, whose positions are k/(n + 1), with
// the order-statistic interval of ReferenceLevel. It is computed below
// ReferenceSize too; the caller says so.
func ReferenceLimit(sorted []float64, p float64) (float64, Interval) {
	return Quantile(sorted, p, MeanPositions), QuantileInterval(sorted, p, ReferenceLevel)
}

// GeometricMeanInterval returns the geometric mean of the values whose
// logarithms are described, with Student's interval on these.
func GeometricMeanInterval(logs Sample, level float64) (mean float64, interval Interval) {
	return math.Exp(logs.Mean), exponential(MeanInterval(logs, level))
}

// Logarithms returns the logarithms of x, or false where there is none of a
// value: it is not above zero. into gives the memory, and may be nil.
func Logarithms(x, into []float64) ([]float64, bool) {
	into = into[:0]
	for _, v := range x {
		if !(v > 0) {
			return into, false
		}
		into = append(into, math.Log(v))
	}
	return into, len(x) > 0
}

// exponential carries an interval of logarithms back.
func exponential(i Interval) Interval {
	return Interval{Low: math.Exp(i.Low), High: math.Exp(i.High), Level: i.Level, Method: MethodLogT}
}

// GeometricMean estimates the geometric mean of the domain from the logarithms
// of its values.
func (s *Survey) GeometricMean(w *Workspace, rows []int32, logs []float64, level float64) (float64, Interval) {
	e := s.Mean(w, rows, logs)
	i := exponential(e.Interval(level))
	i.Method = MethodSurveyT + "_of_logarithms"
	return math.Exp(e.Value), i
}

// NormalCentileFactor is the standard error of the p-centile of a normal sample
// from its mean and standard deviation, in units of SD/√n: √(1 + z²/2).
func NormalCentileFactor(p float64) float64 {
	z := NormalQuantile(p)
	return math.Sqrt(1 + float64(z*z)/2)
}

// OrderCentileFactor is the same for the sample quantile of a normal
// population: √(p(1 − p))/φ(z).
func OrderCentileFactor(p float64) float64 {
	z := NormalQuantile(p)
	density := math.Exp(-float64(z*z)/2) / math.Sqrt(2*math.Pi)
	return math.Sqrt(float64(p*(1-p))) / density
}

// SizeForPrecision returns how many people bring a standard error of factor ·
// SD/√n down to se, in units of SD; 0 where se is not above zero.
func SizeForPrecision(factor, se float64) int {
	if !(se > 0) {
		return 0
	}
	r := factor / se
	// The margin keeps rounding from asking for one person more.
	return int(math.Ceil(float64(r*r) * (1 - 1e-12)))
}

// LeastSize returns the least number of values for which the order-statistic
// interval of the p-quantile exists.
func LeastSize(p, level float64) int {
	if !(p > 0 && p < 1) || !(level > 0 && level < 1) {
		return 0
	}
	exists := func(n int) bool {
		low, high, _ := OrderStatisticRanks(n, p, level)
		return low > 0 && high > 0
	}
	n := 1
	for !exists(n) {
		n *= 2
	}
	for low := n / 2; n-low > 1; {
		if middle := (n + low) / 2; exists(middle) {
			n = middle
		} else {
			low = middle
		}
	}
	return n
}
