package report

import (
	"bufio"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// WriteMethods writes, in words, what the settings made the program do: a draft
// of the Methods section of a paper. Every sentence follows from a setting.
func WriteMethods(w io.Writer, s Source) error {
	out := bufio.NewWriter(w)
	fmt.Fprint(out, "# Methods\n\n")
	for _, paragraph := range [][]string{measurement(s.Settings), analysis(s), disclosureWords(s.Settings.Disclosure), software(s.Build)} {
		fmt.Fprintf(out, "%s\n\n", strings.Join(paragraph, " "))
	}
	fmt.Fprintln(out, schema.Caution)
	return out.Flush()
}

func measurement(s schema.Settings) []string {
	words := []string{word(map[string]string{
		"drop_first_of_three": "Of three or more brachial cuff readings of a visit the first was dropped and the rest averaged; two were averaged, a single one was used as it was.",
		"all":                 "All brachial cuff readings of a visit were averaged.",
		"drop_first":          "The first brachial cuff reading of a visit was dropped and the rest averaged.",
		"last_two":            "The last two brachial cuff readings of a visit were averaged.",
		"first_two":           "The first two brachial cuff readings of a visit were averaged.",
		"median":              "The median of the brachial cuff readings of a visit was taken.",
	}, s.Cuff.Rule)}
	words = append(words,
		fmt.Sprintf("Pulse waves were low-pass filtered at %s Hz without phase shift; beats that broke a named rule were rejected and the others averaged, each brought to the mean period by a cubic between its samples. A recording needed %d accepted beats and %s s of them.",
			plain(s.Beats.LowpassHz), s.Beats.MinAccepted, plain(s.Beats.MinSeconds)),
		word(map[string]string{
			"sbp_dbp":     "Waves were calibrated to brachial systolic and diastolic cuff pressure.",
			"map_dbp":     "Waves were calibrated to brachial mean and diastolic cuff pressure.",
			"as_recorded": "Waves were taken at the pressures that were recorded.",
		}, s.Calibration.Primary),
		word(map[string]string{
			"cuff_or_factor": "Mean pressure was the cuff's own where it gave one, else diastolic pressure plus " + plain(s.Calibration.FormFactor) + " of pulse pressure.",
			"cuff":           "Mean pressure was the cuff's own.",
			"factor":         "Mean pressure was diastolic pressure plus " + plain(s.Calibration.FormFactor) + " of pulse pressure.",
		}, s.Calibration.Map),
		word(map[string]string{
			"tube_constant":   "The aortic wave was estimated by the transfer function of a tube with a constant reflection coefficient.",
			"tube_windkessel": "The aortic wave was estimated by the transfer function of a tube with a windkessel load.",
			"tube_individual": "The aortic wave was estimated by the transfer function of a tube whose parameters were found from each person's own wave.",
			"transfer_table":  "The aortic wave was estimated by a tabulated transfer function.",
			"moving_average":  "Central systolic pressure was estimated by a moving average of the peripheral wave.",
			"late_shoulder":   "Central systolic pressure was taken from the late systolic shoulder of the peripheral wave.",
			"none":            "Waves were taken as they were recorded, without a transfer function.",
		}, s.Central.Method),
	)
	if len(s.Central.Also) > 0 {
		words = append(words, "Beside it stand estimates by "+strings.ReplaceAll(strings.Join(s.Central.Also, ", "), "_", " ")+".")
	}
	words = append(words, "The lowest grade of quality that was analysed is "+s.Quality.MinGrade+".",
		word(map[string]string{
			"flag":    "Departures from the protocol were recorded and kept.",
			"exclude": "Visits that departed from the protocol were excluded.",
		}, s.Protocol.OnDeparture),
		word(map[string]string{
			"mean":  "Several recordings of a visit were averaged.",
			"best":  "Of several recordings of a visit the best by quality was used.",
			"first": "Of several recordings of a visit the first was used.",
		}, s.Replicates.Rule))
	return words
}

func analysis(s Source) []string {
	a := s.Settings.Analysis
	visit := "The visit " + a.Visit + " of each person was analysed."
	switch a.Visit {
	case "first", "last":
		visit = "The " + a.Visit + " usable visit of each person was analysed."
	case "all":
		visit = "All usable visits were analysed, with errors clustered by person."
	}
	words := []string{visit, "Analysis sets: " + setsInWords(a) + "."}
	if len(a.Strata) > 0 {
		words = append(words, "Strata: "+strings.ReplaceAll(strings.Join(a.Strata, " × "), "_", " ")+".")
	}
	if usesColumn(a, "bp_class") {
		words = append(words, "Blood pressure was classed by the scheme "+strings.ReplaceAll(a.BPScheme, "_", " ")+".")
	}
	words = append(words, estimation(a)...)
	for _, name := range slices.Sorted(maps.Keys(a.Threshold)) {
		words = append(words, fmt.Sprintf("The share of unrounded values at or above %s is given for %s.", plain(a.Threshold[name]), Label(name, "")))
	}
	for _, m := range a.Models {
		words = append(words, fmt.Sprintf("Model %s: %s on %s in the set %s (%s; errors %s).", m.Name, Label(m.Outcome, ""), termsInWords(m), m.Set, strings.ReplaceAll(m.Kind, "_", " "), m.Errors))
	}
	words = append(words, furtherAnalysis(s)...)
	if len(a.CompareWith) > 0 {
		words = append(words, "Compared with the published sets "+strings.Join(a.CompareWith, ", ")+"; what makes a comparison unfair stands in its notes.")
	}
	return words
}

// termsInWords names the terms of a model.
func termsInWords(m schema.Model) string {
	terms := make([]string, len(m.Terms))
	for i, t := range m.Terms {
		terms[i] = labelsOf(t.Columns(), " × ")
	}
	return strings.Join(terms, ", ")
}

func setsInWords(a schema.Analysis) string {
	var sets []string
	for _, name := range slices.Sorted(maps.Keys(a.Sets)) {
		var rules []string
		for _, r := range a.Sets[name] {
			rules = append(rules, Label(r.Column, "")+": "+r.Condition())
		}
		if len(rules) == 0 {
			rules = []string{"everyone"}
		}
		sets = append(sets, name+" ("+strings.Join(rules, "; ")+")")
	}
	return strings.Join(sets, ", ")
}

func disclosureWords(d schema.DisclosureSettings) []string {
	zero := "a group of nobody may be shown"
	if d.ZeroIsSmall {
		zero = "a group of nobody counts as one"
	}
	words := []string{fmt.Sprintf("Numbers that rest on fewer than %d people are not shown (%s)", d.MinCell, zero) + ", and what would let them be worked out from margins, from analysis sets that lie in one another or from other tables is hidden with them. Stages of the participant flow that lose fewer are merged. Percentiles need that many people beyond them; minima and maxima are not shown."}
	if !d.MissingIsSmall {
		words = append(words, "Numbers of people without a value are shown as they are.")
	}
	words = append(words, fmt.Sprintf("Models need %d residual degrees of freedom. Where the number of people of a model is hidden, its coefficients are shown with fewer digits, their P values to 0.001, and how far they move under other choices is taken from the coefficients as shown.", d.MinDegrees))
	if d.Dominance.N > 0 {
		words = append(words, fmt.Sprintf("No mean is shown to which %d people contribute more than %s %%.", d.Dominance.N, plain(d.Dominance.K)))
	}
	if d.PPercent > 0 {
		words = append(words, fmt.Sprintf("Nor one from which the largest contribution could be worked out to within %s %%.", plain(d.PPercent)))
	}
	if d.Rounding > 1 {
		words = append(words, fmt.Sprintf("Counts are rounded to multiples of %d.", d.Rounding))
	}
	return words
}

func software(b schema.Build) []string {
	return []string{fmt.Sprintf("Computed by %s %s (%s, %s).", b.Program, b.Version, b.Go, b.Architecture)}
}

// word finds the sentence for a setting; one that has none is named as it is.
func word(sentences map[string]string, setting string) string {
	if text, ok := sentences[setting]; ok {
		return text
	}
	return "Setting: " + setting + "."
}

func quantileName(s Source) string {
	return "type " + strconv.Itoa(s.Settings.Analysis.QuantileType) + " of Hyndman and Fan (1996)"
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
