// Package stats holds the plain numerics of descriptive statistics: functions
// of slices of float64 that never change what they are given.
//
// Common to all of them:
//
//   - A missing value has been dropped by the caller. NaN is not looked for;
//     a NaN or an infinity in the input gives a NaN or an infinity.
//   - Where there are too few values for an answer (none for a mean, one for a
//     variance) the answer is NaN, never zero and never a panic.
//   - Sums run in the order of the slice, compensated (Neumaier), and products
//     are rounded before they are added, so that neither the number of workers
//     nor fused multiply-add changes a digit. Sorting the slice first makes a
//     result independent of the order in which people were enrolled. What is to be
//     joined from parts is summed exactly instead (stats/exact).
//   - Every interval carries the name of its method and its confidence level.
package stats

// Names of the methods of intervals, as they stand beside the numbers.
const (
	MethodT              = "t"               // Student's t, n − 1 degrees of freedom
	MethodChiSquare      = "chi_square"      // normal theory for a standard deviation
	MethodOrderStatistic = "order_statistic" // exact, from two values of the sample
	MethodWilson         = "wilson"          // score interval for a proportion
	MethodWelch          = "welch"           // unequal variances, Satterthwaite's degrees of freedom
	MethodF              = "f"               // normal theory for a ratio of standard deviations
	MethodDelta          = "delta_t"         // first-order expansion, t with n − 1 degrees of freedom
	MethodLogT           = "t_of_logarithms" // Student's t on the logarithms
	MethodSurveyT        = "taylor_t"        // linearised over a sampling design, t with units − strata degrees of freedom
	MethodSurveyLogit    = "taylor_logit_t"  // the same on the scale of log odds
	MethodWoodruff       = "woodruff"        // interval of the share below, carried back
	MethodPrecisionT     = "precision_t"     // weights as known precisions, t with n − 1 degrees of freedom
	MethodStandardised   = "standardised_t"  // classes of a standard population, Satterthwaite's degrees of freedom
)

// Result is one statistic as it goes into a table: the estimate with its
// interval, how many observations entered and how many were missing, and the
// name of the method. Estimate, Low and High are NaN where there is none.
type Result struct {
	Statistic string
	Estimate  float64
	Low       float64
	High      float64
	Level     float64 // confidence level of the interval; NaN where there is no interval
	N         int     // observations that entered
	Missing   int     // observations without a value
	Method    string
	Unit      string
	Note      string
}

// Interval is a confidence interval with the name of its method. Low and High
// are NaN, both, where no interval exists.
type Interval struct {
	Low    float64
	High   float64
	Level  float64
	Method string
}
