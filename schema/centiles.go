package schema

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Methods of reference centiles.
const (
	CentilesLMS        = "lms"                   // skewness, median and coefficient of variation as smooth curves
	CentilesFractional = "fractional_polynomial" // mean and standard deviation as fractional polynomials
	CentilesQuantile   = "quantile_spline"       // a curve of quantile regression for each centile
)

// CentileMethods lists the methods of reference centiles.
var CentileMethods = []string{CentilesLMS, CentilesFractional, CentilesQuantile}

// CentileSettings is one declared set of reference centiles. A healthy set, where
// the plan declares one, is the default.
type CentileSettings struct {
	Variable string    `yaml:"variable" json:"variable"`
	By       string    `yaml:"by" json:"by"`     // sex: curves for women and for men
	Over     string    `yaml:"over" json:"over"` // age_years
	Method   string    `yaml:"method" json:"method"`
	Centiles []float64 `yaml:"centiles" json:"centiles"`     // percent, ascending
	Shift    float64   `yaml:"shift" json:"shift,omitempty"` // added to a variable that can be 0 or below, before lms or a transformation
	Power    *float64  `yaml:"power" json:"power,omitempty"` // fractional_polynomial: of the transformation, 0 for the logarithm; default 1, none
	DF       []float64 `yaml:"df" json:"df,omitempty"`       // lms: effective degrees of freedom of L, M and S; quantile_spline: columns of the spline, by default 3 to 5 by the number of people
	Set      string    `yaml:"set" json:"set"`               // analysis set
	Ages     []float64 `yaml:"ages" json:"ages,omitempty"`   // completed years of the youngest and the oldest who are fitted, both included; default everyone
}

// healthySet is the analysis set of which reference centiles are made where the
// plan declares it.
const healthySet = "healthy"

// DefaultCentiles are computed where the plan declares none.
func DefaultCentiles() []CentileSettings {
	return []CentileSettings{{Variable: "central_pp_mmhg"}, {Variable: "central_sbp_mmhg"}}
}

// ResolveCentiles fills in what declared centiles do not say; sets names the
// analysis sets of the plan. The degrees of freedom of lms are our own choice,
// as Cole and Green 1992 advise fewer for L and S than for M.
func ResolveCentiles(declared []CentileSettings, sets []string) []CentileSettings {
	resolved := slices.Clone(declared)
	for i := range resolved {
		c := &resolved[i]
		fill(&c.By, "sex")
		fill(&c.Over, "age_years")
		fill(&c.Method, CentilesLMS)
		if slices.Contains(sets, healthySet) {
			fill(&c.Set, healthySet)
		}
		fill(&c.Set, "all")
		if c.Centiles == nil {
			c.Centiles = []float64{3, 5, 10, 25, 50, 75, 90, 95, 97}
		}
		if c.DF == nil && c.Method == CentilesLMS {
			c.DF = []float64{2, 5, 3}
		}
		if c.Power == nil && c.Method == CentilesFractional {
			one := 1.0
			c.Power = &one
		}
	}
	return resolved
}

func fill(text *string, otherwise string) {
	if *text == "" {
		*text = otherwise
	}
}

// CheckCentiles judges declared centiles by what needs no knowledge of the
// tables: path is that of their list, sets names the analysis sets of the plan.
func CheckCentiles(declared []CentileSettings, sets []string, path string, fault Fault) {
	resolved := ResolveCentiles(declared, sets)
	for i, c := range resolved {
		report := func(field, value, code, message, hint string) {
			fault(fmt.Sprintf("%s[%d].%s", path, i, field), value, code, message, hint)
		}
		if c.Variable == "" {
			report("variable", "", "missing_setting", "required for centiles", "")
		}
		for _, f := range []struct {
			field, value string
			known        []string
		}{{"by", c.By, []string{"sex"}}, {"over", c.Over, []string{"age_years"}}, {"method", c.Method, CentileMethods}} {
			if !slices.Contains(f.known, f.value) {
				report(f.field, f.value, "unknown_value", "known values: "+strings.Join(f.known, ", "), near(f.value, f.known))
			}
		}
		if !slices.Contains(sets, c.Set) {
			report("set", c.Set, "unknown_set", "no such set; declared: "+strings.Join(sets, ", "), near(c.Set, sets))
		}
		for j, other := range resolved[:i] {
			if other.Variable == c.Variable && other.Set == c.Set && other.Method == c.Method {
				report("variable", c.Variable, "duplicate_centiles", fmt.Sprintf("the same variable, set and method as %s[%d]", path, j), "keep one")
			}
		}
		c.checkNumbers(report)
	}
}

