package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
)

// asked says what the plan set out to answer, from the settings alone.
func asked(s Source) section {
	a := s.Settings.Analysis
	sec := section{ID: "asked", Title: "What was asked", Strobe: "1, 3"}
	var names []string
	for _, v := range a.Variables {
		names = append(names, Label(v, ""))
	}
	if len(names) > 0 {
		text := "What are " + strings.Join(names, ", ")
		if len(a.Strata) > 0 {
			text += ", by " + strings.ToLower(labelsOf(a.Strata, " and "))
		}
		sec.List = append(sec.List, text+", in the analysis sets "+setsInWords(a)+"?")
	}
	for _, m := range a.Models {
		sec.List = append(sec.List, fmt.Sprintf("How does %s vary with %s (model %s)?", Label(m.Outcome, ""), termsInWords(m), m.Name))
	}
	if len(a.CompareWith) > 0 {
		sec.List = append(sec.List, "How do the values lie beside those of "+strings.Join(a.CompareWith, ", ")+"?")
	}
	return sec
}

func labelsOf(columns []string, between string) string {
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = Label(c, "")
	}
	return strings.Join(names, between)
}

// found says in a few lines what came out. Every number is one of the tables
// below.
func found(s Source, style Style, tables map[string]*Table) section {
	sec := section{ID: "found", Title: "What was found", Strobe: "18"}
	add := func(text string) {
		if text != "" {
			sec.List = append(sec.List, text)
		}
	}
	add(counted(s, style))
	for _, variable := range []string{focus(s), "brachial_pp_mmhg"} {
		add(meanFound(s, style, variable))
	}
	add(shareFound(s, style))
	add(slopeFound(s, style))
	add(differenceFound(s, style))
	add(movesFound(s, style))
	add(repeatFound(s, style))
	if len(sec.List) == 0 {
		sec.Paragraphs = []string{"Nothing may be shown: every number rests on too few people."}
	}
	return sec
}

