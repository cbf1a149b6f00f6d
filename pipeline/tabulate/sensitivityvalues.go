package tabulate

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
)

// centralPressures are the values that every calibration and estimator gives.
func centralPressures() []string {
	return []string{"central_sbp_mmhg", "central_dbp_mmhg", "central_map_mmhg", "central_pp_mmhg"}
}

// calibrated puts the values of another calibration in the outcome's column.
func (g grid) calibrated(outcome, kind string) (*schema.Frame, error) {
	other := strings.TrimSuffix(outcome, "_mmhg") + "_" + kind + "_mmhg"
	if !slices.Contains(centralPressures(), outcome) || !g.measured.Visits.Has(other) {
		return nil, errors.New(outcome + " is not given by calibration")
	}
	return g.measured.Visits.With(outcome, schema.Data{Num: g.measured.Visits.Numbers(other)}), nil
}

// estimated puts the estimates of another method in the outcome's column, at the
// calibration of the visit, averaged over its recordings as the run does.
func (g grid) estimated(outcome, method string) (*schema.Frame, string, error) {
	visits, estimates := g.measured.Visits, g.measured.Estimates
	switch {
	case estimates == nil || g.measured.Recordings == nil:
		return nil, "", errors.New("the estimates by method are not among the tables")
	case !estimates.Has(outcome):
		return nil, "", errors.New(outcome + " is not given by every method")
	case !slices.Contains(schema.Coded(estimates.Labels("method"), func(name string) bool { return name == method }), true):
		return nil, "", errors.New("the run has no estimate by " + method + ": name it in central.also")
	}
	methods, calibrations, values := estimates.Labels("method"), estimates.Labels("calibration"), estimates.Numbers(outcome)
	byMethod := groupBy(g.measured.recordingsOf(estimates), g.measured.Recordings.N, func(row int) bool { return methods.At(row) == method })
	calibrationOf, status, combined := visits.Labels("calibration"), visits.Labels("status"), visits.Numbers("recordings_used")
	used := g.measured.usedRecordings()
	column := make([]float64, visits.N)
	for row := range column {
		column[row] = math.NaN()
		recordings := used.of(row)
		if float64(len(recordings)) != combined[row] {
			if status.At(row) == "used" {
				return nil, "", fmt.Errorf("which of the recordings of a visit were combined by the rule %s does not stand in the tables", g.settings.Replicates.Rule)
			}
			continue
		}
		sum, n := 0.0, 0
		for _, r := range recordings {
			for _, estimate := range byMethod.of(int(r)) {
				if v := values[estimate]; calibrations.At(int(estimate)) == calibrationOf.At(row) && !math.IsNaN(v) {
					sum += v
					n++
				}
			}
		}
		if n > 0 {
			column[row] = sum / float64(n)
		}
	}
	return visits.With(outcome, schema.Data{Num: column}), "estimates by " + method, nil
}
