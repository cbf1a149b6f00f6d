// Package regress fits linear models to plain slices of numbers.
//
// Least squares is computed by Householder reflections on columns scaled by
// powers of two, followed by iterative refinement with residuals in twice the
// working precision, so that a badly scaled or nearly collinear model keeps its
// digits. A column that the earlier ones already determine is not dropped in
// silence: its coefficient is NaN and a Warning names it.
//
// Every variant of a method has a name that travels with its numbers. Nothing
// here reads or changes global state, and no function changes its arguments.
package regress

import (
	"errors"
	"fmt"
)

// Intercept is the name of the constant term.
const Intercept = "intercept"

// Codes of the warnings that a fit may carry.
const (
	WarnAliased     = "aliased"                 // a column is determined by earlier ones; its coefficient is NaN
	WarnSaturated   = "no_degrees_of_freedom"   // as many coefficients as observations: no error estimate
	WarnLeverageOne = "leverage_one"            // a row determines its own fitted value
	WarnCollinear   = "nearly_collinear"        // the condition is too bad for refinement; digits are lost
	WarnUncentred   = "polynomial_not_centred"  // a polynomial could not be formed about its centre
	WarnSeparation  = "separation"              // the outcome is predicted perfectly; estimates do not exist
	WarnIterations  = "not_converged"           // the iteration limit was reached
	WarnNonUnique   = "not_unique"              // several coefficient vectors are equally good
	WarnDensity     = "density_not_positive"    // a local density estimate had to be left out
	WarnBoundary    = "variance_at_boundary"    // a variance component is estimated as zero
	WarnFewClusters = "few_degrees_of_freedom"  // the variance estimate rests on fewer than four degrees of freedom
	WarnSinglePSU   = "stratum_with_single_psu" // a stratum has one cluster and adds no variance
)

// Warning is something that a reader of the numbers must know.
type Warning struct {
	Code    string
	Message string
	Terms   []string // columns concerned, by name
	Rows    []int    // rows concerned, from 0
}

var (
	errNoRows    = errors.New("regress: no observations")
	errNoColumns = errors.New("regress: the model has no columns")
)

func lengthError(name string, got, want int) error {
	return fmt.Errorf("regress: column %q has %d values, the outcome has %d", name, got, want)
}
