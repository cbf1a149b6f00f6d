package report

import (
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
)

// modelsTable writes the declared models side by side, the terms below each
// other.
func modelsTable(s Source, style Style) *Table {
	f := s.frame("regression")
	if f == nil {
		return nil
	}
	names := texts(f, "model")
	t := &Table{Name: "table_models", Title: "Regression models", Stub: []string{"Outcome and analysis set", "Term"}, Columns: names}
	m := models{f: f, style: style, t: t, names: names, units: characteristicUnits(s), at: newLookup(f, "set", "variable", "model", "term", "statistic")}
	for _, set := range texts(f, "set") {
		for _, outcome := range texts(f, "variable") {
			m.outcome(set, outcome)
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	t.note("Coefficient (95 % confidence interval); P. Odds ratios and prevalence ratios where the model is of an event. Reference levels and methods stand in regression.csv.")
	return t
}

type models struct {
	f     *schema.Frame
	style Style
	t     *Table
	names []string
	units map[string]string
	at    lookup
}

// characteristicUnits are the units of the columns that Table 1 describes.
func characteristicUnits(s Source) map[string]string {
	if f := s.frame("characteristics"); f != nil {
		return unitsOf(f)
	}
	return nil
}

func (m *models) outcome(set, outcome string) {
	var terms []string
	unit, any := "", false
	for row := range m.f.N {
		if m.f.TextAt(row, "set") != set || m.f.TextAt(row, "variable") != outcome {
			continue
		}
		any = true
		term := m.f.TextAt(row, "term")
		if m.f.TextAt(row, "statistic") == "estimate" && term != "" && !slices.Contains(terms, term) {
			terms = append(terms, term)
		}
		if m.f.TextAt(row, "statistic") == "residual_sd" {
			unit = m.f.TextAt(row, "unit")
		}
	}
	if !any {
		return
	}
	label := Label(outcome, unit) + " · " + set
	for _, term := range terms {
		var cells []string
		for _, name := range m.names {
			cells = append(cells, m.coefficient(set, outcome, name, term))
		}
		m.t.add([]string{label, m.termName(term)}, cells...)
	}
	m.whole(label, set, outcome)
}

// coefficient writes one coefficient with its interval and P.
func (m *models) coefficient(set, outcome, model, term string) string {
	row, _ := m.effect(set, outcome, model, term)
	if row < 0 {
		return ""
	}
	text, known := m.interval(row)
	p := m.at.row(set, outcome, model, term, "p_value")
	if !known || p < 0 || m.f.Missing(p, "estimate") {
		return text
	}
	return text + "; P " + m.style.P(m.f.Number(p, "estimate"))
}

// interval writes an estimate with its interval, with the digits that the interval
// leaves it; known is false where there is no number.
func (m *models) interval(row int) (text string, known bool) {
	v, low, high := m.f.Number(row, "estimate"), m.f.Number(row, "low"), m.f.Number(row, "high")
	if math.IsNaN(v) {
		return cell(m.f, row, "estimate", nil), false
	}
	decimals := significant(v, 3)
	if !math.IsNaN(low) && !math.IsNaN(high) {
		decimals = significant(high-low, 2)
	}
	text = m.style.Decimal(v, decimals)
	if !math.IsNaN(low) {
		text += " (" + m.style.Interval(low, high, decimals) + ")"
	}
	return text, true
}

// whole writes what belongs to the models as a whole.
func (m *models) whole(label, set, outcome string) {
	for _, line := range []struct {
		name, statistic, column string
		write                   func(v float64) string
	}{
		{"n", "rank", "n", m.style.Count},
		{"without a value, n", "rank", "n_missing", m.style.Count},
		{"R²", "r_squared", "estimate", func(v float64) string { return m.style.Decimal(v, 2) }},
		{"Residual SD", "residual_sd", "estimate", func(v float64) string { return m.style.Decimal(v, 1) }},
	} {
		var cells []string
		found := false
		for _, name := range m.names {
			row := m.at.row(set, outcome, name, "", line.statistic)
			if row < 0 {
				cells = append(cells, "")
				continue
			}
			found = true
			cells = append(cells, cell(m.f, row, line.column, line.write))
		}
		if found {
			m.t.add([]string{label, line.name}, cells...)
		}
	}
}

// termName names a term for a reader: sex=male as Sex: male.
func (m *models) termName(term string) string {
	parts := strings.Split(term, ":")
	for i, part := range parts {
		name, level, ok := strings.Cut(part, "=")
		parts[i] = Label(name, m.units[name])
		if ok {
			parts[i] += ": " + level
		}
	}
	return strings.Join(parts, " × ")
}
