package report

import (
	"math"
	"math/big"
	"strings"

	"tonocohort/schema"
)

// Style writes numbers the way a journal wants them. Every number in a
// publication table passes through it, once, from its exact value.
type Style struct {
	leadingZero bool   // of P values
	point       string // decimal sign
}

// StyleByName returns one of schema.TableStyles; false for any other name.
//
//   - standard: 0.034, the decimal point on the line;
//   - no_leading_zero: P .034, as a probability cannot reach 1;
//   - middle_dot: 0·034.
func StyleByName(name string) (Style, bool) {
	switch name {
	case schema.TableStyles[0]:
		return Style{leadingZero: true, point: "."}, true
	case schema.TableStyles[1]:
		return Style{point: "."}, true
	case schema.TableStyles[2]:
		return Style{leadingZero: true, point: "·"}, true
	}
	return Style{}, false
}

// NoValue stands where there is no number, Confidential where disclosure control
// took it.
const (
	NoValue      = "–"
	Confidential = "[c]"
)

// Decimal writes v with so many decimals, rounded from the exact value of v,
// halves away from zero.
func (s Style) Decimal(v float64, decimals int) string {
	return s.dotted(decimal(v, decimals))
}

func decimal(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return NoValue
	}
	text := new(big.Rat).SetFloat64(v).FloatString(decimals)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-") // no minus zero
	}
	return strings.Replace(text, "-", "−", 1)
}

func (s Style) dotted(text string) string { return strings.Replace(text, ".", s.point, 1) }

// Count writes a whole number.
func (s Style) Count(v float64) string { return decimal(v, 0) }

// Percent writes a share in percent, without the sign.
func (s Style) Percent(share float64, decimals int) string {
	if math.IsNaN(share) || math.IsInf(share, 0) {
		return NoValue
	}
	exact := new(big.Rat).SetFloat64(share)
	return s.dotted(exact.Mul(exact, big.NewRat(100, 1)).FloatString(decimals))
}

// Interval writes the ends of an interval; a minus sign before an end could be
// read as a dash, so the word stands between.
func (s Style) Interval(low, high float64, decimals int) string {
	if math.IsNaN(low) || math.IsNaN(high) {
		return NoValue
	}
	return s.Decimal(low, decimals) + " to " + s.Decimal(high, decimals)
}

// P writes a probability exact to two significant digits, down to 0.001 (Lang
// and Altman 2013, SAMPL guidelines; the floor from memory) and up to 0.99.
func (s Style) P(p float64) string {
	switch {
	case math.IsNaN(p) || p < 0 || p > 1:
		return NoValue
	case p < 0.001:
		return s.probability("<0.001")
	case p > 0.99:
		return s.probability(">0.99")
	}
	decimals := 1 - int(math.Floor(math.Log10(p)))
	text := decimal(p, decimals)
	if len(strings.TrimLeft(text, "0.")) > 2 { // 0.0996 is 0.10, not 0.100
		text = decimal(p, decimals-1)
	}
	return s.probability(text)
}

func (s Style) probability(text string) string {
	if !s.leadingZero {
		text = strings.Replace(text, "0.", ".", 1)
	}
	return s.dotted(text)
}

// Decimals says with how many decimals a variable is written: one, but more
// where its standard deviation is below one, and none from a hundred on.
func Decimals(sd float64) int {
	switch {
	case !(sd > 0) || math.IsInf(sd, 0):
		return 1
	case sd >= 100:
		return 0
	case sd >= 1:
		return 1
	}
	return min(6, 1-int(math.Floor(math.Log10(sd))))
}

// significant returns the decimals that leave v so many significant digits.
func significant(v float64, digits int) int {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return 1
	}
	return max(0, min(8, digits-1-int(math.Floor(math.Log10(math.Abs(v))))))
}
