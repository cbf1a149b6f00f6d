package schema

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
)

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
}

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

// Term is one term of a model: a column in some form, or an interaction. In
// study.yaml and in the manifest a plain column may stand as its name alone.
type Term struct {
	Column      string    `yaml:"column" json:"column,omitempty"`
	Form        string    `yaml:"form" json:"form,omitempty"`
	Per         float64   `yaml:"per" json:"per,omitempty"` // units that one step of the coefficient is
	At          *float64  `yaml:"at" json:"at,omitempty"`   // value from which it is counted; default the mean
	Degree      int       `yaml:"degree" json:"degree,omitempty"`
	DF          int       `yaml:"df" json:"df,omitempty"`       // columns of a spline, its knots at quantiles
	Knots       []float64 `yaml:"knots" json:"knots,omitempty"` // inner knots of a spline
	Powers      []float64 `yaml:"powers" json:"powers,omitempty"`
	Reference   string    `yaml:"reference" json:"reference,omitempty"` // level of a factor that the others are compared with; default the first
	Interaction []Term    `yaml:"interaction" json:"interaction,omitempty"`
}

// Plain is a term of a column as it is.
func Plain(column string) Term { return Term{Column: column} }

// PlainTerms are terms of columns as they are.
func PlainTerms(columns ...string) []Term {
	terms := make([]Term, len(columns))
	for i, c := range columns {
		terms[i] = Plain(c)
	}
	return terms
}

// IsPlain reports whether nothing but the column is given.
func (t Term) IsPlain() bool {
	return t.Column != "" && reflect.DeepEqual(t, Term{Column: t.Column})
}

// Columns lists the columns of the term, each once.
func (t Term) Columns() []string {
	if len(t.Interaction) == 0 {
		return []string{t.Column}
	}
	var out []string
	for _, part := range t.Interaction {
		for _, c := range part.Columns() {
			if !slices.Contains(out, c) {
				out = append(out, c)
			}
		}
	}
	return out
}

// Label names the term in tables and messages: the column, or the columns of an
// interaction joined by colons.
func (t Term) Label() string { return strings.Join(t.Columns(), ":") }

// FormOf returns the form of a term; where none is given the parameters say
// which is meant.
func (t Term) FormOf() string {
	switch {
	case t.Form != "":
		return t.Form
	case t.Reference != "":
		return Factor
	case t.DF != 0 || t.Knots != nil:
		return NaturalSpline
	case t.Powers != nil:
		return FractionalPolynomial
	case t.Degree != 0:
		return Polynomial
	case t.At != nil:
		return Centred
	case t.Per != 0:
		return Scaled
	}
	return Linear
}

// MarshalJSON writes a plain term as its column.
func (t Term) MarshalJSON() ([]byte, error) {
	if t.IsPlain() {
		return json.Marshal(t.Column)
	}
	type whole Term
	return json.Marshal(whole(t))
}

// String writes the term as it stands in the manifest.
func (t Term) String() string {
	data, err := t.MarshalJSON()
	if err != nil {
		return t.Label()
	}
	return string(data)
}

// UnmarshalJSON reads a column's name as a plain term.
func (t *Term) UnmarshalJSON(data []byte) error {
	*t = Term{}
	if len(data) > 0 && data[0] == '"' {
		return json.Unmarshal(data, &t.Column)
	}
	type whole Term
	return json.Unmarshal(data, (*whole)(t))
}

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

// ResolveModels gives each model what it takes over from the one it extends,
// and then the defaults. A model that is resolved already stays as it is.
func ResolveModels(models []Model) []Model {
	out := make([]Model, len(models))
	for i, m := range models {
		for j := range i {
			if models[j].Name == m.Extends && m.Extends != "" {
				m = m.over(out[j])
				break
			}
		}
		out[i] = m
	}
	for i := range out {
		out[i].fill()
	}
	return out
}

// over returns m with what it does not say taken from base.
func (m Model) over(base Model) Model {
	if m.Kind == "" {
		m.Kind = base.Kind
	}
	if m.Errors == "" && (base.Errors == "" || slices.Contains(ModelErrors(kindOr(m.Kind)), base.Errors)) {
		m.Errors = base.Errors
	}
	for _, s := range []struct{ own, other *string }{
		{&m.Outcome, &base.Outcome}, {&m.Set, &base.Set}, {&m.Event, &base.Event}, {&m.Cluster, &base.Cluster},
	} {
		if *s.own == "" {
			*s.own = *s.other
		}
	}
	if m.Quantile == 0 {
		m.Quantile = base.Quantile
	}
	if m.Threshold == nil {
		m.Threshold = base.Threshold
	}
	if m.Intercept == nil {
		m.Intercept = base.Intercept
	}
	terms := slices.Clone(base.Terms)
	for _, t := range m.Terms {
		if at := slices.IndexFunc(terms, func(o Term) bool { return o.Label() == t.Label() }); at >= 0 {
			terms[at] = t
		} else {
			terms = append(terms, t)
		}
	}
	m.Terms = terms
	return m
}

func kindOr(kind string) string {
	if kind == "" {
		return LeastSquares
	}
	return kind
}

// fill puts in the defaults.
func (m *Model) fill() {
	m.Kind = kindOr(m.Kind)
	if m.Set == "" {
		m.Set = "all"
	}
	if m.Kind == QuantileModel && m.Quantile == 0 {
		m.Quantile = 0.5
	}
	if known := ModelErrors(m.Kind); m.Errors == "" && known != nil {
		m.Errors = known[0]
		if m.Cluster != "" && slices.Contains(known, ClusterErrors) {
			m.Errors = ClusterErrors
		}
	}
	if m.Cluster == "" && (m.Errors == ClusterErrors || m.Kind == RandomIntercept) {
		m.Cluster = "subject"
	}
}

// ClusterColumn is the column that the model's clusters come from.
func (m Model) ClusterColumn() string {
	if m.Cluster == "" || m.Cluster == "subject" {
		return "subject_id"
	}
	return m.Cluster
}
