package schema

import (
	"fmt"
	"slices"
)

// DepartureChoices are whether visits with a departure from the protocol are in.
var DepartureChoices = []string{"in", "out"}

// SensitivitySettings names the choices over which one model is fitted again,
// one choice at a time.
type SensitivitySettings struct {
	Model       string   `yaml:"model" json:"model"`             // the primary model; default the first declared
	Term        string   `yaml:"term" json:"term"`               // the headline coefficient, as the regression table names it; default the first
	Calibration []string `yaml:"calibration" json:"calibration"` // of the wave behind a central outcome
	Estimator   []string `yaml:"estimator" json:"estimator"`     // methods of central.method and central.also
	CuffRule    []string `yaml:"cuff_rule" json:"cuff_rule"`
	Quality     []string `yaml:"quality" json:"quality"` // lowest grade that is in
	Departures  []string `yaml:"departures" json:"departures"`
	Missing     []string `yaml:"missing" json:"missing"` // complete_case, chained_equations
}

// DefaultSensitivity asks for what costs nothing but another fit of what is
// there already.
func DefaultSensitivity() SensitivitySettings {
	return SensitivitySettings{
		Calibration: slices.Clone(Calibrations), Estimator: []string{}, CuffRule: []string{"all", "last_two"},
		Quality: []string{"usable"}, Departures: []string{"out"}, Missing: []string{},
	}
}

// CheckSensitivity judges the choices; path is that of the section.
func CheckSensitivity(a Analysis, path string, fault Fault) {
	s := a.Sensitivity
	var names []string
	for _, m := range a.Models {
		names = append(names, m.Name)
	}
	if s.Model != "" && !slices.Contains(names, s.Model) {
		fault(path+".model", s.Model, "unknown_model", "no declared model has this name", near(s.Model, names))
	}
	for _, c := range []struct {
		name          string
		values, known []string
	}{
		{"calibration", s.Calibration, Calibrations}, {"estimator", s.Estimator, CentralMethods}, {"cuff_rule", s.CuffRule, CuffRules},
		{"quality", s.Quality, []string{"usable", "doubtful", "unusable"}}, {"departures", s.Departures, DepartureChoices},
		{"missing", s.Missing, []string{CompleteCase, ChainedEquations}},
	} {
		for i, v := range c.values {
			at := fmt.Sprintf("%s.%s[%d]", path, c.name, i)
			if !slices.Contains(c.known, v) {
				fault(at, v, "unknown_value", fmt.Sprintf("known values: %v", c.known), near(v, c.known))
			} else if slices.Contains(c.values[:i], v) {
				fault(at, v, "duplicate_item", "named twice", "keep one")
			}
		}
	}
}

// SensitivityTable declares how far the headline coefficient moves. Its rows rest
// on people who differ by a few from choice to choice: as it is it stays with the
// study, and what may be shown of such rows is released.
func SensitivityTable() Table {
	t := statisticTable("sensitivity", "choice", "the primary model again, one choice changed at a time: how far its headline coefficient moves",
		text("model", "name of the model"),
		text("term", "the headline coefficient"),
		text("choice", "what was changed: primary, calibration, estimator, cuff_rule, quality, departures, missing"),
		text("value", "to what"),
		number("se", "", "standard error of the estimate, that of its interval"),
		number("shift", "", "estimate less that of the primary model"),
		number("shift_in_se", "1", "shift over the standard error of the primary model"),
	)
	t.Restricted = true
	return t
}
