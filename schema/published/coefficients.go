package published

import (
	"fmt"
	"math"
)

// Coefficient is one published slope: how much the variable changes where the
// term changes by Per.
type Coefficient struct {
	Variable  string
	Term      Term
	Per       float64
	Value     float64
	SE        float64 // NaN: not published
	Low, High float64 // of 95 %; NaN: not published
	Status    string
	Note      string
}

// StandardError is the published one, else that of the published interval as
// one of the normal distribution; NaN where neither is.
func (c Coefficient) StandardError() float64 {
	if !math.IsNaN(c.SE) {
		return c.SE
	}
	return (c.High - c.Low) / 2 / 1.959963984540054
}

func (s *Set) readCoefficient(row []string) (string, error) {
	c := Coefficient{Variable: row[0], Status: row[7], Note: row[8]}
	var err error
	if c.Term, err = parseTerm(row[1]); err != nil {
		return "", err
	}
	for _, cell := range []struct {
		what, text string
		into       *float64
		needed     bool
	}{
		{"per", row[2], &c.Per, true}, {"coefficient", row[3], &c.Value, true},
		{"standard error", row[4], &c.SE, false}, {"low", row[5], &c.Low, false}, {"high", row[6], &c.High, false},
	} {
		*cell.into = math.NaN()
		if cell.text == "" && !cell.needed {
			continue
		}
		if *cell.into, err = finite(cell.what, cell.text); err != nil {
			return "", err
		}
	}
	switch {
	case !(c.Per > 0):
		return "", fmt.Errorf("per %q is not above zero", row[2])
	case c.SE < 0:
		return "", errNegativeSD
	case c.Low > c.High:
		return "", fmt.Errorf("low %q lies above high %q", row[5], row[6])
	}
	if err = checkStatus(c.Status); err != nil {
		return "", err
	}
	s.Coefficients = append(s.Coefficients, c)
	return row[0] + "," + row[1], nil
}