// counted says how many came in and how many went on, of each unit.
func counted(s Source, style Style) string {
	f := s.frame("flow")
	if f == nil {
		return ""
	}
	var parts []string
	for _, unit := range texts(f, "unit") {
		in, out := "", ""
		for row := range f.N {
			if f.TextAt(row, "unit") != unit || strings.HasPrefix(f.TextAt(row, "stage"), "set:") {
				continue
			}
			if in == "" {
				in = cell(f, row, "in", style.Count)
			}
			out = cell(f, row, "out", style.Count)
		}
		if in != "" {
			parts = append(parts, fmt.Sprintf("%s of %s %s", out, in, plainWords(unit)))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "Went on to the analysis: " + strings.Join(parts, ", ") + "."
}

// overall finds a row of a table of statistics over everybody.
func overall(f *schema.Frame, variable, statistic string) int {
	if f == nil {
		return -1
	}
	strata := strataOf(f)
	for row := range f.N {
		if f.TextAt(row, "set") == "all" && f.TextAt(row, "variable") == variable && f.TextAt(row, "statistic") == statistic &&
			!slices.ContainsFunc(strata, func(name string) bool { return f.TextAt(row, name) != "all" }) {
			return row
		}
	}
	return -1
}

func meanFound(s Source, style Style, variable string) string {
	f := s.frame("summary")
	row := overall(f, variable, "mean")
	if row < 0 || f.Missing(row, "estimate") {
		f = s.frame("characteristics")
		if row = overall(f, variable, "mean"); row < 0 || f.Missing(row, "estimate") {
			return ""
		}
	}
	decimals := Decimals(spreads(s)[variable])
	text := fmt.Sprintf("%s: mean %s %s", Label(variable, ""), style.Decimal(f.Number(row, "estimate"), decimals), f.TextAt(row, "unit"))
	if !f.Missing(row, "low") {
		text += " (95 % CI " + style.Interval(f.Number(row, "low"), f.Number(row, "high"), decimals) + ")"
	}
	return text + ", n " + cell(f, row, "n", style.Count) + "."
}

// shareFound says how many reach the threshold, and what it is not.
func shareFound(s Source, style Style) string {
	f := s.frame("summary")
	if f == nil {
		return ""
	}
	variable := focus(s)
	limit, ok := s.Settings.Analysis.Threshold[variable]
	if !ok {
		return ""
	}
	for row := range f.N {
		statistic := f.TextAt(row, "statistic")
		if !strings.HasPrefix(statistic, "prevalence_") || overall(f, variable, statistic) != row || f.Missing(row, "estimate") {
			continue
		}
		text := fmt.Sprintf("%s of %s %s or more: %s %%", Label(variable, ""), plain(limit), unitsOf(f)[variable], style.Percent(f.Number(row, "estimate"), 1))
		if !f.Missing(row, "low") {
			text += fmt.Sprintf(" (95 %% CI %s to %s)", style.Percent(f.Number(row, "low"), 1), style.Percent(f.Number(row, "high"), 1))
		}
		return text + ". A threshold of outcomes is not a limit between health and disease."
	}
	return ""
}

// slopeFound gives the first coefficient of the last model of the focus, which has
// the most terms.
func slopeFound(s Source, style Style) string {
	f := s.frame("regression")
	if f == nil {
		return ""
	}
	m := models{f: f, style: style, units: characteristicUnits(s)}
	for _, model := range slices.Backward(texts(f, "model")) {
		for row := range f.N {
			term := f.TextAt(row, "term")
			if f.TextAt(row, "model") != model || f.TextAt(row, "statistic") != "estimate" || term == "" || term == "intercept" || f.Missing(row, "estimate") {
				continue
			}
			text, _ := m.interval(row)
			return fmt.Sprintf("In the model “%s” of %s the coefficient of %s is %s %s (95 %% CI in brackets).", model, Label(f.TextAt(row, "variable"), ""), m.termName(term), text, unitWords(f.TextAt(row, "unit")))
		}
	}
	return ""
}

// differenceFound gives the mean difference from each published set over its
// strata.
func differenceFound(s Source, style Style) string {
	f := s.frame("comparison")
	if f == nil {
		return ""
	}
	variable := focus(s)
	decimals := Decimals(spreads(s)[variable])
	var parts []string
	for row := range f.N {
		if f.TextAt(row, "variable") == variable && f.TextAt(row, "statistic") == "mean_difference_over_strata" && f.TextAt(row, "sex") == "all" && !f.Missing(row, "estimate") {
			parts = append(parts, fmt.Sprintf("%s lies %s %s (95 %% CI %s) from %s over its strata (set %s)", Label(variable, ""), style.Decimal(f.Number(row, "estimate"), decimals),
				f.TextAt(row, "unit"), style.Interval(f.Number(row, "low"), f.Number(row, "high"), decimals), f.TextAt(row, "published"), f.TextAt(row, "set")))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(parts, "; ") + "; what makes the comparison unfair stands beside it."
}

// movesFound says between which values the headline coefficient moves.
func movesFound(s Source, style Style) string {
	f := s.frame("sensitivity")
	if f == nil {
		return ""
	}
	low, high := -1, -1
	n := 0
	for row := range f.N {
		v := f.Number(row, "estimate")
		if math.IsNaN(v) {
			continue
		}
		n++
		if low < 0 || v < f.Number(low, "estimate") {
			low = row
		}
		if high < 0 || v > f.Number(high, "estimate") {
			high = row
		}
	}
	if n < 2 {
		return ""
	}
	m := models{f: f, style: style}
	from, _, _ := strings.Cut(first(m.interval(low)), " (")
	to, _, _ := strings.Cut(first(m.interval(high)), " (")
	return fmt.Sprintf("Under %d declared choices the coefficient of %s in the model “%s” lies between %s and %s.", n, m.termName(f.TextAt(low, "term")), f.TextAt(low, "model"), from, to)
}

func first(text string, _ bool) string { return text }

// repeatFound says how far two recordings of a visit lie apart.
func repeatFound(s Source, style Style) string {
	f := s.frame("agreement")
	if f == nil {
		return ""
	}
	a := newAgreement(s, f, style)
	row := a.row("central_sbp_mmhg", pairing{comparison: "replicates"}, "within_subject_sd")
	if row < 0 || f.Missing(row, "estimate") {
		return ""
	}
	return fmt.Sprintf("Central SBP from two recordings of a visit, by the same cuff readings: within-person SD %s mmHg (95 %% CI in brackets).", a.number("central_sbp_mmhg", row))
}
