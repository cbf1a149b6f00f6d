// Package agree measures how well measurements agree: of two methods (limits of
// agreement, Deming and Passing-Bablok regression), of one method with itself
// (within-subject standard deviation, repeatability coefficient), of raters
// (intraclass correlation, kappa).
//
// All functions take plain slices without missing values and never change them;
// too few values are an error, never a zero.
package agree

import (
	"fmt"
	"math"
)

// needAtLeast refuses too few values or values that are not finite.
func needAtLeast(n int, what string, values ...[]float64) error {
	for _, x := range values {
		if len(x) < n {
			return fmt.Errorf("agree: %d %s, at least %d are needed", len(x), what, n)
		}
		for i, v := range x {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return fmt.Errorf("agree: %s: value %d is %v; rows with missing values must be left out before", what, i, v)
			}
		}
	}
	return nil
}
