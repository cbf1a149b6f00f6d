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
	first := map[string]int{} // first row by recording
	for row, id := range f.Texts("recording_id") {
		if _, known := first[id]; !known {
			first[id] = row
		}
	}
	found := map[methodPair][][2]int{}
	for _, v := range a.one {
		if len(v.recordings) == 0 {
			continue
		}
		if start, ok := first[a.m.Recordings.TextAt(v.recordings[0], "recording_id")]; ok {
			comparable(f, start, found)
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

// comparable adds the pairs of rows of one recording, which stand together.
func comparable(f *schema.Frame, start int, found map[methodPair][][2]int) {
	ids, method, calibration := f.Texts("recording_id"), f.Texts("method"), f.Texts("calibration")
	end, primary := start, -1
	for ; end < f.N && ids[end] == ids[start]; end++ {
		if f.Number(end, "primary") == 1 {
			primary = end
		}
	}
	if primary < 0 {
		return
	}
	for row := start; row < end; row++ {
		var k methodPair
		switch {
		case row == primary:
			continue
		case calibration[row] == calibration[primary]:
			k = methodPair{betweenMethods, method[primary], method[row]}
		case method[row] == method[primary]:
			k = methodPair{betweenCalibration, calibration[primary], calibration[row]}
		default:
			continue
		}
		found[k] = append(found[k], [2]int{primary, row})
	}
}

func (a *agreement) estimatePairs(k methodPair, rows [][2]int) {
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
	visits := repeated(a.every)
	f := a.m.Uncertainty
	if len(visits) == 0 || f.N == 0 {
		return
	}
	recording := make(map[string]int, a.m.Recordings.N)
	for row, id := range a.m.Recordings.Texts("recording_id") {
		recording[id] = row
	}
	errors := map[string][]float64{} // by value, by row of recordings
	for row, name := range f.Texts("value") {
		if errors[name] == nil {
			errors[name] = missingNumbers(a.m.Recordings.N)
		}
		if at, ok := recording[f.TextAt(row, "recording_id")]; ok {
			errors[name][at] = f.Number(row, "se_beats")
		}
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
