package stats

import "math"

// Equivalence is the outcome of two one-sided tests of whether a difference
// lies within a margin (Schuirmann 1987, J Pharmacokinet Biopharm 15:657-80).
type Equivalence struct {
	Margin   float64
	PLow     float64 // of the test against a difference of −Margin or less
	PHigh    float64 // of the test against a difference of Margin or more
	P        float64 // the larger of the two
	Interval         // of level 1 − 2·alpha: within ±Margin exactly where P ≤ alpha
}

// Equivalent tests a difference against a margin above zero, at level alpha.
func (d Difference) Equivalent(margin, alpha float64) Equivalence {
	e := Equivalence{Margin: margin}
	e.PLow = upperTail((d.Estimate+margin)/d.StandardError, d.Degrees)
	e.PHigh = upperTail((margin-d.Estimate)/d.StandardError, d.Degrees)
	e.P = math.Max(e.PLow, e.PHigh)
	level := 1 - 2*alpha
	e.Interval = around(d.Estimate, StudentQuantile((1+level)/2, d.Degrees)*d.StandardError, level, d.Method)
	return e
}

// upperTail is the probability of a value of Student's t above t.
func upperTail(t, degrees float64) float64 {
	tail := StudentTail(t, degrees) / 2
	if t < 0 {
		return 1 - tail
	}
	return tail
}

// Part is the estimate in one class of a standard population.
type Part struct {
	Estimate float64
	SE       float64
	Degrees  float64
	Share    float64 // of the standard population; need not sum to 1
}

// Standardised is a directly standardised estimate.
type Standardised struct {
	Estimate float64
	SE       float64
	Degrees  float64 // after Satterthwaite
	Interval
}

// Standardise returns the mean of the classes' estimates with the shares of the
// standard population as weights; these are taken as known and the classes as
// independent. A class with a share but without an estimate makes all NaN.
func Standardise(parts []Part, level float64) Standardised {
	differences := make([]Difference, 0, len(parts))
	weights := make([]float64, 0, len(parts))
	for _, p := range parts {
		if p.Share > 0 {
			differences = append(differences, Difference{Estimate: p.Estimate, StandardError: p.SE, Degrees: p.Degrees})
			weights = append(weights, p.Share)
		}
	}
	d := WeightedDifference(differences, weights, level)
	s := Standardised{Estimate: d.Estimate, SE: d.StandardError, Degrees: d.Degrees, Interval: d.Interval}
	s.Method = MethodStandardised
	return s
}
