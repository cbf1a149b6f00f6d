package pipeline

import (
	"math"
	"strings"

	"tonocohort/pipeline/central"
	"tonocohort/schema"
)

// values holds one cell per column of schema.ValueColumns; NaN is missing.
type values []float64

// layout finds a value column by name. It is made once per run and only read.
type layout struct {
	columns []schema.Column
	index   map[string]int
}

func newLayout() *layout {
	l := &layout{columns: schema.ValueColumns(), index: map[string]int{}}
	for i, c := range l.columns {
		l.index[c.Name] = i
	}
	return l
}

// empty returns values in which everything is missing.
func (l *layout) empty() values {
	v := make(values, len(l.columns))
	for i := range v {
		v[i] = math.NaN()
	}
	return v
}

func (l *layout) at(name string) int {
	i, ok := l.index[name]
	if !ok {
		panic("pipeline: no value column " + name)
	}
	return i
}

func (l *layout) set(v values, name string, x float64) { v[l.at(name)] = x }

func (l *layout) get(v values, name string) float64 { return v[l.at(name)] }

// write puts v into row of f, which holds the value columns.
func (l *layout) write(f *schema.Frame, row int, v values) {
	f.SetNumbers(row, l.columns, v)
}

// derive fills the values that follow from others by arithmetic, so that each
// identity of the data dictionary holds in every row, combined or not.
func (l *layout) derive(v values) {
	get := func(name string) float64 { return l.get(v, name) }
	l.set(v, "brachial_pp_mmhg", get("brachial_sbp_mmhg")-get("brachial_dbp_mmhg"))
	l.set(v, "central_pp_mmhg", get("central_sbp_mmhg")-get("central_dbp_mmhg"))
	for _, c := range schema.Calibrations {
		l.set(v, "central_pp_"+c+"_mmhg", get("central_sbp_"+c+"_mmhg")-get("central_dbp_"+c+"_mmhg"))
	}
	l.set(v, "pp_amplification_ratio", quotient(get("brachial_pp_mmhg"), get("central_pp_mmhg")))
	l.set(v, "sbp_amplification_mmhg", get("brachial_sbp_mmhg")-get("central_sbp_mmhg"))
	index := 100 * quotient(get("augmentation_pressure_mmhg"), get("central_pp_mmhg"))
	l.set(v, "augmentation_index_pct", index)
	l.set(v, "augmentation_index_hr75_pct", central.HR75(index, get("heart_rate_bpm")))
	l.set(v, "supply_demand_ratio_pct", 100*quotient(get("diastolic_integral_mmhg_s"), get("systolic_integral_mmhg_s")))
}

// quotient is a/b, missing where b is not above zero.
func quotient(a, b float64) float64 {
	if !(b > 0) {
		return math.NaN()
	}
	return a / b
}

// counted are the value columns that are summed over replicates, not averaged.
func counted(name string) bool { return name == "beats_found" || name == "beats_used" }

// combine averages the values of several recordings of one visit; a value that
// some of them lack is averaged over the others. Beat counts are summed.
func (l *layout) combine(all []values) values {
	out := l.empty()
	for i, c := range l.columns {
		sum, n := 0.0, 0
		for _, v := range all {
			if !math.IsNaN(v[i]) {
				sum += v[i]
				n++
			}
		}
		switch {
		case n == 0 || strings.HasSuffix(c.Name, "_se"): // errors do not average: combineErrors
		case counted(c.Name):
			out[i] = sum
		default:
			out[i] = sum / float64(n)
		}
	}
	l.derive(out)
	return out
}
