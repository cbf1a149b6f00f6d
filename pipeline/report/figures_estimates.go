package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/pipeline/report/figure"
	"tonocohort/schema"
)

// modelFigures draws the coefficients of the models of the focus, term by term,
// every term on a scale of its own since each has a unit of its own.
func modelFigures(s Source, style Style) []Drawing {
	f := s.frame("regression")
	if f == nil {
		return nil
	}
	m := models{f: f, style: style, names: texts(f, "model"), units: characteristicUnits(s), at: newLookup(f, "set", "variable", "model", "term", "statistic")}
	var list []Drawing
	for _, set := range texts(f, "set") {
		for _, outcome := range texts(f, "variable") {
			if d, ok := m.figure(s, set, outcome); ok {
				list = append(list, d)
			}
		}
	}
	return list
}

func (m *models) figure(s Source, set, outcome string) (Drawing, bool) {
	c := figure.Forest{Name: fileName("models", outcome, set), Columns: [3]string{"Term and model", "n", "Coefficient (95 % CI)"}}
	unit := ""
	var terms []string
	for row := range m.f.N {
		if m.f.TextAt(row, "set") != set || m.f.TextAt(row, "variable") != outcome {
			continue
		}
		if term := m.f.TextAt(row, "term"); m.f.TextAt(row, "statistic") == "estimate" && term != "" && term != "intercept" && !slices.Contains(terms, term) {
			terms = append(terms, term)
		}
		if m.f.TextAt(row, "statistic") == "residual_sd" {
			unit = m.f.TextAt(row, "unit")
		}
	}
	ratios := false
	for _, term := range terms {
		g := figure.Group{Heading: m.termName(term)}
		for k, name := range m.names {
			row, statistic := m.effect(set, outcome, name, term)
			if row < 0 {
				continue
			}
			g.Log = g.Log || statistic != "estimate"
			text, _ := m.interval(row)
			g.Rows = append(g.Rows, figure.Estimate{Label: name, N: cell(m.f, row, "n", m.style.Count), Value: text, Series: k,
				Est: m.f.Number(row, "estimate"), Low: m.f.Number(row, "low"), High: m.f.Number(row, "high")})
		}
		ratios = ratios || g.Log
		if slices.ContainsFunc(g.Rows, func(e figure.Estimate) bool { return !math.IsNaN(e.Est) }) {
			c.Groups = append(c.Groups, g)
		}
	}
	if len(c.Groups) == 0 {
		return Drawing{}, false
	}
	what := "coefficients in " + unit + " per unit of the term (of a level: against the reference level)"
	if ratios {
		what = "odds ratios or prevalence ratios where the model is of an event, on a logarithmic scale"
		c.Columns[2] = "Ratio (95 % CI)"
	}
	c.Title = fmt.Sprintf("Models of %s, analysis set %s", Label(outcome, ""), set)
	c.Desc = fmt.Sprintf("Estimates with 95 %% confidence intervals of %d terms in %d models. The numbers stand in the table of models.", len(c.Groups), len(m.names))
	return Drawing{c.Draw(), fmt.Sprintf("%s, analysis set %s: %s. Bars: 95 %% confidence intervals. Every term has a scale of its own; the upright line is no association.", Label(outcome, ""), set, what)}, true
}

// effect finds what a model says of a term: a ratio where it is of an event.
func (m *models) effect(set, outcome, model, term string) (int, string) {
	for _, statistic := range []string{"odds_ratio", "prevalence_ratio", "estimate"} {
		if row := m.at.row(set, outcome, model, term, statistic); row >= 0 {
			return row, statistic
		}
	}
	return -1, ""
}

