package tabulate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tonocohort/schema"
	"tonocohort/stats/regress"
)

// arithmeticFit is the share of variance from which on a fit is an identity and
// not a finding.
const arithmeticFit = 1 - 1e-10

// nearlyFixed is the share of variance of brachial pulse pressure from which on
// its following from the terms is said.
const nearlyFixed = 0.99

// mostProbed bounds the rows on which an identity is looked for first: what
// does not hold in some rows does not hold in all.
const mostProbed = 2000

// arithmetic says why the terms make the outcome by arithmetic, "" where they
// do not, and what a reader should know in either case. It is found by rank on
// the rows themselves, whatever the columns are called: the outcome lies in the
// span of the terms' columns; or its logarithm in that of their logarithms; or,
// for a central value whose wave has its scale from the cuff, the cuff's systolic
// and diastolic pressure both do, so that nothing but the shape of the wave is
// left to explain. Curved forms of a column count as the column itself: a
// polynomial may fit exactly.
func (m *modeller) arithmetic(f fitted, p problem, rows []int32) (refusal, note string) {
	if f.outcome.binary {
		return "", ""
	}
	names, columns := p.design.numericColumns(f.model)
	if share(!p.design.through, columns, p.y) > arithmeticFit {
		return "the terms make the outcome by arithmetic (with it their columns, " + strings.Join(names, ", ") + ", have the same rank): the fit would be exact" + because(f.model), ""
	}
	if positive, ok := product(names, columns, p.y); ok {
		return "the outcome is a product of powers of its terms (" + strings.Join(positive, ", ") + "): the fit would be arithmetic" + because(f.model), ""
	}
	_, central := brachialTwin(f.model.Outcome)
	if !central || !m.c.frame.Has("brachial_sbp_mmhg") || !m.c.frame.Has("brachial_dbp_mmhg") || !m.cuffCalibrated(rows) {
		return "", ""
	}
	systolic, diastolic := pick(m.c.frame.Numbers("brachial_sbp_mmhg"), rows), pick(m.c.frame.Numbers("brachial_dbp_mmhg"), rows)
	if slices.ContainsFunc(systolic, math.IsNaN) || slices.ContainsFunc(diastolic, math.IsNaN) {
		return "", ""
	}
	cuff := strings.Join(cuffTerms(f.model), ", ")
	if share(true, columns, systolic) > arithmeticFit && share(true, columns, diastolic) > arithmeticFit {
		return "the cuff's systolic and diastolic pressure follow from the terms (" + cuff +
			") in every row: they give the wave its scale, so the model would tell arithmetic, not people; leave one of them out", ""
	}
	pulse := make([]float64, len(systolic))
	for i := range pulse {
		pulse[i] = systolic[i] - diastolic[i]
	}
	if r2 := share(true, columns, pulse); r2 > nearlyFixed {
		note = fmt.Sprintf("brachial pulse pressure follows from the terms (%s) but for %.2g %% of its variance, and with it nearly the outcome", cuff, 100*(1-r2))
	}
	return "", note
}

// numericColumns are the columns of the model's terms that hold numbers, each
// once.
func (d design) numericColumns(m schema.Model) (names []string, columns [][]float64) {
	for _, t := range m.Terms {
		for _, name := range t.Columns() {
			if x, numeric := d.sample.numbers[name]; numeric && !slices.Contains(names, name) {
				names, columns = append(names, name), append(columns, x)
			}
		}
	}
	return names, columns
}

// share is the share of variance of y that the columns explain (about zero
// without an intercept): found in some rows, and in all where it is high there.
func share(intercept bool, columns [][]float64, y []float64) float64 {
	explained := func(step int) float64 {
		thin := make([][]float64, len(columns))
		for k := range columns {
			thin[k] = every(columns[k], step)
		}
		fit, err := regress.OLS(regress.Columns(intercept, nil, thin), every(y, step), nil)
		if err != nil || fit.DF < 1 || math.IsNaN(fit.R2) {
			return 0
		}
		return fit.R2
	}
	if step := len(y) / mostProbed; step > 1 {
		if some := explained(step); some < nearlyFixed {
			return some
		}
	}
	return explained(1)
}

