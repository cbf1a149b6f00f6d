package schema

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
)

// Fault receives one fault of a plan: the path of the setting, the offending
// text, the rule, what is wrong and what would mend it.
type Fault func(path, value, code, message, hint string)

var identifier = regexp.MustCompile(Identifier)

// modelChecker judges declared models.
type modelChecker struct {
	path  string
	fault Fault
}

// CheckModels judges what needs no knowledge of the tables: path is that of the
// list of models, sets names the analysis sets that the plan declares.
func CheckModels(declared []Model, sets []string, path string, fault Fault) {
	resolved := ResolveModels(declared)
	for i, m := range declared {
		c := modelChecker{path: fmt.Sprintf("%s[%d]", path, i), fault: fault}
		earlier := declared[:i]
		named := func(name string) bool {
			return slices.ContainsFunc(earlier, func(o Model) bool { return o.Name == name })
		}
		switch {
		case m.Name == "":
			c.report("name", "", "missing_setting", "required for a model", "")
		case !identifier.MatchString(m.Name):
			c.report("name", m.Name, "bad_name", "a name starts with a letter or a digit and holds letters, digits, blanks and . _ : / + -, at most 64", "")
		case named(m.Name):
			c.report("name", m.Name, "duplicate_model", "two models have this name", "keep one")
		}
		if m.Extends != "" && !named(m.Extends) {
			var names []string
			for _, o := range earlier {
				names = append(names, o.Name)
			}
			c.report("extends", m.Extends, "unknown_model", "no model above it has this name", near(m.Extends, names))
		}
		c.kind(m, resolved[i])
		c.cluster(m, resolved[i])
		if resolved[i].Outcome == "" && (m.Extends == "" || named(m.Extends)) {
			c.report("outcome", "", "missing_setting", "required for a model", "")
		}
		if !slices.Contains(sets, resolved[i].Set) {
			hint := near(resolved[i].Set, sets)
			if hint == "" {
				hint = "declare it under sets, or name the model's set"
			}
			c.report("set", resolved[i].Set, "unknown_set", "no such set; declared: "+strings.Join(sets, ", "), hint)
		}
		c.terms(m, resolved[i])
		c.missing(m)
		c.mismeasured(m, resolved[i])
		base := slices.IndexFunc(resolved, func(o Model) bool { return o.Name == m.Extends })
		if adjustsTwice(resolved[i]) && (base < 0 || !adjustsTwice(resolved[base])) {
			c.report("terms", "heart_rate_bpm", "adjusted_twice", "augmentation_index_hr75_pct is already brought to a heart rate of 75: with heart_rate_bpm in the model it is adjusted twice", "use augmentation_index_pct, or leave heart_rate_bpm out")
		}
	}
}

func (c modelChecker) report(name, value, code, message, hint string) {
	c.fault(c.path+"."+name, value, code, message, hint)
}

func (c modelChecker) oneOf(name, value string, known []string) bool {
	if slices.Contains(known, value) {
		return true
	}
	c.report(name, value, "unknown_value", "known values: "+strings.Join(known, ", "), near(value, known))
	return false
}

func (c modelChecker) kind(m, whole Model) {
	if !c.oneOf("kind", whole.Kind, ModelKinds) {
		return
	}
	if known := ModelErrors(whole.Kind); !slices.Contains(known, whole.Errors) {
		hint := near(whole.Errors, known)
		if whole.Kind == PrevalenceRatio && whole.Errors == ClassicalErrors {
			hint = "an outcome of yes and no varies less than a count: the errors must be robust"
		}
		c.report("errors", whole.Errors, "unknown_value", "known values for "+whole.Kind+": "+strings.Join(known, ", "), hint)
	}
	if m.Quantile != 0 && whole.Kind != QuantileModel {
		c.report("quantile", plainNumber(m.Quantile), "setting_not_used", "only a quantile model has a quantile", "kind: quantile")
	}
	if whole.Kind == QuantileModel && !(whole.Quantile > 0 && whole.Quantile < 1) {
		c.report("quantile", plainNumber(whole.Quantile), "out_of_range", "a quantile lies between 0 and 1", "0.5 is the median")
	}
	binary := whole.Kind == LogisticModel || whole.Kind == PrevalenceRatio
	if m.Threshold != nil && !binary {
		c.report("threshold", plainNumber(*m.Threshold), "setting_not_used", "only logistic and prevalence_ratio models have a threshold", "")
	}
	if m.Event != "" && !binary {
		c.report("event", m.Event, "setting_not_used", "only logistic and prevalence_ratio models have an event", "")
	}
	if whole.Threshold != nil && whole.Event != "" {
		c.report("event", whole.Event, "setting_not_used", "an outcome has a threshold or an event, not both", "leave one out")
	}
}

