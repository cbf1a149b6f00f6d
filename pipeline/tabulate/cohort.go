package tabulate

import (
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
	subject   []int // by row: number of the person
	persons   int
	everyUsed []int     // used, all visits, in the frame's order
	rows      []int     // used, and kept by the visit rule, in the frame's order
	repeated  bool      // persons may stand in several rows (visit: all)
	dealers   []*dealer // by goroutine, used again
	weighting
}

func newCohort(f *schema.Frame, plan schema.Analysis, flow *flow, report *reporter) *cohort {
	c := &cohort{frame: f, subject: make([]int, f.N), repeated: visitRule(plan) == allVisits}
	c.persons = numberLevels(f.Texts("subject_id"), c.subject)
	if f.Has("age_years") {
		c.bands = bandsOf(f.Numbers("age_years"), plan.Age)
	}
	c.rows = c.visits(plan, flow, report)
	c.weighting = c.newWeighting(plan.Weights)
	c.weigh(flow, report)
	return c
}

// numberLevels numbers texts in the order in which they first stand, and returns
// how many there are. A sorted column needs no memory of what has been seen.
func numberLevels(texts []string, numbers []int) int {
	if slices.IsSorted(texts) {
		last := -1
		for row, text := range texts {
			if row == 0 || text != texts[row-1] {
				last++
			}
			numbers[row] = last
		}
		return last + 1
	}
	seen := map[string]int{}
	for row, text := range texts {
		number, known := seen[text]
		if !known {
			number = len(seen)
			seen[text] = number
		}
		numbers[row] = number
	}
	return len(seen)
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
	code   []int
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
		values := slices.DeleteFunc(slices.Clone(c.frame.Numbers(name)), math.IsNaN)
		slices.Sort(values)
		values = slices.Compact(values)
		labels := make([]string, len(values))
		for i, v := range values {
			labels[i] = plain(v)
		}
		return codeNumbers(c.frame.Numbers(name), values, labels)
	}
	return codeTexts(c.frame.Texts(name), column.Levels)
}

func codeNumbers(cells, values []float64, labels []string) factor {
	f := factor{levels: labels, code: make([]int, len(cells))}
	for row, v := range cells {
		f.code[row] = -1
		if i, ok := slices.BinarySearch(values, v); ok && !math.IsNaN(v) {
			f.code[row] = i
		}
	}
	return f
}

func codeTexts(cells, declared []string) factor {
	position := map[string]int{"": -1}
	for i, level := range declared {
		position[level] = i
	}
	code := make([]int, len(cells))
	var others []string
	last, lastCode := "", -1
	for row, text := range cells {
		if text != last {
			at, known := position[text]
			if !known {
				at = len(declared) + len(others)
				position[text] = at
				others = append(others, text)
			}
			last, lastCode = text, at
		}
		code[row] = lastCode
	}
	if !slices.IsSorted(others) { // numbered as they came
		sorted := slices.Sorted(slices.Values(others))
		for row, at := range code {
			if at >= len(declared) {
				at, _ = slices.BinarySearch(sorted, others[at-len(declared)])
				code[row] = len(declared) + at
			}
		}
		others = sorted
	}
	return factor{levels: slices.Concat(declared, others), code: code}
}

// label returns the level of a row, "" where it is missing.
func (f factor) label(row int) string {
	if f.code[row] < 0 {
		return ""
	}
	return f.levels[f.code[row]]
}

// plain writes a number without an exponent and with no digit more than needed.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
