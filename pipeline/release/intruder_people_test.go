package release_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"tonocohort/schema"
	"tonocohort/testdata"
)

// read takes the numbers of people out of one row.
func (x *intruder) read(t schema.Table, r record) {
	set := slices.Index(x.people.sets, r["set"])
	switch {
	case set < 0 || t.Name == "agreement":
		return
	case t.Name == "comparison":
		x.readPublished(r)
		return
	case strings.HasPrefix(t.Name, "centile"):
		x.readCentiles(r)
		return
	}
	strata := []string{}
	for name := range x.people.columns {
		if label := r[name]; label != "" && label != "all" {
			strata = append(strata, name)
		}
	}
	slices.Sort(strata)
	base := func(i int) bool {
		for _, name := range strata {
			if x.people.columns[name][i] != r[name] {
				return false
			}
		}
		return x.people.in[set][i]
	}
	name := fmt.Sprint(r["set"], " ", strata, " ", r["variable"])
	n, shown := r.number("n")
	absent, some := r.number("n_missing")
	v, given := r.number("estimate")
	switch {
	case r["choice"] != "":
		x.readChoice(r, base)
		return
	case r["model"] != "":
		x.readModel(r, name, base)
		return
	case t.Name == schema.QualityName:
		x.readGrade(r, base)
		return
	}
	by := ""
	if t.Name == "standardised" {
		by = x.settings.Analysis.Standardise.By
	}
	present := func(i int) bool {
		return base(i) && x.level(r["variable"], i) != "" && (by == "" || x.settings.Analysis.Standardise.Shares[x.level(by, i)] > 0)
	}
	x.meet(x.crowd(name+": with", present), n, shown)
	x.meet(x.crowd(name+": without", func(i int) bool { return base(i) && !present(i) }), absent, some)
	x.meet(x.crowd(r["set"]+" "+fmt.Sprint(strata), base), n+absent, shown && some)
	above := func(low float64) func(i int) bool {
		return func(i int) bool { return present(i) && x.visits.Number(int(x.people.rows[i]), r["variable"]) >= low }
	}
	switch statistic := r["statistic"]; {
	case strings.HasPrefix(statistic, "count_"):
		level := strings.TrimPrefix(statistic, "count_")
		x.meet(x.crowd(name+" "+level, func(i int) bool { return base(i) && cmp.Or(x.level(r["variable"], i), "(missing)") == level }), v, given)
	case strings.HasPrefix(statistic, "prevalence_at_least_"):
		low, err := strconv.ParseFloat(strings.TrimPrefix(statistic, "prevalence_at_least_"), 64)
		if err != nil {
			x.t.Fatal(err)
		}
		hits := above(low)
		x.meet(x.crowd(name+" at least", hits), math.Round(n*v), shown && given)
		x.meet(x.crowd(name+" below", func(i int) bool { return present(i) && !hits(i) }), n-math.Round(n*v), shown && given)
	}
}

// readFlow takes the size of a set and who leaves it for a reason, each person for
// the first rule that he fails.
func (x *intruder) readFlow(r record) {
	name, ok := strings.CutPrefix(r["stage"], "set:")
	if !ok {
		return
	}
	set := slices.Index(x.people.sets, name)
	size, shown := r.number("out")
	x.meet(x.crowd("size of "+name, func(i int) bool { return x.people.in[set][i] }), size, shown)
	why := func(i int) string {
		for _, rule := range x.settings.Analysis.Sets[name] {
			level := x.level(rule.Column, i)
			if level == "" {
				return rule.Column + " missing"
			}
			v, _ := strconv.ParseFloat(level, 64)
			switch {
			case len(rule.Levels) > 0 && !slices.Contains(rule.Levels, level):
				return rule.Column + " not " + strings.Join(rule.Levels, " or ")
			case rule.Below != nil && v >= *rule.Below:
				return fmt.Sprint(rule.Column, " not below ", *rule.Below)
			case rule.AtLeast != nil && v < *rule.AtLeast:
				return fmt.Sprint(rule.Column, " not at least ", *rule.AtLeast)
			}
		}
		return ""
	}
	n, shown := r.number("n")
	if reason := r["reason"]; reason == "other reasons" {
		x.pooled++
	} else if reason != "" {
		x.meet(x.crowd(name+" left by "+reason, func(i int) bool { return why(i) == reason }), n, shown)
		x.reasons++
	}
}

// No number of one to nine people follows from the files of a release, by sums or
// differences of any published ones or by what is told of a fit.
func TestIntruderWithEveryFile(t *testing.T) {
	tries, shown, reasons, pooled := 0, 0, 0, 0
	for _, h := range testdata.Few(hostiles()) {
		t.Run(h.name, func(t *testing.T) {
			r, s := h.run(t)
			x := newIntruder(t, r, s)
			found, tried := x.derived()
			tries += tried
			shown += len(x.known)
			reasons += x.reasons
			pooled += x.pooled
			for _, f := range found {
				t.Error(f)
			}
			for _, w := range x.widths {
				hidden := !x.known[keyOf(w.in.in)]
				if hidden && w.high-w.low < 9 {
					t.Errorf("%s: the hidden number of people lies between %g and %g", w.model, w.low, w.high)
				}
			}
		})
	}
	t.Logf("%d groups of few, %d numbers known", tries, shown)
	if !testdata.UnderRaceDetector() && (tries < 60 || shown < 100) {
		t.Errorf("%d groups of few and %d known numbers: the test has lost its object", tries, shown)
	}
	if !testdata.UnderRaceDetector() && (reasons < 3 || pooled < 1) {
		t.Errorf("%d reasons of the flow are shown, %d stages have others together", reasons, pooled)
	}
}
