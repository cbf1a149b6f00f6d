package schema

import "slices"

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
	if m.Missing == nil {
		m.Missing = base.Missing
	}
	if m.MeasurementError == nil {
		m.MeasurementError = base.MeasurementError
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
	if m.Missing != nil {
		m.Missing = m.Missing.filled()
	}
	if e := m.MeasurementError; e != nil && e.Simulations == 0 {
		filled := *e
		filled.Simulations = 50
		m.MeasurementError = &filled
	}
}

// filled returns the settings with their defaults.
func (s MissingSettings) filled() *MissingSettings {
	if s.Method == "" {
		s.Method = ChainedEquations
	}
	if s.Method == ChainedEquations && s.Imputations == 0 {
		s.Imputations = defaultCopies
	}
	if s.Method == ChainedEquations && s.Iterations == 0 {
		s.Iterations = defaultIterations
	}
	return &s
}
