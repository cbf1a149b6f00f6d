package tabulate

import (
	"fmt"
	"math"

	"tonocohort/schema"
	"tonocohort/stats/regress"
)

// unknownLevel is the answer that is none: a model counts it as missing.
const unknownLevel = "unknown"

// mostLevels bounds the levels of a text column in a model, so that a column
// of identifiers is not taken for a factor.
const mostLevels = 100

// term is one term of a model made ready: numbers by row of the frame, or a
// factor.
type term struct {
	name    string
	unit    string
	numbers []float64 // nil for a factor
	factor  factor
}

func (c *cohort) term(name string) term {
	column := c.column(name)
	if column.Numeric() {
		return term{name: name, unit: column.Unit, numbers: c.frame.Numbers(name)}
	}
	return term{name: name, factor: c.factor(name)}
}

// missing reports whether the row has no usable value of the term.
func (t term) missing(row int) bool {
	if t.numbers != nil {
		return math.IsNaN(t.numbers[row])
	}
	label := t.factor.label(row)
	return label == "" || label == unknownLevel
}

// coefficient says what a column of the design is.
type coefficient struct {
	name string // as it stands in the table: sex=male
	unit string
	note string
}

// design is the right-hand side of a model on complete rows.
type design struct {
	matrix  *regress.Design
	columns []coefficient // by column of matrix
	absent  []coefficient // terms that have no column, with the reason
	refused string        // why the model cannot be fitted; "" where it can
}

// newDesign makes the columns: numbers as they are, a factor as indicators of
// its levels against the first level that is present.
func newDesign(terms []term, outcome schema.Column, rows []int) design {
	d := design{matrix: regress.NewDesign(true), columns: []coefficient{{name: regress.Intercept, unit: outcome.Unit}}}
	for _, t := range terms {
		if t.numbers != nil {
			x := make([]float64, len(rows))
			for i, row := range rows {
				x[i] = t.numbers[row]
			}
			d.matrix.Add(t.name, x)
			d.columns = append(d.columns, coefficient{name: t.name, unit: perUnit(outcome.Unit, t.unit)})
			continue
		}
		d.addFactor(t, outcome.Unit, rows)
	}
	return d
}

func (d *design) addFactor(t term, unit string, rows []int) {
	present := make([]bool, len(t.factor.levels))
	for _, row := range rows {
		present[t.factor.code[row]] = true
	}
	var levels []int
	for level, there := range present {
		if there {
			levels = append(levels, level)
		}
	}
	switch {
	case len(levels) > mostLevels:
		d.refused = fmt.Sprintf("%s has %d levels; a factor has at most %d", t.name, len(levels), mostLevels)
		return
	case len(levels) == 0:
		return // no rows: the model is refused for that
	case len(levels) == 1:
		d.absent = append(d.absent, coefficient{name: t.name, unit: unit, note: "one level only, " + t.factor.levels[levels[0]] + ": not estimated"})
		return
	}
	var names []string
	var columns [][]float64
	for _, level := range levels[1:] {
		x := make([]float64, len(rows))
		for i, row := range rows {
			if t.factor.code[row] == level {
				x[i] = 1
			}
		}
		name := t.name + "=" + t.factor.levels[level]
		names = append(names, name)
		columns = append(columns, x)
		d.columns = append(d.columns, coefficient{name: name, unit: unit, note: "reference: " + t.factor.levels[levels[0]]})
	}
	d.matrix.AddTerm(t.name, names, columns)
}

// perUnit is the unit of a slope.
func perUnit(outcome, term string) string {
	if outcome == "" {
		outcome = "1"
	}
	if term == "" || term == "1" {
		return outcome + " per unit"
	}
	return outcome + " per " + term
}