func (c CentileSettings) checkNumbers(report func(field, value, code, message, hint string)) {
	if len(c.Centiles) == 0 {
		report("centiles", "", "empty_setting", "no centile", "name some, as [3, 50, 97]")
	}
	for j, p := range c.Centiles {
		field := fmt.Sprintf("centiles[%d]", j)
		switch {
		case !(p >= 0.1 && p <= 99.9):
			report(field, fmt.Sprint(p), "out_of_range", "a centile lies between 0.1 and 99.9 %", "")
		case j > 0 && !(p > c.Centiles[j-1]):
			report(field, fmt.Sprint(p), "centiles_not_ascending", "each centile lies above the one before", "")
		}
	}
	if n := len(c.Ages); n > 0 && (n != 2 || !(c.Ages[0] < c.Ages[1]) || c.Ages[0] < 0 || c.Ages[1] > 120 || c.Ages[0] != math.Floor(c.Ages[0]) || c.Ages[1] != math.Floor(c.Ages[1])) {
		report("ages", fmt.Sprint(c.Ages), "bad_range", "ages are the completed years of the youngest and the oldest, as [20, 79]", "")
	}
	if c.Power != nil && (c.Method != CentilesFractional || !(*c.Power >= 0 && *c.Power <= 3)) {
		report("power", fmt.Sprint(*c.Power), "bad_power", "a power from 0, the logarithm, to 3 belongs to "+CentilesFractional, "")
	}
	if c.Shift != 0 && c.Method == CentilesQuantile {
		report("shift", fmt.Sprint(c.Shift), "shift_not_used", CentilesQuantile+" takes the variable as it is", "leave it out")
	}
	if !c.goodDF() {
		report("df", fmt.Sprint(c.DF), "bad_df", "lms takes three numbers for L, M and S, each 1 (a constant) or 2 (a line) to 10; quantile_spline takes one whole number from 1 to 10; fractional_polynomial none", "")
	}
}

func (c CentileSettings) goodDF() bool {
	switch c.Method {
	case CentilesLMS:
		return len(c.DF) == 3 && !slices.ContainsFunc(c.DF, func(v float64) bool { return v != 1 && !(v >= 2 && v <= 10) })
	case CentilesQuantile:
		return c.DF == nil || len(c.DF) == 1 && c.DF[0] >= 1 && c.DF[0] <= 10 && c.DF[0] == math.Floor(c.DF[0])
	}
	return c.DF == nil
}

// CentilesTable declares the reference centiles, a row per completed year and
// centile; L, M and S, or mean and SD, of each year stand beside them.
func CentilesTable() Table {
	return statisticTable("centiles", "statistic", "reference centiles over age, one row per set, variable, sex, completed year and statistic",
		text("sex", "sex of the people"),
		integer("age_years", "completed years of age; empty where the row is about all ages"),
		number("evaluated_at_years", "years", "age at which the curves were evaluated: the middle of the year, or its beginning where ages came as completed years"),
	)
}

// CentileParametersTable declares the numbers from which z-score and centile of
// a new value follow exactly.
func CentileParametersTable() Table {
	return statisticTable("centile_parameters", "parameter",
		"what was fitted: from these numbers, and nothing else, the scores of new persons are computed. L, M, log_S and the centiles of quantile_spline are natural cubic splines through their values at knots; mean and sd are sums of coefficients times powers of (age + age_shift)/age_scale, power 0 being the natural logarithm and a power that stands twice being multiplied by the logarithm",
		text("sex", "sex of the people"),
		text("calibration", "calibration of the people's central values; new values must have the same"),
		text("central_method", "estimator of the people's central values; new values must have the same"),
		text("parameter", "what the number belongs to: ages, variable, L, M, log_S, mean, sd, or a centile"),
		integer("position", "place in its list, from 0"),
		number("age_years", "years", "the knot"),
	)
}

// CentileFitTable declares how well the centiles fit.
func CentileFitTable() Table {
	return statisticTable("centile_fit", "statistic", "how well reference centiles fit: Q-tests (Royston and Wright 2000), moments of z and detrended normal quantiles by age group, shares below each centile",
		text("sex", "sex of the people"),
		text("age_group", "completed years of the youngest and the oldest of the group; all for everyone fitted"),
		number("deviate", "1", "deviate of the normal distribution to which a detrended quantile belongs"),
	)
}

// ScoresTable declares what new persons' values are worth by a reference.
func ScoresTable() Table {
	return Table{Name: "scores", RowPer: "row of the input and variable", Restricted: true, Meaning: "z-scores and centiles of new persons by the reference centiles of a results folder",
		Columns: []Column{
			integer("line", "line of the input, its header being line 1"),
			text("subject_id", "the person, where the input says"),
			text("sex", "sex of the person"),
			number("age_years", "years", "age of the person"),
			text("variable", "the variable"),
			number("value", "", "its value"),
			number("z", "1", "standard normal deviate of the value among people of this sex and age"),
			number("centile_pct", "%", "percent of such people below the value"),
			text("set", "analysis set of the reference"),
			text("method", "method of the reference"),
			text("calibration", "calibration of value and reference"),
			text("central_method", "estimator of value and reference"),
			text("note", "why there is no score"),
			text("caution", "what a score is not"),
		}}
}