func every[T any](x []T, step int) []T {
	if step <= 1 {
		return x
	}
	var out []T
	for i := 0; i < len(x); i += step {
		out = append(out, x[i])
	}
	return out
}

// product reports whether the outcome is a product of powers of those columns
// that are above zero throughout, and names them.
func product(names []string, columns [][]float64, y []float64) (positive []string, is bool) {
	logs := func(x []float64) ([]float64, bool) {
		out := make([]float64, len(x))
		for i, v := range x {
			if !(v > 0) {
				return nil, false
			}
			out[i] = math.Log(v)
		}
		return out, true
	}
	step := len(y) / mostProbed
	outcome, ok := logs(every(y, step))
	if !ok {
		return nil, false
	}
	var logged [][]float64
	for k, name := range names {
		if x, ok := logs(every(columns[k], step)); ok {
			positive, logged = append(positive, name), append(logged, x)
		}
	}
	return positive, len(logged) > 0 && share(true, logged, outcome) > arithmeticFit
}

// because adds the known identity, where it is one.
func because(m schema.Model) string {
	if notes := arithmeticNotes(m); len(notes) > 0 {
		return "; " + notes[0]
	}
	return ""
}

// cuffTerms lists the cuff values among the columns of the terms.
func cuffTerms(m schema.Model) []string {
	var out []string
	for _, t := range m.Terms {
		for _, name := range t.Columns() {
			if strings.HasPrefix(name, "brachial_") && !slices.Contains(out, name) {
				out = append(out, name)
			}
		}
	}
	if out == nil {
		out = []string{"through other columns"}
	}
	return out
}

// cuffCalibrated reports whether some wave has its scale from the cuff.
func (m *modeller) cuffCalibrated(rows []int32) bool {
	kinds := m.c.frame.Labels("calibration")
	return slices.ContainsFunc(rows, func(row int32) bool { return kinds.At(int(row)) != "as_recorded" })
}

// arithmeticNotes says from the names alone which terms make the outcome by
// arithmetic, or nearly. A radial wave calibrated by cuff values has the cuff's
// diastolic and a mean that the cuff's values fix, so that aortic pressure
// follows from brachial pulse pressure with mean and diastolic pressure but for
// the shape of the wave.
func arithmeticNotes(m schema.Model) []string {
	var columns []string
	for _, t := range m.Terms {
		columns = append(columns, t.Columns()...)
	}
	in := func(names ...string) bool {
		return !slices.ContainsFunc(names, func(name string) bool { return !slices.Contains(columns, name) })
	}
	var out []string
	if _, central := brachialTwin(m.Outcome); central {
		for _, name := range []string{"brachial_pp_mmhg", "brachial_sbp_mmhg"} {
			if in(name, "brachial_map_mmhg", "brachial_dbp_mmhg") {
				out = append(out, name+" with brachial_map_mmhg and brachial_dbp_mmhg makes the central outcome nearly by arithmetic: its coefficient tells nothing about people")
			}
		}
		if len(out) == 0 && in("brachial_map_mmhg", "brachial_dbp_mmhg") {
			out = append(out, "brachial_map_mmhg with brachial_dbp_mmhg fixes brachial pulse pressure where mean pressure is DBP + form factor × PP, and with it nearly the central outcome")
		}
	}
	for _, triple := range identities() {
		for i, name := range triple {
			others := slices.Delete(slices.Clone(triple), i, i+1)
			if name == m.Outcome && in(others...) {
				out = append(out, m.Outcome+" is computed from "+strings.Join(others, " and ")+": the model fits arithmetic")
			}
		}
	}
	return out
}

// identities lists columns of which each follows from the others.
func identities() [][]string {
	return [][]string{
		{"brachial_pp_mmhg", "brachial_sbp_mmhg", "brachial_dbp_mmhg"},
		{"central_pp_mmhg", "central_sbp_mmhg", "central_dbp_mmhg"},
		{"pp_amplification_ratio", "brachial_pp_mmhg", "central_pp_mmhg"},
		{"sbp_amplification_mmhg", "brachial_sbp_mmhg", "central_sbp_mmhg"},
		{"augmentation_index_pct", "augmentation_pressure_mmhg", "central_pp_mmhg"},
	}
}
