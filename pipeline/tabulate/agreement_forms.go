package tabulate

import (
	"fmt"
	"math"
	"strings"

	"tonocohort/stats"
	concord "tonocohort/stats/agree"
)

// correlations writes every form of the intraclass correlation of as many
// repeats as most persons have; who has fewer counts as missing.
func (a *agreement) correlations(t topic, n behind, kept [][]float64) {
	k := usualCount(kept)
	var ratings [][]float64
	for _, values := range kept {
		if len(values) >= k {
			ratings = append(ratings, values[:k])
		}
	}
	n.missing += n.persons - len(ratings)
	n.persons, n.observations = len(ratings), k*len(ratings)
	table, err := concord.NewTwoWay(ratings)
	for _, form := range []struct{ name, meaning string }{
		{concord.ICC11, "repeats in no order"},
		{concord.ICC21, "repeats as raters of the same persons; absolute agreement"},
		{concord.ICC31, "repeats as raters of the same persons; consistency, a common shift does not count"},
		{concord.ICC1K, "repeats in no order; of the mean of all"},
		{concord.ICC2K, "repeats as raters of the same persons; absolute agreement; of the mean of all"},
		{concord.ICC3K, "repeats as raters of the same persons; consistency; of the mean of all"},
	} {
		r := stats.Result{Statistic: form.name, Estimate: math.NaN(), Method: form.name, Unit: "1", Note: fewPersons(2)}
		var interval stats.Interval
		if err == nil {
			if c, err := table.ICC(form.name, confidence); err == nil {
				r.Estimate, interval = c.Estimate, c.Interval
				r.Note = fmt.Sprintf("the first %d of each person; %s", k, form.meaning)
				interval.Method = "mcgraw_wong_1996"
			}
		}
		a.write(t, n, r, interval)
	}
}

// usualCount is the number of repeats that most persons have, the larger of two
// that as many have; two where nobody has any.
func usualCount(persons [][]float64) int {
	having := map[int]int{}
	for _, values := range persons {
		having[len(values)]++
	}
	usual := 2
	for count, n := range having {
		if n > having[usual] || n == having[usual] && count > usual {
			usual = count
		}
	}
	return usual
}

// slopesAtMost bounds the time of Passing-Bablok, which looks at the slopes between
// all pairs of persons.
const slopesAtMost = 3000

// lines writes the straight lines of the second method on the first, where both
// err.
func (a *agreement) lines(t topic, first, second []float64, missing int) {
	var x, y []float64
	for i := range first {
		if math.IsNaN(first[i]) || math.IsNaN(second[i]) {
			missing++
			continue
		}
		x, y = append(x, first[i]), append(y, second[i])
	}
	n := behind{persons: len(x), missing: missing, observations: len(x)}
	write := func(name, method string, l concord.Line, err error) {
		note := ""
		if err != nil {
			l = concord.Line{Intercept: math.NaN(), Slope: math.NaN()}
			note = "not computed: " + strings.TrimPrefix(err.Error(), "agree: ")
		}
		a.write(t, n, stats.Result{Statistic: name + "_slope", Estimate: l.Slope, Method: method, Unit: "1", Note: note}, l.SlopeCI)
		a.write(t, n, stats.Result{Statistic: name + "_intercept", Estimate: l.Intercept, Method: method, Unit: t.unit, Note: note}, l.InterceptCI)
	}
	deming, err := concord.Deming(x, y, 1, confidence)
	write("deming", "equal error variances", deming, err)
	var line concord.Line
	if len(x) <= slopesAtMost {
		line, err = concord.PassingBablok(x, y, confidence)
	} else {
		err = fmt.Errorf("the slopes between all pairs of %d persons are too many; of %d they are taken", len(x), slopesAtMost)
	}
	write("passing_bablok", "median of the slopes between persons", line, err)
}
