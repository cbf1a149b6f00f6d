package tabulate

import (
	"maps"
	"math"
	"slices"
	"strconv"

	"tonocohort/schema"
)

// ageBand is the column that the plan derives from age_years.
const ageBand = "age_band"

// cohort is the person-level frame with what the plan makes of it. Rows are
// rows of the frame; slices "by row" cover the whole frame.
type cohort struct {
	frame     *schema.Frame
	bands     factor
	subject   []int32 // by row: number of the person
	persons   int
	everyUsed []int32   // used, all visits, in the frame's order
	rows      []int32   // used, and kept by the visit rule, in the frame's order
	repeated  bool      // persons may stand in several rows (visit: all)
	memories  []*memory // by goroutine, used again
	weighting
}

func newCohort(f *schema.Frame, plan schema.Analysis, flow *flow, report *reporter) *cohort {
	c := &cohort{frame: f, repeated: visitRule(plan) == allVisits}
	c.subject, c.persons = f.Numbered("subject_id")
	if f.Has("age_years") {
		c.bands = bandsOf(f, plan.Age)
	}
	c.rows = c.visits(plan, flow, report)
	c.weighting = c.newWeighting(plan.Weights)
	c.weigh(flow, report)
	return c
}

// column declares the named column, age_band among them.
func (c *cohort) column(name string) schema.Column {
	if name == ageBand {
		return schema.Column{Name: ageBand, Kind: schema.Category, Levels: c.bands.levels}
	}
	return c.frame.Column(name)
}

// factor is a column of levels: code holds by row the position of the level, or
// −1 where the cell is missing.
type factor struct {
	levels []string
	code   []int32
}

// factor returns the named column as levels: declared ones in their declared
// order, then any others sorted; those of an integer column by size.
func (c *cohort) factor(name string) factor {
	if name == ageBand {
		return c.bands
	}
	column := c.frame.Column(name)
	switch {
	case column.Kind == schema.Boolean:
		return codeNumbers(c.frame.Numbers(name), []float64{0, 1}, []string{"no", "yes"})
	case column.Numeric():
		values := distinctNumbers(c.frame.Numbers(name))
		labels := make([]string, len(values))
		for i, v := range values {
			labels[i] = plain(v)
		}
		return codeNumbers(c.frame.Numbers(name), values, labels)
	}
	return codeTexts(c.frame.Labels(name), column.Levels)
}

// distinctNumbers lists the numbers that occur, upwards.
func distinctNumbers(cells []float64) []float64 {
	seen := map[float64]struct{}{}
	last := math.NaN()
	for _, v := range cells {
		if v != last && !math.IsNaN(v) {
			seen[v] = struct{}{}
			last = v
		}
	}
	return slices.Sorted(maps.Keys(seen))
}

func codeNumbers(cells, values []float64, labels []string) factor {
	f := factor{levels: labels, code: make([]int32, len(cells))}
	for row, v := range cells {
		f.code[row] = -1
		if i, ok := slices.BinarySearch(values, v); ok && !math.IsNaN(v) {
			f.code[row] = int32(i)
		}
	}
	return f
}

func codeTexts(cells schema.Labels, declared []string) factor {
	position := map[string]int32{"": -1}
	for i, level := range declared {
		position[level] = int32(i)
	}
	var others []string
	code := schema.Coded(cells, func(text string) int32 {
		at, known := position[text]
		if !known {
			at = int32(len(declared) + len(others))
			position[text] = at
			others = append(others, text)
		}
		return at
	})
	if !slices.IsSorted(others) { // numbered as they came
		sorted := slices.Sorted(slices.Values(others))
		place := make([]int32, len(others))
		for i, text := range others {
			at, _ := slices.BinarySearch(sorted, text)
			place[i] = int32(len(declared) + at)
		}
		for row, at := range code {
			if other := int(at) - len(declared); other >= 0 {
				code[row] = place[other]
			}
		}
		others = sorted
	}
	return factor{levels: slices.Concat(declared, others), code: code}
}

// label returns the level of a row, "" where it is missing.
func (f factor) label(row int32) string {
	if f.code[row] < 0 {
		return ""
	}
	return f.levels[f.code[row]]
}

// plain writes a number without an exponent and with no digit more than needed.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
