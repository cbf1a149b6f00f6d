package study

import (
	"slices"
	"strings"
)

// conversion turns a value in From into a value in the column's unit.
type conversion struct {
	From  string
	Word  string // for "looks like metres"
	Scale float64
}

// conversionsInto lists the units that can be read into a unit. The factors
// are exact by definition (SI; international yard and pound of 1959;
// conventional millimetre of mercury 133.322387415 Pa, NIST SP 811 Appendix B;
// centimetre of water 98.0665 Pa) unless a comment says otherwise.
func conversionsInto(unit string) []conversion {
	switch unit {
	case "cm":
		return []conversion{{"m", "metres", 100}, {"in", "inches", 2.54}, {"ft", "feet", 30.48}, {"mm", "millimetres", 0.1}}
	case "m":
		return []conversion{{"cm", "centimetres", 0.01}, {"in", "inches", 0.0254}, {"ft", "feet", 0.3048}, {"mm", "millimetres", 0.001}}
	case "kg":
		return []conversion{{"lb", "pounds", 0.45359237}, {"st", "stone", 6.35029318}, {"g", "grams", 0.001}}
	case "mmHg":
		return []conversion{
			{"kPa", "kilopascals", 1000 / 133.322387415}, {"hPa", "hectopascals", 100 / 133.322387415},
			{"Pa", "pascals", 1 / 133.322387415}, {"cmH2O", "centimetres of water", 98.0665 / 133.322387415},
		}
	case "years":
		// A mean year of 365.25 days (Julian), a month a twelfth of it.
		return []conversion{{"months", "months", 1.0 / 12}, {"weeks", "weeks", 7 / 365.25}, {"days", "days", 1 / 365.25}}
	case "h":
		return []conversion{{"min", "minutes", 1.0 / 60}, {"s", "seconds", 1.0 / 3600}, {"days", "days", 24}}
	case "min":
		return []conversion{{"s", "seconds", 1.0 / 60}, {"h", "hours", 60}}
	case "Hz":
		return []conversion{{"kHz", "kilohertz", 1000}}
	case "1/min":
		return []conversion{{"Hz", "hertz", 60}, {"1/s", "per second", 60}}
	default:
		return nil
	}
}

// molarMasses gives the mass in g/mol of the substances that laboratories
// report both by mass and by amount, by the start of the column's name.
// Glucose, creatinine, urate: from their chemical formulas. Cholesterol: its
// formula, used for its fractions too. Triglycerides: 885.7 (triolein 885.4),
// common practice.
func molarMasses() []struct {
	prefix string
	mass   float64
} {
	return []struct {
		prefix string
		mass   float64
	}{
		{"glucose", 180.156}, {"creatinine", 113.12}, {"cholesterol", 386.65}, {"total_cholesterol", 386.65},
		{"ldl", 386.65}, {"hdl", 386.65}, {"triglycerides", 885.7}, {"urate", 168.11}, {"uric_acid", 168.11},
	}
}

// concentrations lists the conversions into a concentration for a substance
// that the column's name begins with.
func concentrations(column, unit string) []conversion {
	for _, s := range molarMasses() {
		if !strings.HasPrefix(column, s.prefix) {
			continue
		}
		// 1 mg/dL = 10 mg/L = 10/mass mmol/L.
		switch unit {
		case "mmol/L":
			return []conversion{{"mg/dL", "mg/dL", 10 / s.mass}, {"umol/L", "µmol/L", 0.001}}
		case "umol/L":
			return []conversion{{"mg/dL", "mg/dL", 10000 / s.mass}, {"mmol/L", "mmol/L", 1000}}
		case "mg/dL":
			return []conversion{{"mmol/L", "mmol/L", s.mass / 10}, {"umol/L", "µmol/L", s.mass / 10000}}
		}
	}
	return nil
}

// plainUnit writes the micro sign, in either of its two code points, as u.
func plainUnit(unit string) string {
	return strings.NewReplacer("µ", "u", "μ", "u").Replace(unit)
}

func conversions(column, unit string) []conversion {
	unit = plainUnit(unit)
	if known := conversionsInto(unit); known != nil {
		return known
	}
	return concentrations(column, unit)
}

// conversionFor finds how values in the unit from become values in unit; a
// unit converts into itself.
func conversionFor(column, unit, from string) (conversion, bool) {
	from = plainUnit(from)
	if from == plainUnit(unit) && from != "" {
		return conversion{From: from, Scale: 1}, true
	}
	known := conversions(column, unit)
	i := slices.IndexFunc(known, func(c conversion) bool { return c.From == from })
	if i < 0 {
		return conversion{}, false
	}
	return known[i], true
}

func knownUnits(column, unit string) []string {
	var names []string
	for _, c := range conversions(column, unit) {
		names = append(names, c.From)
	}
	if len(names) > 0 {
		names = append([]string{unit}, names...)
	}
	return names
}
