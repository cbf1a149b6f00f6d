package main

import (
	"fmt"
	"strings"

	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

// stage is a task as the stage that makes the tables does it: from the
// person-level table and a plan to the tables of statistics.
type stage struct {
	columns []string // of the person-level table, beside what every one has
	plan    func(a *schema.Analysis)
	answer  func(r tabulate.Results) string
}

var stages = map[string]stage{
	"hc3_tables": {append([]string{"cpp"}, others...), modelled(schema.Model{Name: "least_squares", Outcome: "cpp",
		Terms: append([]schema.Term{{Column: "age_years", Form: schema.Polynomial, Degree: 2}}, schema.PlainTerms(others...)...)}), coefficientOf("height", "hc3")},
	"median_tables": {append([]string{"cpp"}, others...), modelled(schema.Model{Name: "median", Outcome: "cpp", Kind: schema.QuantileModel,
		Terms: append([]schema.Term{{Column: "age_years", Form: schema.NaturalSpline, DF: 5}}, schema.PlainTerms(others...)...)}), coefficientOf("height", "local_density")},
	"impute_tables": {imputed[1:], modelled(schema.Model{Name: "imputed", Outcome: "cpp", Errors: schema.ClassicalErrors,
		Terms:   append(schema.PlainTerms("age_years"), schema.PlainTerms(imputed[1:12]...)...),
		Missing: &schema.MissingSettings{Method: schema.ChainedEquations, Imputations: 5, Iterations: 5}}), coefficientOf("bmi_m", "classical")},
	"percentiles_tables": {imputed[1:], described, func(r tabulate.Results) string {
		return fmt.Sprintf("%d rows", r.Summary.N)
	}},
	"lms_tables":      {measured, centiles(schema.CentileSettings{Variable: "cpp", Method: schema.CentilesLMS}), centileOf("p50")},
	"quantile_tables": {measured, centiles(schema.CentileSettings{Variable: "cpp", Method: schema.CentilesQuantile, DF: []float64{5}}), centileOf("p50")},
}

// measured is what centiles are made of.
var measured = []string{"sex", "cpp", "calibration", "central_method"}

// nothing is a plan without statistics.
func nothing(a *schema.Analysis) {
	a.Variables, a.Models, a.CompareWith, a.Threshold, a.Strata = nil, nil, nil, nil, nil
	a.Centiles = nil
	a.Tables.Characteristics = []string{"age_years"}
}

func modelled(m schema.Model) func(a *schema.Analysis) {
	return func(a *schema.Analysis) {
		nothing(a)
		a.Models = []schema.Model{m}
	}
}

func centiles(c schema.CentileSettings) func(a *schema.Analysis) {
	return func(a *schema.Analysis) {
		nothing(a)
		a.Centiles = []schema.CentileSettings{c}
	}
}

// described is twelve variables in fourteen strata and their margins.
func described(a *schema.Analysis) {
	nothing(a)
	a.Strata = []string{"sex", "age_band"}
	a.Variables = []string{"age_years", "height", "bmi_m", "hr", "map", "smoker", "diabetes", "glucose_m", "ldl_m", "egfr_m", "med", "cpp"}
	a.Tables.Characteristics = nil
}

// measure makes the person-level table, which is the data, and times the stage.
func (s stage) measure(task string, c columns) error {
	f, bytes := frame(c, s.columns)
	clear(c)
	settings := schema.DefaultSettings()
	s.plan(&settings.Analysis)
	settings.Study.ID = "bench"
	return measure(task, bytes, func() (string, error) {
		r := tabulate.Tables(f, settings, "study.yaml", "analysis")
		if schema.AnyStructural(r.Issues) {
			return "", fmt.Errorf("%s", r.Issues[0])
		}
		if err := r.Residuals.Each(func(*schema.Frame) error { return nil }); err != nil {
			return "", err
		}
		return s.answer(r), nil
	})
}

// frame makes the person-level table of one visit each, and tells its size.
func frame(c columns, wanted []string) (*schema.Frame, int) {
	declared := []schema.Column{{Name: "subject_id", Kind: schema.Text}, {Name: "visit_id", Kind: schema.Text}, {Name: "status", Kind: schema.Text}, {Name: "reason", Kind: schema.Text},
		{Name: "age_years", Kind: schema.Number, Unit: "years"}}
	for _, name := range wanted {
		column := schema.Column{Name: name, Kind: schema.Number, Unit: "1"}
		if levels := levelsOf(name); levels != nil {
			column = schema.Column{Name: name, Kind: schema.Category, Levels: levels}
		}
		declared = append(declared, column)
	}
	n := len(c["age"])
	f := schema.NewFrame(schema.Table{Name: "subject_visits", Columns: declared}, n)
	ids := identifiers(n)
	for i := range n {
		row := f.AddRow()
		f.SetText(row, "subject_id", ids[8*i:8*i+8])
		f.SetText(row, "visit_id", "v1")
		f.SetText(row, "status", "used")
		f.SetNumber(row, "age_years", c["age"][i])
		for _, name := range wanted {
			levels := levelsOf(name)
			switch {
			case name == "sex":
				f.SetText(row, name, levels[int(c[name][i])])
			case levels != nil:
				f.SetText(row, name, levels[0])
			default:
				f.SetNumber(row, name, c[name][i])
			}
		}
	}
	size := len(ids)
	for _, column := range declared {
		if column.Numeric() {
			size += 8 * n
		} else {
			size += 16 * n
		}
	}
	return f, size
}

// levelsOf lists the levels of a column that has some.
func levelsOf(name string) []string {
	switch name {
	case "sex":
		return []string{"female", "male"}
	case "calibration":
		return []string{"sbp_dbp"}
	case "central_method":
		return []string{"tube_constant"}
	}
	return nil
}

// identifiers are n names of eight characters, one after the other.
func identifiers(n int) string {
	var b strings.Builder
	b.Grow(8 * n)
	for i := range n {
		fmt.Fprintf(&b, "s%07d", i)
	}
	return b.String()
}

// coefficientOf reads a coefficient and its error off the table.
func coefficientOf(term, errors string) func(r tabulate.Results) string {
	return func(r tabulate.Results) string {
		said := ""
		f := r.Regression
		for row := range f.N {
			name := f.TextAt(row, "statistic")
			if f.TextAt(row, "term") == term && (name == "estimate" || name == "se_"+errors) {
				said += fmt.Sprintf("%.8g ", f.Number(row, "estimate"))
			}
		}
		if said == "" && f.N > 0 {
			return f.TextAt(0, "note")
		}
		return strings.TrimSpace(said)
	}
}

// centileOf reads a centile of women of fifty off the table.
func centileOf(name string) func(r tabulate.Results) string {
	return func(r tabulate.Results) string {
		f := r.Centiles
		for row := range f.N {
			if f.TextAt(row, "statistic") == name && f.TextAt(row, "sex") == "female" && f.Number(row, "age_years") == 50 {
				return fmt.Sprintf("%.5g %.5g", f.Number(row, "estimate"), f.Number(row, "high")-f.Number(row, "low"))
			}
		}
		return "none"
	}
}
