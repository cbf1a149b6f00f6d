package tabulate

import (
	"fmt"
	"math"

	"tonocohort/schema"
	"tonocohort/stats"
	concord "tonocohort/stats/agree"
)

// Names of what is compared, as they stand in the table agreement.
const (
	betweenReplicates  = "replicates"
	acrossVisits       = "replicates_all_visits"
	betweenReadings    = "cuff_readings"
	withinOperators    = "operators_within"
	betweenOperators   = "operators_between"
	betweenMethods     = "methods"
	betweenCalibration = "calibrations"
	betweenReaders     = "readers"
	readerAndGrade     = "reader_and_grade"
	observedReported   = "observed_and_reported"
)

// share of differences between limits of agreement.
const agreementShare = 0.95

// agreement writes the table of the same name.
type agreement struct {
	m                   Measured
	frame               *schema.Frame
	one, repeatedVisits []examined // a visit of each person; every visit with more than one recording
}

// Agreement computes how well measurements agree, from the written tables. A
// comparison of which the study has nothing has no row.
//
// The repeatability of a visit, operators, methods and calibrations rest on one
// visit of each person, by the visit rule of the plan, so that a second visit is
// never a second person; replicates_all_visits takes every visit, by methods
// made for that. A difference is always the second minus the first.
func Agreement(m Measured, plan schema.Analysis) *schema.Frame {
	a := &agreement{m: m, frame: schema.NewFrame(schema.AgreementTable(), 0)}
	a.one, a.repeatedVisits = m.examinedVisits(plan)
	a.replicates()
	a.cuffReadings()
	a.operators()
	a.methods()
	a.reported()
	a.readers()
	return a.frame
}

// topic says what a row is about.
type topic struct{ comparison, first, second, variable, unit, note string }

// behind says who stands behind a row.
type behind struct{ persons, missing, observations int }

func (a *agreement) write(t topic, n behind, r stats.Result, i stats.Interval) {
	row := a.frame.AddRow()
	for name, text := range map[string]string{"set": everyone, "variable": t.variable, "comparison": t.comparison, "first": t.first, "second": t.second} {
		a.frame.SetText(row, name, text)
	}
	a.frame.SetNumber(row, "observations", float64(n.observations))
	r.N, r.Missing, r.Note = n.persons, n.missing, join(t.note, r.Note)
	writeResult(a.frame, row, r, i)
}

// repeats writes what the values of a person, in their order, tell of a
// measurement that is repeated: the spread within persons, the forms of the
// intraclass correlation, and the differences of the first two. Persons with fewer
// than two values count as missing.
func (a *agreement) repeats(t topic, persons [][]float64) {
	var kept [][]float64
	n := behind{}
	for _, values := range persons {
		present := present(values)
		if len(present) < 2 {
			n.missing++
			continue
		}
		kept = append(kept, present)
		n.observations += len(present)
	}
	n.persons = len(kept)
	a.within(t, n, kept)
	a.correlations(t, n, kept)
	first, second := make([]float64, len(kept)), make([]float64, len(kept))
	for i, values := range kept {
		first[i], second[i] = values[0], values[1]
	}
	a.pairs(t, first, second, n.missing)
}

// within writes the spread of repeats about the mean of their group.
func (a *agreement) within(t topic, n behind, groups [][]float64) {
	sd := stats.Result{Statistic: "within_subject_sd", Estimate: math.NaN(), Method: "one_way_analysis_of_variance", Unit: t.unit}
	coefficient := stats.Result{Statistic: "repeatability_coefficient", Estimate: math.NaN(), Method: "1.96*sqrt(2)*within_subject_sd", Unit: t.unit}
	r, err := concord.Repeat(groups, agreementShare, confidence)
	if err != nil {
		sd.Note, coefficient.Note = fewPersons(2), fewPersons(2)
	} else {
		sd.Estimate, coefficient.Estimate = r.WithinSD, r.Coefficient
	}
	a.write(t, n, sd, r.WithinSDCI)
	a.write(t, n, coefficient, r.CoefficientCI)
}

// pairs writes limits of agreement of one pair per person. Pairs that lack a
// value count as missing, beside those that the caller behind.
func (a *agreement) pairs(t topic, first, second []float64, missing int) {
	var x, y, d []float64
	n := behind{missing: missing}
	for i := range first {
		if math.IsNaN(first[i]) || math.IsNaN(second[i]) {
			n.missing++
			continue
		}
		x, y, d = append(x, first[i]), append(y, second[i]), append(d, second[i]-first[i])
	}
	n.persons, n.observations = len(d), len(d)
	l, err := concord.BlandAltman(d, agreementShare, confidence, concord.LimitsExact)
	note := ""
	if err != nil {
		nan := math.NaN()
		l, note = concord.Limits{Bias: nan, SD: nan, Lower: nan, Upper: nan}, fewPersons(3)
	}
	a.write(t, n, stats.Result{Statistic: "bias", Estimate: l.Bias, Method: "mean_difference", Unit: t.unit, Note: note}, l.BiasCI)
	spread := stats.StandardDeviationInterval(stats.Sample{N: n.persons, SD: l.SD}, confidence)
	a.write(t, n, stats.Result{Statistic: "sd_of_differences", Estimate: l.SD, Method: "n-1", Unit: t.unit, Note: note}, spread)
	a.limits(t, n, l, note)
	a.trend(t, n, x, y)
}

func (a *agreement) limits(t topic, n behind, l concord.Limits, note string) {
	a.write(t, n, stats.Result{Statistic: "lower_limit", Estimate: l.Lower, Method: "bias-1.96*sd", Unit: t.unit, Note: note}, l.LowerCI)
	a.write(t, n, stats.Result{Statistic: "upper_limit", Estimate: l.Upper, Method: "bias+1.96*sd", Unit: t.unit, Note: note}, l.UpperCI)
}

// trend writes how the difference changes with the size of what is measured.
func (a *agreement) trend(t topic, n behind, first, second []float64) {
	sums, differences := make([]float64, len(first)), make([]float64, len(first))
	for i := range first {
		sums[i], differences[i] = (first[i]+second[i])/2, second[i]-first[i]
	}
	line := stats.LeastSquaresLine(sums, differences)
	r := stats.Result{Statistic: "trend_slope", Estimate: line.Slope, Method: "least_squares_of_differences_on_means", Unit: "1"}
	if math.IsNaN(line.Slope) {
		r.Note = fewPersons(3)
	}
	a.write(t, n, r, line.Interval(confidence))
}

func fewPersons(n int) string { return fmt.Sprintf("too few: at least %d persons are needed", n) }

// present returns the values that are not missing.
func present(values []float64) []float64 {
	var out []float64
	for _, v := range values {
		if !math.IsNaN(v) {
			out = append(out, v)
		}
	}
	return out
}
