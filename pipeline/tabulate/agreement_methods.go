package tabulate

import (
	"cmp"
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats"
	concord "tonocohort/stats/agree"
)

// methodPair names two estimates of the same pulse.
type methodPair struct{ comparison, first, second string }

// methods compares the estimates of one recording per person: each other method
// with the primary one under the primary calibration, and the primary method
// under the calibrations.
func (a *agreement) methods() {
	f := a.m.Estimates
	estimates := groupBy(a.m.recordingsOf(f), a.m.Recordings.N, func(int) bool { return true })
	found := map[methodPair][][2]int32{}
	look := newMethodRows(f)
	for _, v := range a.one {
		if len(v.recordings) > 0 {
			look.compare(estimates.of(int(v.recordings[0])), found)
		}
	}
	keys := make([]methodPair, 0, len(found))
	for k := range found {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b methodPair) int {
		order := func(k methodPair) []int {
			if k.comparison == betweenMethods {
				return []int{0, slices.Index(schema.CentralMethods, k.first), slices.Index(schema.CentralMethods, k.second)}
			}
			return []int{1}
		}
		return cmp.Or(slices.Compare(order(a), order(b)), cmp.Compare(a.first, b.first), cmp.Compare(a.second, b.second))
	})
	for _, k := range keys {
		a.estimatePairs(k, found[k])
	}
}

// methodRows are the columns that tell estimates of one recording apart.
type methodRows struct {
	method, calibration schema.Labels
	primary             []float64
}

func newMethodRows(f *schema.Frame) methodRows {
	return methodRows{f.Labels("method"), f.Labels("calibration"), f.Numbers("primary")}
}

// compare adds the pairs among the rows of one recording.
func (m *methodRows) compare(rows []int32, found map[methodPair][][2]int32) {
	primary := -1
	for _, row := range rows {
		if m.primary[row] == 1 {
			primary = int(row)
		}
	}
	if primary < 0 {
		return
	}
	method, calibration := m.method.At(primary), m.calibration.At(primary)
	for _, row := range rows {
		var k methodPair
		switch other := int(row); {
		case other == primary:
			continue
		case m.calibration.At(other) == calibration:
			k = methodPair{betweenMethods, method, m.method.At(other)}
		case m.method.At(other) == method:
			k = methodPair{betweenCalibration, calibration, m.calibration.At(other)}
		default:
			continue
		}
		found[k] = append(found[k], [2]int32{int32(primary), row})
	}
}

func (a *agreement) estimatePairs(k methodPair, rows [][2]int32) {
	f := a.m.Estimates
	for _, name := range estimatedVariables() {
		cells := f.Numbers(name)
		first, second := make([]float64, len(rows)), make([]float64, len(rows))
		both, differ := false, false
		for i, r := range rows {
			first[i], second[i] = cells[r[0]], cells[r[1]]
			both = both || !math.IsNaN(first[i]-second[i])
			differ = differ || math.Abs(first[i]-second[i]) > 1e-9
		}
		// A method without a wave has a peak alone, and what has no scale does not
		// depend on the calibration.
		if !both || k.comparison == betweenCalibration && !differ {
			continue
		}
		t := topic{comparison: k.comparison, first: k.first, second: k.second, variable: name, unit: f.Column(name).Unit,
			note: "one recording per person, the first of the visit"}
		a.pairs(t, first, second, 0)
		a.lines(t, first, second, 0)
	}
}

// reported holds the spread that the recordings of a visit show against the one
// that their beat-to-beat standard errors foretell.
func (a *agreement) reported() {
	visits := a.repeatedVisits
	f := a.m.Uncertainty
	if len(visits) == 0 || f.N == 0 {
		return
	}
	errors := map[string][]float64{} // by value, by row of recordings
	values, beats := f.Labels("value"), f.Numbers("se_beats")
	for row, at := range a.m.recordingsOf(f) {
		name := values.At(row)
		if at < 0 || !slices.Contains(uncertainVariables(), name) {
			continue
		}
		if errors[name] == nil {
			errors[name] = missingNumbers(a.m.Recordings.N)
		}
		errors[name][at] = beats[row]
	}
	for _, name := range uncertainVariables() {
		if se := errors[name]; se != nil {
			a.reportedOf(name, se, visits)
		}
	}
}

func (a *agreement) reportedOf(name string, se []float64, visits []examined) {
	cells := a.m.Recordings.Numbers(name)
	var groups [][]float64
	squares := 0.0
	n, persons := behind{}, map[string]bool{}
	for _, v := range visits {
		var values []float64
		sum := 0.0
		for _, row := range v.recordings {
			if !math.IsNaN(cells[row]) && !math.IsNaN(se[row]) {
				values = append(values, cells[row])
				sum += float64(se[row] * se[row])
			}
		}
		if len(values) < 2 {
			continue
		}
		groups = append(groups, values)
		squares += sum
		n.observations += len(values)
		persons[a.m.Visits.TextAt(v.row, "subject_id")] = true
	}
	r, err := concord.Repeat(groups, agreementShare, confidence)
	if err != nil {
		return // no two visits with replicates that have a standard error
	}
	n.persons, n.missing = len(persons), a.personsOf(visits)-len(persons)
	t := a.topic(observedReported, name)
	t.first, t.second = "within_visit_sd", "se_beats"
	foretold := math.Sqrt(squares / float64(n.observations))
	a.write(t, n, stats.Result{Statistic: "observed_sd", Estimate: r.WithinSD, Method: "one_way_analysis_of_variance", Unit: t.unit}, r.WithinSDCI)
	a.write(t, n, stats.Result{Statistic: "reported_se", Estimate: foretold, Method: "root_mean_square_of_se_beats", Unit: t.unit}, stats.Interval{})
	ratio := r.WithinSDCI
	ratio.Low, ratio.High = ratio.Low/foretold, ratio.High/foretold
	a.write(t, n, stats.Result{Statistic: "observed_over_reported", Estimate: r.WithinSD / foretold, Method: "observed_sd/reported_se", Unit: "1",
		Note: "above 1: repeats differ by more than their beats do, since the sensor is placed anew; cuff, calibration and transfer function do not vary within a visit"}, ratio)
}

func missingNumbers(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.NaN()
	}
	return out
}
