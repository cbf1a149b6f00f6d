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
	case !slices.Contains(estimates.Texts("method"), method):
		return nil, "", errors.New("the run has no estimate by " + method + ": name it in central.also")
	}
	type key struct{ recording, calibration string }
	values := map[key]float64{}
	for row, name := range estimates.Texts("method") {
		if name == method {
			values[key{estimates.TextAt(row, "recording_id"), estimates.TextAt(row, "calibration")}] = estimates.Number(row, outcome)
		}
	}
	used := g.measured.usedRecordings()
	column := make([]float64, visits.N)
	for row := range column {
		column[row] = math.NaN()
		recordings := used[keyOf(visits, row)]
		if float64(len(recordings)) != visits.Number(row, "recordings_used") {
			if visits.TextAt(row, "status") == "used" {
				return nil, "", fmt.Errorf("which of the recordings of a visit were combined by the rule %s does not stand in the tables", g.settings.Replicates.Rule)
			}
			continue
		}
		sum, n := 0.0, 0
		for _, r := range recordings {
			v, ok := values[key{g.measured.Recordings.TextAt(r, "recording_id"), visits.TextAt(row, "calibration")}]
			if ok && !math.IsNaN(v) {
				sum += v
				n++
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
	systolic, diastolic := g.readings()
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
		k := keyOf(visits, row)
		oldSBP, oldDBP := visits.Number(row, "brachial_sbp_mmhg"), visits.Number(row, "brachial_dbp_mmhg")
		s, d := g.combine(systolic[k], diastolic[k], visits.TextAt(row, "cuff_rule"))
		newSBP, newDBP := g.combine(systolic[k], diastolic[k], rule)
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

// readings lists the cuff readings of each visit in their order.
func (g grid) readings() (systolic, diastolic map[visitKey][]float64) {
	f := g.measured.Readings
	order := make([]int, f.N)
	for i := range order {
		order[i] = i
	}
	numbers := f.Numbers("reading")
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case numbers[a] < numbers[b]:
			return -1
		case numbers[a] > numbers[b]:
			return 1
		}
		return 0
	})
	systolic, diastolic = map[visitKey][]float64{}, map[visitKey][]float64{}
	for _, row := range order {
		k := keyOf(f, row)
		systolic[k] = append(systolic[k], f.Number(row, "sbp_mmhg"))
		diastolic[k] = append(diastolic[k], f.Number(row, "dbp_mmhg"))
	}
	return systolic, diastolic
}