func (c modelChecker) cluster(m, whole Model) {
	used := whole.Errors == ClusterErrors || whole.Kind == RandomIntercept ||
		slices.ContainsFunc(whole.Terms, func(t Term) bool { return t.FormOf() == WithinBetween })
	if m.Cluster != "" && !used {
		c.report("cluster", m.Cluster, "setting_not_used", "nothing in the model goes by cluster", "errors: cluster, or kind: random_intercept")
	}
}

func (c modelChecker) terms(m, whole Model) {
	if len(whole.Terms) == 0 {
		c.report("terms", "", "missing_setting", "a model has at least one term", "")
	}
	for i, t := range m.Terms {
		at := fmt.Sprintf("terms[%d]", i)
		c.term(t, at, false)
		label := t.Label()
		if label != "" && slices.ContainsFunc(m.Terms[:i], func(o Term) bool { return o.Label() == label }) {
			c.report(at, label, "duplicate_item", "named twice", "keep one")
		}
		if whole.Outcome != "" && slices.Contains(t.Columns(), whole.Outcome) {
			c.report(at, whole.Outcome, "outcome_as_term", "the outcome is among its own terms", "")
		}
	}
}

// adjustsTwice reports the index brought to a heart rate of 75 in one model
// with heart rate (Wilkinson 2000, J Physiol 525:263-70 gives the slope).
func adjustsTwice(m Model) bool {
	all := []string{m.Outcome}
	for _, t := range m.Terms {
		all = append(all, t.Columns()...)
	}
	return slices.Contains(all, "augmentation_index_hr75_pct") && slices.Contains(all, "heart_rate_bpm")
}

// term judges one term; inner says that it stands in an interaction.
func (c modelChecker) term(t Term, at string, inner bool) {
	if len(t.Interaction) > 0 {
		c.interaction(t, at, inner)
		return
	}
	if t.Column == "" {
		c.report(at, "", "missing_setting", "a term names a column or an interaction", "{column: age_years, form: centred, at: 50}")
		return
	}
	form := t.FormOf()
	if !c.oneOf(at+".form", form, TermForms) {
		return
	}
	if inner && form == WithinBetween {
		c.report(at+".form", form, "term_not_usable", "an interaction takes no such term", "interact with a column of its own")
	}
	c.parameters(t, form, at)
}

func (c modelChecker) interaction(t Term, at string, inner bool) {
	switch {
	case inner:
		c.report(at, "", "term_not_usable", "an interaction within an interaction", "name all columns in one list")
		return
	case t.Column != "" || (Term{Interaction: t.Interaction}).String() != t.String():
		c.report(at, t.Column, "term_not_usable", "an interaction has nothing beside its list", "give the form within the list")
	case len(t.Interaction) < 2 || len(t.Interaction) > 3:
		c.report(at, "", "term_not_usable", "an interaction is of two or three columns", "{interaction: [sex, age_years]}")
	}
	for i, part := range t.Interaction {
		c.term(part, fmt.Sprintf("%s.interaction[%d]", at, i), true)
		if part.Column != "" && slices.ContainsFunc(t.Interaction[:i], func(o Term) bool { return o.Column == part.Column }) {
			c.report(fmt.Sprintf("%s.interaction[%d]", at, i), part.Column, "duplicate_item", "named twice", "a polynomial takes a column with itself")
		}
	}
}

