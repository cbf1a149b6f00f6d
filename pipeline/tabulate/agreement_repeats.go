package tabulate

import (
	"math"

	"tonocohort/schema"
	"tonocohort/stats"
	concord "tonocohort/stats/agree"
)

// sameCuff is the note of a pressure whose repeats share the cuff.
const sameCuff = "the cuff readings are the same for both: repeatability of the tonometry alone"

// replicates compares the recordings of a visit.
func (a *agreement) replicates() {
	visits := repeated(a.one)
	if len(visits) == 0 {
		return
	}
	note := ""
	if a.cuffShared(visits) {
		note = sameCuff
	}
	for _, name := range repeatedVariables() {
		t := a.topic(betweenReplicates, name)
		if t.unit == "mmHg" {
			t.note = note
		}
		a.repeats(t, a.valuesOf(name, visits))
		a.acrossVisits(t, name)
	}
}

// topic names a comparison in a column of recordings.
func (a *agreement) topic(comparison, variable string) topic {
	return topic{comparison: comparison, variable: variable, unit: a.m.Recordings.Column(variable).Unit}
}

// repeated keeps the visits with more than one recording.
func repeated(visits []examined) []examined {
	var out []examined
	for _, v := range visits {
		if len(v.recordings) > 1 {
			out = append(out, v)
		}
	}
	return out
}

func (a *agreement) valuesOf(name string, visits []examined) [][]float64 {
	cells := a.m.Recordings.Numbers(name)
	out := make([][]float64, len(visits))
	for i, v := range visits {
		for _, row := range v.recordings {
			out[i] = append(out[i], cells[row])
		}
	}
	return out
}

func (a *agreement) cuffShared(visits []examined) bool {
	for _, name := range []string{"brachial_sbp_mmhg", "brachial_dbp_mmhg"} {
		for _, values := range a.valuesOf(name, visits) {
			for _, v := range values[1:] {
				if v != values[0] {
					return false
				}
			}
		}
	}
	return true
}

// acrossVisits takes every visit with replicates, where some person has more
// than one such visit: the spread is that within visits, and the limits hold for
// a pair of recordings of one visit, whose true value differs from visit to
// visit.
func (a *agreement) acrossVisits(t topic, name string) {
	visits := a.repeatedVisits
	var groups, persons [][]float64
	n := behind{}
	position := map[string]int{}
	several := false
	for i, values := range a.valuesOf(name, visits) {
		values = present(values)
		if len(values) < 2 {
			continue
		}
		groups = append(groups, values)
		n.observations += len(values)
		id := a.m.Visits.TextAt(visits[i].row, "subject_id")
		at, known := position[id]
		if !known {
			at = len(persons)
			position[id] = at
			persons = append(persons, nil)
		}
		persons[at] = append(persons[at], values[1]-values[0])
		several = several || len(persons[at]) > 1
	}
	if !several {
		return
	}
	n.persons, n.missing = len(persons), a.personsOf(visits)-len(persons)
	t.comparison = acrossVisits
	a.within(t, n, groups)
	l, components, err := concord.BlandAltmanRepeated(persons, agreementShare, confidence)
	if err != nil {
		return // several visits of one person and no other person
	}
	n.observations = components.Values
	a.write(t, n, stats.Result{Statistic: "bias", Estimate: l.Bias, Method: "mean_difference_repeated_measures", Unit: t.unit}, l.BiasCI)
	a.write(t, n, stats.Result{Statistic: "sd_of_differences", Estimate: l.SD, Method: "variance_components", Unit: t.unit}, stats.Interval{})
	a.limits(t, n, l, "")
}

func (a *agreement) personsOf(visits []examined) int {
	ids := map[string]bool{}
	for _, v := range visits {
		ids[a.m.Visits.TextAt(v.row, "subject_id")] = true
	}
	return len(ids)
}

// cuffReadings compares the readings of a visit among each other.
func (a *agreement) cuffReadings() {
	f := a.m.Readings
	readings := a.m.readingsByVisit()
	for _, name := range []string{"sbp_mmhg", "dbp_mmhg"} {
		var persons [][]float64
		cells := f.Numbers(name)
		for _, v := range a.one {
			rows := readings.of(v.row)
			if len(rows) < 2 {
				continue
			}
			values := make([]float64, len(rows))
			for i, row := range rows {
				values[i] = cells[row]
			}
			persons = append(persons, values)
		}
		if len(persons) > 0 {
			a.repeats(topic{comparison: betweenReadings, variable: "brachial_" + name, unit: f.Column(name).Unit,
				note: "first and second reading; the spread is that of all readings of the visit"}, persons)
		}
	}
}

// operators compares two recordings of a visit by one operator, and by two.
func (a *agreement) operators() {
	names := a.m.Recordings.Labels("operator_id")
	for _, comparison := range []string{withinOperators, betweenOperators} {
		var visits []examined
		for _, v := range a.one {
			if first, second, ok := operatorPair(names, v.recordings, comparison == withinOperators); ok {
				visits = append(visits, examined{v.row, []int32{first, second}})
			}
		}
		if len(visits) == 0 {
			continue
		}
		for _, name := range repeatedVariables() {
			a.operatorPairs(a.topic(comparison, name), a.valuesOf(name, visits))
		}
	}
}

// operatorPair finds the first two recordings by the same operator, or by two.
func operatorPair(names schema.Labels, rows []int32, same bool) (first, second int32, ok bool) {
	for i, a := range rows {
		for _, b := range rows[i+1:] {
			one, other := names.At(int(a)), names.At(int(b))
			if one != "" && other != "" && (one == other) == same {
				return a, b, true
			}
		}
	}
	return 0, 0, false
}

func (a *agreement) operatorPairs(t topic, pairs [][]float64) {
	first, second := make([]float64, len(pairs)), make([]float64, len(pairs))
	for i, p := range pairs {
		first[i], second[i] = p[0], p[1]
	}
	t.note = "later minus earlier recording"
	a.pairs(t, first, second, 0)
	var differences []float64
	for i := range first {
		differences = append(differences, second[i]-first[i])
	}
	missing := len(differences)
	differences = present(differences)
	n := behind{len(differences), missing - len(differences), len(differences)}
	sample := stats.Describe(differences)
	sample.SD /= math.Sqrt2
	r := stats.Result{Statistic: "single_measurement_sd", Estimate: sample.SD, Method: "sd_of_differences/sqrt(2)", Unit: t.unit}
	a.write(t, n, r, stats.StandardDeviationInterval(sample, confidence))
}

// Pair is a variable of the first two recordings of a visit, one pair per person.
type Pair struct {
	Variable, Unit string
	First, Second  []float64
}

// Replicates lists the pairs behind the repeatability of central pressure.
func Replicates(m Measured, plan schema.Analysis) []Pair {
	a := &agreement{m: m}
	a.one, _ = m.examinedVisits(plan)
	var list []Pair
	for _, name := range []string{"central_sbp_mmhg", "central_pp_mmhg"} {
		p := Pair{Variable: name, Unit: m.Recordings.Column(name).Unit}
		for _, values := range a.valuesOf(name, repeated(a.one)) {
			if values = present(values); len(values) > 1 {
				p.First, p.Second = append(p.First, values[0]), append(p.Second, values[1])
			}
		}
		list = append(list, p)
	}
	return list
}
