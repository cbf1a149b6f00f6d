package schema

import "math"

// DeclaredDigits is what is promised of a number across builds and
// architectures: nine digits. Within one build the promise is every bit.
const DeclaredDigits = 9

// FittedDigits is the same for what a search finds along a flat minimum: there
// the last bit of a wave moves the result in its eighth digit.
const FittedDigits = 5

// Digits is how many digits are promised of the named column across builds.
func Digits(column string) int {
	switch column {
	case "reservoir_mmhg", "excess_mmhg", "reservoir_integral_mmhg_s", "excess_integral_mmhg_s", "diastolic_decay_per_s":
		return FittedDigits
	}
	return DeclaredDigits
}

// WaveDigits is the same for the samples of a wave, which are kept in single
// precision.
const WaveDigits = 6

// EqualToDigits reports whether two numbers agree to the given digits: they
// differ by at most 10^-digits of the larger of them, or by 10^-digits where both
// are below one. A missing number (NaN) agrees with a missing one alone.
func EqualToDigits(a, b float64, digits int) bool {
	if math.IsNaN(a) || math.IsNaN(b) {
		return math.IsNaN(a) && math.IsNaN(b)
	}
	return a == b || math.Abs(a-b) <= math.Pow10(-digits)*max(1, math.Abs(a), math.Abs(b))
}
