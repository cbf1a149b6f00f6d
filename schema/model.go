package schema

// Kinds of model.
const (
	LeastSquares    = "least_squares"    // the mean of the outcome
	QuantileModel   = "quantile"         // a quantile of it
	LogisticModel   = "logistic"         // the odds of the outcome
	PrevalenceRatio = "prevalence_ratio" // its prevalence, by modified Poisson regression
	RandomIntercept = "random_intercept" // the mean, with a deviation for each cluster
)

// ModelKinds lists the kinds of model.
var ModelKinds = []string{LeastSquares, QuantileModel, LogisticModel, PrevalenceRatio, RandomIntercept}

// Errors of a model that more than one package names.
const (
	ClassicalErrors = "classical"
	HC3Errors       = "hc3"
	ClusterErrors   = "cluster"
	DesignErrors    = "design"
	LocalDensity    = "local_density"
	RestrictedErr   = "restricted_likelihood"
)

// ModelErrors lists the standard errors that a kind of model offers, its
// default first.
func ModelErrors(kind string) []string {
	switch kind {
	case LeastSquares, LogisticModel:
		return []string{HC3Errors, ClassicalErrors, "hc0", "hc1", "hc2", ClusterErrors, DesignErrors}
	case PrevalenceRatio:
		return []string{HC3Errors, "hc0", "hc1", "hc2", ClusterErrors, DesignErrors}
	case QuantileModel:
		return []string{LocalDensity, "equal_density", "kernel_density", ClusterErrors}
	case RandomIntercept:
		return []string{RestrictedErr}
	}
	return nil
}

// Forms of a term.
const (
	Linear               = "linear"                // as it is; a column with levels is a factor
	Scaled               = "scaled"                // per so many units
	Centred              = "centred"               // from a value on
	Polynomial           = "polynomial"            // powers up to a degree
	NaturalSpline        = "natural_spline"        // cubic between knots, straight beyond the outermost
	FractionalPolynomial = "fractional_polynomial" // one or two powers, given or chosen by least deviance
	Factor               = "factor"                // levels against a reference
	WithinBetween        = "within_between"        // change within a cluster apart from the difference between clusters
)

// TermForms lists the forms of a term.
var TermForms = []string{Linear, Scaled, Centred, Polynomial, NaturalSpline, FractionalPolynomial, Factor, WithinBetween}

// Model is one declared regression. A model that extends another takes over
// what it does not say itself, and adds its terms to the other's; a term of its
// own on the same column takes that one's place.
type Model struct {
	Name      string   `yaml:"name" json:"name"`
	Extends   string   `yaml:"extends" json:"extends,omitempty"` // a model declared above
	Outcome   string   `yaml:"outcome" json:"outcome"`
	Set       string   `yaml:"set" json:"set"` // analysis set; default all
	Kind      string   `yaml:"kind" json:"kind"`
	Quantile  float64  `yaml:"quantile" json:"quantile,omitempty"`   // of a quantile model; default 0.5
	Threshold *float64 `yaml:"threshold" json:"threshold,omitempty"` // logistic and prevalence_ratio: the outcome is at least this; default analysis.threshold
	Event     string   `yaml:"event" json:"event,omitempty"`         // the same for an outcome with levels: this level
	Errors    string   `yaml:"errors" json:"errors"`
	Cluster   string   `yaml:"cluster" json:"cluster,omitempty"`     // column whose equal values belong together; default subject
	Intercept *bool    `yaml:"intercept" json:"intercept,omitempty"` // false: through the origin; default true
	Terms     []Term   `yaml:"terms" json:"terms"`

	Missing          *MissingSettings  `yaml:"missing" json:"missing,omitempty"`                     // default complete cases
	MeasurementError *MeasurementError `yaml:"measurement_error" json:"measurement_error,omitempty"` // of one column; default none is corrected for
}

// MeasurementError names a column that is mismeasured, so that the coefficients
// corrected for it stand beside the naive ones.
type MeasurementError struct {
	Column      string `yaml:"column" json:"column"`
	SE          string `yaml:"se" json:"se,omitempty"`                   // column of its standard errors; default the column's name with _se, or for a cuff value the spreads of uncertainty
	Simulations int    `yaml:"simulations" json:"simulations,omitempty"` // at each step of SIMEX; default 50
}

// Ways of meeting missing values.
const (
	CompleteCase      = "complete_case"
	ChainedEquations  = "chained_equations"
	defaultCopies     = 5
	defaultIterations = 10
)

// MissingSettings says how a model meets missing values of its terms.
type MissingSettings struct {
	Method      string            `yaml:"method" json:"method"` // complete_case or chained_equations
	Imputations int               `yaml:"imputations" json:"imputations,omitempty"`
	Iterations  int               `yaml:"iterations" json:"iterations,omitempty"`
	Variables   map[string]string `yaml:"variables" json:"variables,omitempty"` // by column: pmm, normal, logistic or multinomial; the outcome is imputed only where it is named
	Auxiliary   []string          `yaml:"auxiliary" json:"auxiliary,omitempty"` // columns that help to impute and are no terms
}

// Imputes reports whether missing values of the model are imputed.
func (m Model) Imputes() bool { return m.Missing != nil && m.Missing.Method == ChainedEquations }

// Columns lists the columns of the model's terms, each once.
func (m Model) Columns() []string {
	if len(m.Terms) == 0 {
		return nil
	}
	return Term{Interaction: m.Terms}.Columns()
}

// Reference is the level that a factor's others are compared with, where the
// model names one; empty: the first that is present.
func (m Model) Reference(column string) string {
	for _, t := range m.Terms {
		for _, part := range append([]Term{t}, t.Interaction...) {
			if part.Column == column && part.Reference != "" {
				return part.Reference
			}
		}
	}
	return ""
}

// HasIntercept reports whether the model has a constant term.
func (m Model) HasIntercept() bool { return m.Intercept == nil || *m.Intercept }

// DefaultModels is the model of a study that declares none. Age is counted from
// 50 and has a slope for each sex: the published slopes of central pulse
// pressure cross near 43 years (0.226 mmHg a year in men, 0.381 in women, from
// the band means of McEniery 2005, J Am Coll Cardiol 46:1753-60), so that a
// model without the interaction would average over the crossing, and one with
// age from zero would give the difference between newborns.
func DefaultModels() []Model {
	fifty := 50.0
	age := Term{Column: "age_years", Form: Centred, At: &fifty}
	terms := append([]Term{age, Plain("sex"), {Interaction: PlainTerms("sex", "age_years")}},
		PlainTerms("height_cm", "heart_rate_bpm", "brachial_map_mmhg")...)
	return ResolveModels([]Model{{Name: "adjusted", Outcome: "central_pp_mmhg", Terms: terms}})
}

// ClusterColumn is the column that the model's clusters come from.
func (m Model) ClusterColumn() string {
	if m.Cluster == "" || m.Cluster == "subject" {
		return "subject_id"
	}
	return m.Cluster
}
