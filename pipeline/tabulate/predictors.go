package tabulate

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/schema"
)

// unknownLevel is the answer that is none: a model counts it as missing.
const unknownLevel = "unknown"

// mostLevels bounds the levels of a text column in a model, so that a column
// of identifiers is not taken for a factor.
const mostLevels = 100

// predictor is a column as models use it: numbers by row of the frame, or a
// factor.
type predictor struct {
	name    string
	unit    string
	numbers []float64 // nil for a factor
	factor  factor
}

// predictor makes the column ready; asFactor takes whole numbers for levels.
func (c *cohort) predictor(name string, asFactor bool) predictor {
	column := c.column(name)
	if column.Numeric() && !asFactor {
		return predictor{name: name, unit: column.Unit, numbers: c.frame.Numbers(name)}
	}
	return predictor{name: name, factor: c.factor(name)}
}

// missing reports whether the row has no usable value.
func (p predictor) missing(row int32) bool {
	if p.numbers != nil {
		return math.IsNaN(p.numbers[row])
	}
	label := p.factor.label(row)
	return label == "" || label == unknownLevel
}

// predictors lists the columns of the model's terms, each once.
func (c *cohort) predictors(m schema.Model) []predictor {
	var out []predictor
	var walk func(terms []schema.Term)
	walk = func(terms []schema.Term) {
		for _, t := range terms {
			walk(t.Interaction)
			known := slices.ContainsFunc(out, func(p predictor) bool { return p.name == t.Column })
			if len(t.Interaction) == 0 && !known {
				out = append(out, c.predictor(t.Column, c.asFactor(m, t.Column)))
			}
		}
	}
	walk(m.Terms)
	return out
}

// asFactor reports whether the column stands in the model as a factor.
func (c *cohort) asFactor(m schema.Model, name string) bool {
	if !c.column(name).Numeric() {
		return true
	}
	var is func(t schema.Term) bool
	is = func(t schema.Term) bool {
		return t.Column == name && t.FormOf() == schema.Factor || slices.ContainsFunc(t.Interaction, is)
	}
	return slices.ContainsFunc(m.Terms, is)
}

// sample is what a model sees: the values of its columns in the rows that are
// complete, or at points where its curves are drawn.
type sample struct {
	n       int
	numbers map[string][]float64
	codes   map[string][]int32
	group   []int // cluster of each row; nil where none is needed
}

// gather takes the rows out of the columns.
func gather(predictors []predictor, rows []int32) sample {
	s := sample{n: len(rows), numbers: map[string][]float64{}, codes: map[string][]int32{}}
	for _, p := range predictors {
		if p.numbers == nil {
			s.codes[p.name] = pick(p.factor.code, rows)
			continue
		}
		s.numbers[p.name] = pick(p.numbers, rows)
	}
	return s
}

// pick takes the cells of rows: a copy, or the cells themselves where these are
// all rows in their order. Nobody writes into either.
func pick[T any](cells []T, rows []int32) []T {
	if everyRow(rows, len(cells)) {
		return cells
	}
	out := make([]T, len(rows))
	for i, row := range rows {
		out[i] = cells[row]
	}
	return out
}

func everyRow(rows []int32, n int) bool {
	if len(rows) != n {
		return false
	}
	for i, row := range rows {
		if i != int(row) {
			return false
		}
	}
	return true
}

// outcome is the left-hand side of a model.
type outcome struct {
	column schema.Column
	values []float64 // by row of the frame: the number, or 1 for the event and 0 for none
	binary bool
	text   string // what the event is
}

func (c *cohort) outcome(m schema.Model, threshold map[string]float64) outcome {
	o := outcome{column: c.column(m.Outcome), binary: m.Kind == schema.LogisticModel || m.Kind == schema.PrevalenceRatio}
	if !o.binary {
		o.values = c.frame.Numbers(m.Outcome)
		return o
	}
	o.values = make([]float64, c.frame.N)
	if o.column.Textual() {
		f := c.factor(m.Outcome)
		for row := range o.values {
			o.values[row] = zeroOne(f.label(int32(row)) == m.Event, f.label(int32(row)) == "" || f.label(int32(row)) == unknownLevel && m.Event != unknownLevel)
		}
		o.text = m.Outcome + " is " + m.Event
		return o
	}
	bound := 1.0
	if m.Threshold != nil {
		bound = *m.Threshold
	} else if planned, ok := threshold[m.Outcome]; ok && o.column.Kind != schema.Boolean {
		bound = planned
	}
	for row, v := range c.frame.Numbers(m.Outcome) {
		o.values[row] = zeroOne(v >= bound, math.IsNaN(v))
	}
	o.text = fmt.Sprintf("%s is at least %s", m.Outcome, plain(bound))
	return o
}

func zeroOne(yes, missing bool) float64 {
	switch {
	case missing:
		return math.NaN()
	case yes:
		return 1
	}
	return 0
}

// absence counts the rows without a value of one column.
type absence struct {
	column string
	n      int
	note   string
}

// completeness says which rows a model can use and what the others lack.
type completeness struct {
	rows   []int32
	absent []absence // outcome first, then the columns of the terms, cluster and weight
	note   string    // terms whose answer unknown counted as missing
}

// complete finds the rows with outcome, every predictor and what the errors
// need; imputable tells columns that may lack a value.
func complete(o outcome, predictors []predictor, needs []need, rows []int32, imputable func(column string) bool) completeness {
	var out completeness
	out.absent = append(out.absent, absence{column: o.column.Name})
	for _, p := range predictors {
		out.absent = append(out.absent, absence{column: p.name})
	}
	for _, n := range needs {
		out.absent = append(out.absent, absence{column: n.column, note: n.what})
	}
	optional := make([]bool, len(out.absent))
	for i := range optional[:1+len(predictors)] {
		if optional[i] = imputable(out.absent[i].column); optional[i] {
			out.absent[i].note = "imputed"
		}
	}
	lacking := make([]bool, len(rows))
	mark := func(i int, missing func(row int32) bool) {
		for k, row := range rows {
			if missing(row) {
				out.absent[i].n++
				lacking[k] = lacking[k] || !optional[i]
			}
		}
	}
	markNumbers := func(i int, numbers []float64) { // the same, of many rows in a third of the time
		for k, row := range rows {
			if math.IsNaN(numbers[row]) {
				out.absent[i].n++
				lacking[k] = lacking[k] || !optional[i]
			}
		}
	}
	markNumbers(0, o.values)
	for i, p := range predictors {
		if p.numbers != nil {
			markNumbers(1+i, p.numbers)
		} else {
			mark(1+i, p.missing)
		}
	}
	for i, n := range needs {
		mark(1+len(predictors)+i, n.missing)
	}
	out.rows = make([]int32, 0, len(rows))
	for k, row := range rows {
		if !lacking[k] {
			out.rows = append(out.rows, row)
		}
	}
	unknown := make([]int, len(predictors))
	for i, p := range predictors {
		if at := slices.Index(p.factor.levels, unknownLevel); at >= 0 && p.numbers == nil {
			for _, row := range rows {
				if int(p.factor.code[row]) == at {
					unknown[i]++
				}
			}
		}
	}
	for i, n := range unknown {
		if n > 0 {
			out.note = join(out.note, fmt.Sprintf("%s unknown counted as missing: %d", predictors[i].name, n))
		}
	}
	return out
}

// need is a column that the errors of a model rest on.
type need struct {
	column, what string
	missing      func(row int32) bool
}
