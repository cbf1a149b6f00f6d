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

// recuffed gives every value that scales with the cuff the scale of another rule.
// A wave that the cuff gave its scale is a straight line of the cuff's systolic
// and diastolic pressure, so that its pressures follow without the wave; that
// needs the mean pressure by formula where it is what gave the scale. Visits in
// which the run's own rule does not give the run's own values (readings of single
// recordings) have no value under another.
func (g grid) recuffed(model schema.Model, rule string) (*schema.Frame, string, error) {
	visits := g.measured.Visits
	if g.measured.Readings == nil || g.combine == nil {
		return nil, "", errors.New("the cuff readings are not among the tables")
	}
	readings := g.readings()
	byCuff := model.Outcome == "brachial_map_mmhg" || slices.Contains(model.Columns(), "brachial_map_mmhg")
	changed := map[string][]float64{}
	for _, c := range visits.Table.Columns {
		if schema.SharesCuff(c.Name) || c.Name == "sbp_amplification_mmhg" {
			changed[c.Name] = slices.Clone(visits.Numbers(c.Name))
		}
	}
	lost := 0
	for row := range visits.N {
		if visits.TextAt(row, "status") != "used" {
			continue
		}
		systolic, diastolic := readings(row)
		oldSBP, oldDBP := visits.Number(row, "brachial_sbp_mmhg"), visits.Number(row, "brachial_dbp_mmhg")
		s, d := g.combine(systolic, diastolic, visits.TextAt(row, "cuff_rule"))
		newSBP, newDBP := g.combine(systolic, diastolic, rule)
		measuredMean := visits.TextAt(row, "brachial_map_source") == "cuff"
		same := math.Abs(s-oldSBP) < 1e-9 && math.Abs(d-oldDBP) < 1e-9
		if !same || newSBP <= newDBP || measuredMean && (byCuff || visits.TextAt(row, "calibration") == "map_dbp") {
			lost++
			newSBP, newDBP = math.NaN(), math.NaN()
		}
		for name, cells := range changed {
			cells[row] = rescaled(name, cells[row], visits.TextAt(row, "calibration"), oldSBP, oldDBP, newSBP, newDBP)
		}
	}
	out := visits
	for _, c := range visits.Table.Columns {
		if cells, ok := changed[c.Name]; ok {
			out = out.With(c.Name, schema.Data{Num: cells})
		}
	}
	note := "pressures follow the cuff in a straight line"
	if lost > 0 {
		note += fmt.Sprintf("; without a value under this rule: %d visits (readings of single recordings, or a mean pressure of the cuff's own)", lost)
	}
	return out, note, nil
}

// rescaled carries a value from one pair of cuff pressures to another.
func rescaled(name string, v float64, calibration string, oldSBP, oldDBP, newSBP, newDBP float64) float64 {
	if calibration == "as_recorded" && !schema.CuffValue(name) && name != "sbp_amplification_mmhg" {
		return v
	}
	ratio := (newSBP - newDBP) / (oldSBP - oldDBP)
	switch {
	case name == "sbp_amplification_mmhg" && calibration == "as_recorded":
		return v + newSBP - oldSBP
	case name == "sbp_amplification_mmhg", name == "augmentation_pressure_mmhg", strings.Contains(name, "_pp_"):
		return float64(v * ratio)
	}
	return newDBP + float64((v-oldDBP)*ratio)
}

// readings returns what lists the cuff readings of a visit in their order.
func (g grid) readings() func(visit int) (systolic, diastolic []float64) {
	f := g.measured.Readings
	byVisit := g.measured.readingsByVisit()
	numbers, sbp, dbp := f.Numbers("reading"), f.Numbers("sbp_mmhg"), f.Numbers("dbp_mmhg")
	return func(visit int) (systolic, diastolic []float64) {
		rows := byVisit.of(visit)
		slices.SortStableFunc(rows, func(a, b int32) int {
			switch {
			case numbers[a] < numbers[b]:
				return -1
			case numbers[a] > numbers[b]:
				return 1
			}
			return 0
		})
		for _, row := range rows {
			systolic, diastolic = append(systolic, sbp[row]), append(diastolic, dbp[row])
		}
		return systolic, diastolic
	}
}
