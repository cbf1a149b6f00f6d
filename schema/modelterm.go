package schema

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
)

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
