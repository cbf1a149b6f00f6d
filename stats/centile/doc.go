// Package centile fits reference centiles of a variable over age, for one
// stratum at a time: functions of plain slices that are never changed.
//
// Three methods, each with a name that travels with its numbers:
//
//   - LMS by penalised likelihood (Cole and Green 1992, Stat Med 11:1305-19):
//     the power L, the median M and the coefficient of variation S are smooth
//     curves over age, each with a declared effective number of degrees of
//     freedom.
//   - Fractional-polynomial mean and standard deviation, the latter from
//     absolute residuals (Altman 1993, Stat Med 12:917-24; Royston and Wright
//     1998, J R Stat Soc A 161:79-101, from memory).
//   - Quantile regression on natural cubic splines, a curve for each centile;
//     where curves cross they are rearranged (Chernozhukov, Fernández-Val and
//     Galichon 2010, Econometrica 78:1093-125, from memory).
//
// What a method fits is a Reference: from its few numbers the z-score and the
// centile of a new value follow exactly, and nothing of the persons behind them
// is needed. Outside the fitted ages every answer is NaN.
//
// Ages count in completed years, both ends included, as in a table by year.
// Observations are taken in their order; sort them by age and value to make the
// digits independent of the order in which people were enrolled.
package centile

import (
	"errors"
	"math"

	"tonocohort/stats"
)

// Names of the methods of fitting.
const (
	MethodLMS        = "lms"
	MethodFractional = "fractional_polynomial"
	MethodQuantile   = "quantile_spline"
)

// Names of the methods of pointwise bands.
const (
	BandLMS        = "delta_penalised_sandwich"  // first-order expansion; sandwich with the penalty as a prior
	BandFractional = "delta_sandwich"            // first-order expansion; sandwich over both regressions
	BandQuantile   = "regression_quantiles_beta" // regression quantiles at the levels of an exact binomial interval
	// as before, with an end past the outermost curve on an exponential tail
	BandQuantileTail = "regression_quantiles_beta_exponential_tail"
)

// Reference is a fitted set of centiles over age.
type Reference interface {
	// Centile returns the value below which the share p lies at an age.
	Centile(age, p float64) float64
	// Score returns where a value lies at an age.
	Score(age, value float64) Score
	// Range returns the fitted ages.
	Range() Ages
}

// Score is where a value lies among people of its age. Both numbers are NaN,
// and Note says why, where the reference has no answer.
type Score struct {
	Z       float64 // deviate of the standard normal distribution
	Centile float64 // percent of people below
	Note    string
}

// Notes of a Score without numbers.
const (
	NoteOutsideAges  = "outside the fitted ages"
	NoteNoValue      = "no value"
	NoteNotDefined   = "the reference is not defined for this value"
	NoteBelowLowest  = "below the lowest fitted centile"
	NoteAboveHighest = "above the highest fitted centile"
)

func noScore(note string) Score { return Score{Z: math.NaN(), Centile: math.NaN(), Note: note} }

func scoreOf(z float64) Score {
	if math.IsNaN(z) || math.IsInf(z, 0) {
		return noScore(NoteNotDefined)
	}
	return Score{Z: z, Centile: 100 * stats.NormalProbability(z)}
}

// Ages are the completed years of the youngest and the oldest person fitted,
// both included.
type Ages struct {
	Lowest, Highest float64
	Whole           bool // age entered as completed years, without a fraction
}

// FindAges returns the range of some ages; Whole where none has a fraction.
func FindAges(age []float64) (Ages, error) {
	a := Ages{Lowest: math.Inf(1), Highest: math.Inf(-1), Whole: true}
	for _, v := range age {
		if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
			return a, errors.New("centile: an age is missing or no age")
		}
		a.Lowest, a.Highest = min(a.Lowest, math.Floor(v)), max(a.Highest, math.Floor(v))
		a.Whole = a.Whole && v == math.Floor(v)
	}
	if len(age) == 0 {
		return a, errors.New("centile: no observations")
	}
	return a, nil
}

// Contains reports whether an age, in completed years, lies among the fitted.
func (a Ages) Contains(age float64) bool {
	year := math.Floor(age)
	return year >= a.Lowest && year <= a.Highest
}

// Position is where the curves are evaluated for an age: at the age itself, or
// at its completed years where these are all that was fitted; NaN outside.
func (a Ages) Position(age float64) float64 {
	switch {
	case !a.Contains(age):
		return math.NaN()
	case a.Whole:
		return math.Floor(age)
	}
	return age
}

// OfYear is where the curves are evaluated for people of so many completed
// years: in the middle of their year, or at its beginning where completed years
// are all that was fitted.
func (a Ages) OfYear(year float64) float64 {
	if a.Whole {
		return year
	}
	return year + 0.5
}

// Years lists the completed years from the youngest to the oldest.
func (a Ages) Years() []float64 {
	var years []float64
	for y := a.Lowest; y <= a.Highest; y++ {
		years = append(years, y)
	}
	return years
}

// span is the interval on which curves are fitted; its ends are whole years, so
// that no person's own age shows in a knot.
func (a Ages) span() (low, high float64) {
	if a.Whole {
		return a.Lowest, a.Highest
	}
	return a.Lowest, a.Highest + 1
}

// checkSample judges what every fit is given.
func checkSample(age, value []float64) error {
	if len(age) != len(value) {
		return errors.New("centile: as many ages as values are needed")
	}
	for _, v := range value {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return errors.New("centile: a value is missing")
		}
	}
	return nil
}