// parameters judges the numbers of a form, and that each belongs to it.
func (c modelChecker) parameters(t Term, form, at string) {
	for _, p := range []struct {
		name  string
		given bool
		forms []string
	}{
		{"per", t.Per != 0, []string{Scaled, Centred, Polynomial}},
		{"at", t.At != nil, []string{Centred, Polynomial, NaturalSpline, FractionalPolynomial}},
		{"degree", t.Degree != 0, []string{Polynomial, FractionalPolynomial}},
		{"df", t.DF != 0, []string{NaturalSpline}},
		{"knots", t.Knots != nil, []string{NaturalSpline}},
		{"powers", t.Powers != nil, []string{FractionalPolynomial}},
		{"reference", t.Reference != "", []string{Factor}},
	} {
		if p.given && !slices.Contains(p.forms, form) {
			c.report(at+"."+p.name, "", "setting_not_used", p.name+" belongs to the form "+strings.Join(p.forms, " or ")+", and this one is "+form, "")
		}
	}
	bad := func(name string, v float64, message string) {
		c.report(at+"."+name, plainNumber(v), "out_of_range", message, "")
	}
	switch {
	case form == Scaled && t.Per == 0:
		c.report(at+".per", "", "missing_setting", "required for a scaled term", "per: 10")
	case t.Per < 0 || math.IsInf(t.Per, 0) || math.IsNaN(t.Per):
		bad("per", t.Per, "a number of units above 0")
	case form == Polynomial && t.Degree == 0:
		c.report(at+".degree", "", "missing_setting", "required for a polynomial", "degree: 2")
	case form == Polynomial && (t.Degree < 1 || t.Degree > 10):
		bad("degree", float64(t.Degree), "a degree from 1 to 10")
	case form == FractionalPolynomial && t.Powers == nil && (t.Degree < 0 || t.Degree > 2):
		bad("degree", float64(t.Degree), "1 or 2 powers are chosen")
	}
	switch form {
	case NaturalSpline:
		c.spline(t, at)
	case FractionalPolynomial:
		c.fractional(t, at)
	}
}

func (c modelChecker) spline(t Term, at string) {
	switch {
	case t.DF == 0 && t.Knots == nil:
		c.report(at+".df", "", "missing_setting", "a spline needs df or knots", "df: 4")
	case t.DF != 0 && t.Knots != nil:
		c.report(at+".df", fmt.Sprint(t.DF), "setting_not_used", "a spline has df or knots, not both", "leave one out")
	case t.Knots == nil && (t.DF < 1 || t.DF > 20):
		c.report(at+".df", fmt.Sprint(t.DF), "out_of_range", "from 1 to 20 columns", "")
	case len(t.Knots) > 20:
		c.report(at+".knots", "", "out_of_range", "at most 20 knots", "")
	}
	for i := 1; i < len(t.Knots); i++ {
		if !(t.Knots[i] > t.Knots[i-1]) {
			c.report(fmt.Sprintf("%s.knots[%d]", at, i), plainNumber(t.Knots[i]), "knots_not_ascending", "each knot lies above the one before", "")
		}
	}
}

func (c modelChecker) fractional(t Term, at string) {
	if t.Powers != nil && t.Degree != 0 {
		c.report(at+".degree", fmt.Sprint(t.Degree), "setting_not_used", "powers are given: none is chosen", "leave one out")
	}
	if t.Powers != nil && (len(t.Powers) < 1 || len(t.Powers) > 2) {
		c.report(at+".powers", "", "out_of_range", "one or two powers", "")
	}
	known := []float64{-2, -1, -0.5, 0, 0.5, 1, 2, 3}
	for i, p := range t.Powers {
		if !slices.Contains(known, p) {
			c.report(fmt.Sprintf("%s.powers[%d]", at, i), plainNumber(p), "unknown_value", "the powers are -2, -1, -0.5, 0 (the logarithm), 0.5, 1, 2, 3", "")
		}
	}
}

func near(word string, known []string) string {
	if n, ok := Nearest(word, known); ok && word != "" {
		return "did you mean " + n + "?"
	}
	return ""
}

func plainNumber(v float64) string { return fmt.Sprintf("%g", v) }
