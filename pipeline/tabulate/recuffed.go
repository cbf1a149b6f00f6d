package tabulate

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
)

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
	status, rules, sources := visits.Labels("status"), visits.Labels("cuff_rule"), visits.Labels("brachial_map_source")
	r := &recuff{visits: visits, calibration: visits.Labels("calibration"), sbp: visits.Numbers("brachial_sbp_mmhg"), dbp: visits.Numbers("brachial_dbp_mmhg"),
		used: make([]bool, visits.N), newSBP: make([]float64, visits.N), newDBP: make([]float64, visits.N)}
	lost := 0
	for row := range visits.N {
		if r.used[row] = status.At(row) == "used"; !r.used[row] {
			continue
		}
		systolic, diastolic := readings(row)
		s, d := g.combine(systolic, diastolic, rules.At(row))
		newSBP, newDBP := g.combine(systolic, diastolic, rule)
		measuredMean := sources.At(row) == "cuff"
		same := math.Abs(s-r.sbp[row]) < 1e-9 && math.Abs(d-r.dbp[row]) < 1e-9
		if !same || newSBP <= newDBP || measuredMean && (byCuff || r.calibration.At(row) == "map_dbp") {
			lost++
			newSBP, newDBP = math.NaN(), math.NaN()
		}
		r.newSBP[row], r.newDBP[row] = newSBP, newDBP
	}
	note := "pressures follow the cuff in a straight line"
	if lost > 0 {
		note += fmt.Sprintf("; without a value under this rule: %d visits (readings of single recordings, or a mean pressure of the cuff's own)", lost)
	}
	return schema.LentFrame(visits.Table, visits.N, r), note, nil
}

// recuff lends the table of visits with the values under another cuff rule, each
// column computed when it is asked for: there are some forty of them, and a model
// asks for two or three.
type recuff struct {
	visits         *schema.Frame
	calibration    schema.Labels
	sbp, dbp       []float64 // by the rule of the run
	newSBP, newDBP []float64 // NaN where a visit has no value under the rule
	used           []bool    // other visits keep what they have
}

// Numbers returns a column of numbers.
func (r *recuff) Numbers(column int) []float64 {
	name := r.visits.Table.Columns[column].Name
	cells := r.visits.Numbers(name)
	if !schema.SharesCuff(name) && name != "sbp_amplification_mmhg" {
		return cells
	}
	out := slices.Clone(cells)
	for row, v := range cells {
		if r.used[row] {
			out[row] = rescaled(name, v, r.calibration.At(row), r.sbp[row], r.dbp[row], r.newSBP[row], r.newDBP[row])
		}
	}
	return out
}

// EachNumbers visits all rows of some columns at one go.
func (r *recuff) EachNumbers(columns []int, visit func(first int, cells [][]float64)) {
	cells := make([][]float64, len(columns))
	for i, column := range columns {
		cells[i] = r.Numbers(column)
	}
	visit(0, cells)
}

// Labels, Waves and EachText hand out what the cuff has no part in.
func (r *recuff) Labels(column int) schema.Labels {
	return r.visits.Labels(r.visits.Table.Columns[column].Name)
}

// Waves returns a column of waves.
func (r *recuff) Waves(column int) [][]float32 {
	return r.visits.Waves(r.visits.Table.Columns[column].Name)
}

// EachText visits the cells of a text column.
func (r *recuff) EachText(column int, visit func(row int, text string)) {
	r.visits.EachText(r.visits.Table.Columns[column].Name, visit)
}

// Err is that of the table of visits.
func (r *recuff) Err() error { return r.visits.Err() }

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