// comparisonFigures draws the differences of the focus from published means.
func comparisonFigures(s Source, style Style) []Drawing {
	f := s.frame("comparison")
	if f == nil {
		return nil
	}
	variable := focus(s)
	decimals := Decimals(spreads(s)[variable])
	var list []Drawing
	for _, set := range texts(f, "set") {
		for _, published := range texts(f, "published") {
			c := figure.Forest{Name: fileName("comparison", variable, published, set), Columns: [3]string{"Stratum", "n", "Difference (95 % CI)"}, Shared: true}
			unit := ""
			for row := range f.N {
				if f.TextAt(row, "statistic") != "difference_of_means" && f.TextAt(row, "statistic") != "mean_difference_over_strata" ||
					f.TextAt(row, "set") != set || f.TextAt(row, "published") != published || f.TextAt(row, "variable") != variable || f.Missing(row, "estimate") {
					continue
				}
				unit = f.TextAt(row, "unit")
				addDifference(&c, f, row, style, decimals)
			}
			if len(c.Groups) == 0 {
				continue
			}
			c.Axis = "Study less published, " + axisLabel(variable, unit)
			c.Title = fmt.Sprintf("%s beside %s, analysis set %s", Label(variable, ""), published, set)
			c.Desc = "Differences of means with 95 % confidence intervals by sex and age band. The numbers stand in the table of the comparison."
			list = append(list, Drawing{c.Draw(), fmt.Sprintf("%s: mean of the study (analysis set %s) less the published mean (%s). Bars: 95 %% confidence intervals of the difference. What makes the comparison unfair stands below the table. Strata of which the difference may not be shown are left out.", Label(variable, unit), set, published)})
		}
	}
	return list
}

func addDifference(c *figure.Forest, f *schema.Frame, row int, style Style, decimals int) {
	sex, band := f.TextAt(row, "sex"), f.TextAt(row, "age_band")
	heading, series := groupName(sex), map[string]int{"female": 0, "male": 1}[sex]
	label := strings.Replace(band, ">=", "≥", 1) + " years"
	if strings.Contains(f.TextAt(row, "note"), "suspect published value") {
		label += ", suspect published value"
	}
	if band == "all" {
		heading, label, series = "Over the strata", groupName(sex), 3
	}
	if len(c.Groups) == 0 || c.Groups[len(c.Groups)-1].Heading != heading {
		c.Groups = append(c.Groups, figure.Group{Heading: heading})
	}
	value := style.Decimal(f.Number(row, "estimate"), decimals)
	if !f.Missing(row, "low") {
		value += " (" + style.Interval(f.Number(row, "low"), f.Number(row, "high"), decimals) + ")"
	}
	g := &c.Groups[len(c.Groups)-1]
	g.Rows = append(g.Rows, figure.Estimate{Label: label, N: cell(f, row, "n", style.Count), Value: value, Series: series,
		Est: f.Number(row, "estimate"), Low: f.Number(row, "low"), High: f.Number(row, "high")})
}

// agreementFigures draws bias and limits of agreement of the central pressures.
func agreementFigures(s Source, style Style) []Drawing {
	f := s.frame("agreement")
	if f == nil {
		return nil
	}
	a := newAgreement(s, f, style)
	var list []Drawing
	for _, variable := range a.variables() {
		c := figure.Forest{Name: fileName("agreement", variable), Columns: [3]string{"Compared", "n", "Bias (95 % CI); limits"}, Shared: true}
		g := figure.Group{}
		unit := ""
		for _, p := range a.pairs(variable) {
			bias, low, high := a.row(variable, p, "bias"), a.row(variable, p, "lower_limit"), a.row(variable, p, "upper_limit")
			if bias < 0 || f.Missing(bias, "estimate") {
				continue
			}
			unit = f.TextAt(bias, "unit")
			e := figure.Estimate{Label: p.label(), N: cell(f, bias, "n", style.Count), Value: a.number(variable, bias) + "; " + a.limits(variable, p),
				Est: f.Number(bias, "estimate"), Low: f.Number(bias, "low"), High: f.Number(bias, "high")}
			for _, row := range []int{low, high} {
				if row >= 0 && !f.Missing(row, "estimate") {
					e.Limits = append(e.Limits, figure.Limit{At: f.Number(row, "estimate"), Low: f.Number(row, "low"), High: f.Number(row, "high")})
				}
			}
			g.Rows = append(g.Rows, e)
		}
		if len(g.Rows) == 0 {
			continue
		}
		c.Groups = []figure.Group{g}
		c.Axis = "Second less first, " + axisLabel(variable, unit)
		c.Title = "Agreement of repeated and alternative measurements: " + Label(variable, "")
		c.Desc = "Mean difference and 95 % limits of agreement of each comparison, with their confidence intervals. The numbers stand in the table of agreement."
		list = append(list, Drawing{c.Draw(), Label(variable, unit) + ". Marker: mean difference (second less first) with its 95 % confidence interval; upright strokes: 95 % limits of agreement (mean ± 1.96 SD), each with its 95 % confidence interval. n: persons. Points of single persons are not shown."})
	}
	return list
}

