package published

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Equation predicts a variable from columns: on its scale the variable is
// normal about the mean, with the standard deviation where one is published.
type Equation struct {
	Variable string
	Sex      string // female, male or all
	Scale    Scale
	Mean, SD []Weighted // SD is empty where none is published
	Status   string
	Note     string
}

// Weighted is a term with its coefficient.
type Weighted struct {
	Term
	Coefficient float64
}

// Scale is (x + Shift)^Power.
type Scale struct {
	Text         string
	Shift, Power float64
}

// To brings a value onto the scale; NaN where it cannot be.
func (s Scale) To(x float64) float64 {
	if s.Power == 1 {
		return x + s.Shift
	}
	return math.Pow(x+s.Shift, s.Power)
}

// From brings a value back.
func (s Scale) From(y float64) float64 {
	if s.Power == 1 {
		return y - s.Shift
	}
	return math.Pow(y, 1/s.Power) - s.Shift
}

// parseScale reads x, x^0.26 or (x+12.001)^0.5.
func parseScale(text string) (Scale, error) {
	s := Scale{Text: text, Power: 1}
	base, power, raised := strings.Cut(text, "^")
	var err error
	if raised {
		if s.Power, err = finite("power", power); err != nil || s.Power <= 0 {
			return s, fmt.Errorf("scale %q: a power is above zero", text)
		}
	}
	if base == "x" {
		return s, nil
	}
	shift, open := strings.CutPrefix(base, "(x+")
	shift, closed := strings.CutSuffix(shift, ")")
	if !open || !closed {
		return s, fmt.Errorf("scale %q is not x, x^0.5 or (x+12)^0.5", text)
	}
	s.Shift, err = finite("shift", shift)
	return s, err
}

// readEquation adds a term to the equation that it belongs to.
func (s *Set) readEquation(row []string) (string, error) {
	variable, sex, part := row[0], row[1], row[3]
	scale, err := parseScale(row[2])
	if err != nil {
		return "", err
	}
	if err := checkSex(sex); err != nil {
		return "", err
	}
	var w Weighted
	if w.Term, err = parseTerm(row[4]); err != nil {
		return "", err
	}
	if w.Coefficient, err = finite("coefficient", row[5]); err != nil {
		return "", err
	}
	if err := checkStatus(row[6]); err != nil {
		return "", err
	}
	i := slices.IndexFunc(s.Equations, func(e Equation) bool { return e.Variable == variable && e.Sex == sex })
	if i < 0 {
		i = len(s.Equations)
		s.Equations = append(s.Equations, Equation{Variable: variable, Sex: sex, Scale: scale, Status: row[6], Note: row[7]})
	}
	e := &s.Equations[i]
	switch {
	case e.Scale != scale:
		return "", fmt.Errorf("two scales of one equation, %s and %s", e.Scale.Text, scale.Text)
	case part == "mean":
		e.Mean = append(e.Mean, w)
	case part == "sd":
		e.SD = append(e.SD, w)
	default:
		return "", fmt.Errorf("part %q is not mean or sd", part)
	}
	return strings.Join(row[:5], ","), nil
}

// Columns lists the columns that an equation needs, each once.
func (e Equation) Columns() []string {
	var names []string
	for _, w := range slices.Concat(e.Mean, e.SD) {
		for _, name := range w.Columns() {
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	return names
}

// Predict gives mean and standard deviation of a row on the scale; the
// deviation is NaN where none is published.
func (e Equation) Predict(r Row) (mean, sd float64) {
	add := func(terms []Weighted) float64 {
		sum := 0.0
		for _, w := range terms {
			sum += float64(w.Coefficient * w.Value(r))
		}
		return sum
	}
	mean, sd = add(e.Mean), math.NaN()
	if len(e.SD) > 0 {
		sd = add(e.SD)
	}
	return mean, sd
}
