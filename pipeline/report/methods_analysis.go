package report

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"tonocohort/schema"
)

// usesColumn reports whether sets, strata or variables of the plan name a column.
func usesColumn(a schema.Analysis, name string) bool {
	for _, rules := range a.Sets {
		if slices.ContainsFunc(rules, func(r schema.Rule) bool { return r.Column == name }) {
			return true
		}
	}
	return slices.Contains(a.Strata, name) || slices.Contains(a.Variables, name) || slices.Contains(a.Tables.Characteristics, name)
}

// estimation says how means, shares and percentiles were estimated: by what the
// weights stand for.
func estimation(a schema.Analysis) []string {
	percentiles := fmt.Sprintf("Percentiles: type %d of Hyndman and Fan (1996)", a.QuantileType)
	const exact = ", with exact order-statistic intervals; an interval that does not exist is not given."
	const plainIntervals = " Means have Student's t intervals and shares Wilson's, at 95 %, unless the method beside a number says otherwise."
	linear := " The standard errors of means and shares are those of Taylor linearisation, with t intervals of means and logit intervals of shares; percentiles have Woodruff's. All are at 95 %."
	w := a.Weights
	switch {
	case w.Column == "" && a.Visit == "all":
		return []string{percentiles + "." + linear}
	case w.Column == "":
		return []string{percentiles + exact + plainIntervals}
	case w.Kind == "frequency":
		return []string{"A row counts as often as " + Label(w.Column, "") + " says (frequency weights).", percentiles + exact + plainIntervals}
	case w.Kind == "precision":
		return []string{"Values were weighted by " + Label(w.Column, "") + ", in proportion to one over their variance (precision weights).",
			percentiles + ", weighted; they and shares have no interval. Means have Student's t intervals at 95 %."}
	}
	design := "Rows were weighted by " + Label(w.Column, "") + " (sampling weights); the design has "
	if w.Stratum != "" {
		design += "the strata " + Label(w.Stratum, "") + " and "
	}
	cluster := "the person"
	if w.Cluster != "" {
		cluster = Label(w.Cluster, "")
	}
	design += "as primary sampling units " + cluster + "."
	single := "A stratum with a single unit varies about the mean of all units."
	if w.SinglePSU == "certainty" {
		single = "A stratum with a single unit adds no variance."
	}
	return []string{design, single, percentiles + ", weighted." + linear, "Centiles over age and the comparison with published values are unweighted."}
}

// furtherAnalysis says what else was computed: change, standardised estimates,
// centiles, equivalence.
func furtherAnalysis(s Source) []string {
	a := s.Settings.Analysis
	var words []string
	if s.frame("change") != nil {
		between := "consecutive visits"
		switch {
		case len(a.Change.Visits) > 0:
			between = "the visits " + strings.Join(a.Change.Visits, ", ")
		case a.Change.Between == "first_last":
			between = "the first and the last visit"
		}
		cluster := Label(a.Change.Cluster, "")
		if a.Change.Cluster == "subject_id" {
			cluster = "person"
		}
		if a.Weights.Kind == "sampling" {
			cluster = "the units of the design"
		}
		words = append(words, "Change between "+between+" of a person is later minus earlier, with errors clustered by "+cluster+".")
	}
	if by := a.Standardise.By; by != "" {
		to := "all analysed rows of the study"
		if len(a.Standardise.Shares) > 0 {
			to = "the declared shares"
		}
		words = append(words, "Estimates were directly standardised by "+Label(by, "")+" to "+to+".")
	}
	if s.frame("centiles") != nil {
		words = append(words, centilesInWords(a)...)
	}
	if len(a.Equivalence) > 0 && len(a.CompareWith) > 0 {
		var margins []string
		for _, name := range slices.Sorted(maps.Keys(a.Equivalence)) {
			margins = append(margins, Label(name, "")+" ±"+plain(a.Equivalence[name]))
		}
		words = append(words, "Equivalence with published means was judged by two one-sided tests at 5 % with the declared margins "+strings.Join(margins, ", ")+".")
	}
	return words
}

// centilesInWords says how each declared set of centiles was fitted.
func centilesInWords(a schema.Analysis) []string {
	names := slices.Sorted(maps.Keys(a.Sets))
	var words []string
	for _, c := range schema.ResolveCentiles(a.Centiles, append(names, "all")) {
		method := word(map[string]string{
			schema.CentilesLMS:        "LMS, by penalised likelihood",
			schema.CentilesFractional: "mean and SD as fractional polynomials of age",
			schema.CentilesQuantile:   "quantile regression on a natural spline, sorted where curves cross",
		}, c.Method)
		if c.Shift != 0 {
			method += "; " + plain(c.Shift) + " was added to the values before"
		}
		words = append(words, fmt.Sprintf("Centiles of %s over age, for women and men of the set %s: %s.", Label(c.Variable, ""), c.Set, method))
	}
	return words
}
