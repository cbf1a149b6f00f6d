package pipeline

import (
	"math"
	"strings"

	"tonocohort/pipeline/central"
	"tonocohort/schema"
)

// values holds one cell per column of schema.ValueColumns; NaN is missing.
type values []float64

// layout finds a value column by name.
type layout struct {
	columns   []schema.Column
	index     map[string]int
	replicate []replicateRule // by column
}

// replicateRule is what is made of a value of several recordings of one visit.
type replicateRule int

const (
	averaged    replicateRule = iota
	summed                    // counts of beats
	ofTheErrors               // standard errors do not average: combineErrors
)

func newLayout() *layout {
	l := &layout{columns: schema.ValueColumns(), index: map[string]int{}}
	for i, c := range l.columns {
		l.index[c.Name] = i
		rule := averaged
		switch {
		case strings.HasSuffix(c.Name, "_se"):
			rule = ofTheErrors
		case c.Name == "beats_found" || c.Name == "beats_used":
			rule = summed
		}
		l.replicate = append(l.replicate, rule)
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

// write puts v into row of f, which holds the value columns.
func (l *layout) write(f *schema.Frame, row int, v values) {
	f.SetNumbers(row, l.columns, v)
}

// derive fills the values that follow from others by arithmetic, so that each
// identity of the data dictionary holds in every row, combined or not.
func (v values) derive() {
	v[atBrachialPP] = v[atBrachialSBP] - v[atBrachialDBP]
	v[atCentral.pp] = v[atCentral.sbp] - v[atCentral.dbp]
	for _, at := range atCalibrated {
		v[at.pp] = v[at.sbp] - v[at.dbp]
	}
	v[atRatio] = quotient(v[atBrachialPP], v[atCentral.pp])
	v[atSBPAmplification] = v[atBrachialSBP] - v[atCentral.sbp]
	index := 100 * quotient(v[atAugmentationPressure], v[atCentral.pp])
	v[atIndex] = index
	v[atIndexHR75] = central.HR75(index, v[atHeartRate])
	v[atSupplyDemand] = 100 * quotient(v[atDiastolicIntegral], v[atSystolicIntegral])
}

// quotient is a/b, missing where b is not above zero.
func quotient(a, b float64) float64 {
	if !(b > 0) {
		return math.NaN()
	}
	return a / b
}

// combine averages the values of several recordings of one visit; a value that
// some of them lack is averaged over the others. Beat counts are summed.
func (l *layout) combine(all []values) values {
	out := l.empty()
	for i, rule := range l.replicate {
		sum, n := 0.0, 0
		for _, v := range all {
			if !math.IsNaN(v[i]) {
				sum += v[i]
				n++
			}
		}
		switch {
		case n == 0 || rule == ofTheErrors:
		case rule == summed:
			out[i] = sum
		default:
			out[i] = sum / float64(n)
		}
	}
	out.derive()
	return out
}