// sensitivityFigures draws the headline coefficient under each declared choice.
func sensitivityFigures(s Source, style Style) []Drawing {
	f := s.frame("sensitivity")
	if f == nil {
		return nil
	}
	order := make([]int, 0, f.N)
	for row := range f.N {
		if !f.Missing(row, "estimate") {
			order = append(order, row)
		}
	}
	if len(order) < 2 {
		return nil
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if d := f.Number(a, "estimate") - f.Number(b, "estimate"); d != 0 {
			return int(math.Copysign(1, d))
		}
		return a - b
	})
	first := order[0]
	unit := unitWords(f.TextAt(first, "unit"))
	term := (&models{}).termName(f.TextAt(first, "term"))
	c := figure.Specification{Name: "sensitivity", Primary: -1, YLabel: "Coefficient of " + term + " (" + unit + ")"}
	for k, row := range order {
		c.Columns = append(c.Columns, figure.Estimate{N: cell(f, row, "n", style.Count), Est: f.Number(row, "estimate"), Low: f.Number(row, "low"), High: f.Number(row, "high")})
		if f.TextAt(row, "choice") == "primary" {
			c.Primary = k
		}
	}
	for _, choice := range texts(f, "choice") {
		if choice != "primary" {
			c.Choices = append(c.Choices, choiceOf(s, f, order, choice))
		}
	}
	c.Title = fmt.Sprintf("The coefficient of %s under each declared choice", term)
	c.Desc = fmt.Sprintf("%d estimates with 95 %% confidence intervals, ascending, and the choice each was made under. The numbers stand in the table of sensitivity.", len(order))
	return []Drawing{{c.Draw(), fmt.Sprintf("Specification plot: the coefficient of %s in the model %s of %s, one choice changed at a time, ascending. Bars: 95 %% confidence intervals. Diamond and dashed line: the primary analysis. Below: how each estimate was made.", term, f.TextAt(first, "model"), Label(f.TextAt(first, "variable"), ""))}}
}

// choiceOf lists the ways in which a decision was taken; every estimate was made
// under one of them: its own, or that of the primary analysis.
func choiceOf(s Source, f *schema.Frame, order []int, choice string) figure.Choice {
	primary := primaryChoice(s.Settings, choice)
	levels := []string{primary}
	for row := range f.N {
		if value := f.TextAt(row, "value"); f.TextAt(row, "choice") == choice && !slices.Contains(levels, value) {
			levels = append(levels, value)
		}
	}
	c := figure.Choice{Label: groupName(plainWords(choice))}
	for _, level := range levels {
		l := figure.Level{Label: plainWords(level)}
		for _, row := range order {
			made := primary
			if f.TextAt(row, "choice") == choice {
				made = f.TextAt(row, "value")
			}
			l.On = append(l.On, made == level)
		}
		if slices.Contains(l.On, true) {
			c.Levels = append(c.Levels, l)
		}
	}
	return c
}

// primaryChoice is how the primary analysis took a decision.
func primaryChoice(s schema.Settings, choice string) string {
	switch choice {
	case "calibration":
		return s.Calibration.Primary
	case "estimator":
		return s.Central.Method
	case "cuff_rule":
		return s.Cuff.Rule
	case "quality":
		return s.Quality.MinGrade
	case "departures":
		if s.Protocol.OnDeparture == "exclude" {
			return "out"
		}
		return "in"
	}
	for _, m := range s.Analysis.Models {
		if m.Name == s.Analysis.Sensitivity.Model || s.Analysis.Sensitivity.Model == "" {
			if m.Imputes() {
				return schema.ChainedEquations
			}
			break
		}
	}
	return schema.CompleteCase
}
