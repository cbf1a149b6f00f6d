package tabulate

import (
	"errors"
	"fmt"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// coefficient says what a column of the design is.
type coefficient struct {
	name string // as it stands in the table: sex=male
	unit string
	note string
}

// block is one term made ready: columns of the design, and how to compute them
// at other values.
type block struct {
	term    schema.Term
	label   string
	columns []coefficient
	at      func(s sample) ([][]float64, error) // the columns at the values of s
	curved  bool                                // its effect is no single number

	variable func(s sample) []float64 // of a polynomial, whose powers the design forms
	degree   int

	basis  *regress.SplineBasis // of a spline, whose columns the design computes
	levels []int32              // of a factor, for the same reason: the level of each column
}

// blockMaker makes the blocks of one model.
type blockMaker struct {
	predictors []predictor
	sample     sample
	unit       string // of the outcome, or of the linear predictor
	cluster    string // column that within and between go by
	main       map[string]*block
}

// errNotYet marks a fractional polynomial whose powers are still to be chosen.
var errNotYet = errors.New("powers to be chosen")

func (b *blockMaker) predictor(name string) predictor {
	return b.predictors[slices.IndexFunc(b.predictors, func(p predictor) bool { return p.name == name })]
}

// make makes the block of a term. A part of an interaction that is a plain
// column takes the form that the column has in a term of its own.
func (b *blockMaker) make(t schema.Term, inner bool) (*block, error) {
	if len(t.Interaction) > 0 {
		return b.interaction(t)
	}
	if own := b.main[t.Column]; inner && t.IsPlain() && own != nil {
		return own, nil
	}
	p := b.predictor(t.Column)
	if p.numbers == nil {
		return b.indicators(t, p)
	}
	switch t.FormOf() {
	case schema.Polynomial:
		return b.powers(t, p, inner)
	case schema.NaturalSpline:
		return b.spline(t, p)
	case schema.FractionalPolynomial:
		return b.fractional(t, p)
	case schema.WithinBetween:
		return b.withinBetween(t, p)
	}
	return b.line(t, p), nil
}

// per returns the number of units that one step is, and its text.
func per(t schema.Term) (step float64, text string) {
	if t.Per == 0 || t.Per == 1 {
		return 1, ""
	}
	return t.Per, plain(t.Per) + " "
}

// from returns the value a term is counted from, with a note on it.
func (b *blockMaker) from(t schema.Term) (centre float64, note string) {
	switch {
	case t.At != nil:
		return *t.At, "counted from " + plain(*t.At)
	case t.FormOf() == schema.Centred:
		centre = stats.Mean(b.sample.numbers[t.Column])
		return centre, fmt.Sprintf("counted from the mean, %.6g", centre)
	}
	return 0, ""
}

// line is a term with one slope.
func (b *blockMaker) line(t schema.Term, p predictor) *block {
	centre, note := b.from(t)
	step, text := per(t)
	return &block{term: t, label: t.Column,
		columns: []coefficient{{t.Column, perUnit(b.unit, text, p.unit), note}},
		at: func(s sample) ([][]float64, error) {
			return [][]float64{shifted(s.numbers[t.Column], centre, step)}, nil
		}}
}

// shifted counts x from a centre in steps; nobody writes into what it returns.
func shifted(x []float64, centre, step float64) []float64 {
	if centre == 0 && step == 1 {
		return x
	}
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = (v - centre) / step
	}
	return out
}

// powers is a polynomial on the user's scale; the design forms it from a
// centred and scaled variable of its own.
func (b *blockMaker) powers(t schema.Term, p predictor, inner bool) (*block, error) {
	centre, note := b.from(t)
	step, text := per(t)
	out := &block{term: t, label: t.Column, curved: t.Degree > 1, degree: t.Degree}
	for k := 1; k <= t.Degree; k++ {
		name, unit := t.Column, text+p.unit
		if k > 1 {
			name, unit = fmt.Sprintf("%s^%d", t.Column, k), fmt.Sprintf("(%s%s)^%d", text, p.unit, k)
		}
		out.columns = append(out.columns, coefficient{name, perUnit(b.unit, "", unit), note})
	}
	out.at = func(s sample) ([][]float64, error) {
		u := shifted(s.numbers[t.Column], centre, step)
		columns := [][]float64{u}
		for k := 1; k < t.Degree; k++ {
			next := make([]float64, len(u))
			for i, v := range columns[k-1] {
				next[i] = float64(v * u[i])
			}
			columns = append(columns, next)
		}
		return columns, nil
	}
	if !inner {
		out.variable = func(s sample) []float64 { return shifted(s.numbers[t.Column], centre, step) }
	}
	return out, nil
}

func (b *blockMaker) spline(t schema.Term, p predictor) (*block, error) {
	x := b.sample.numbers[t.Column]
	var basis *regress.SplineBasis
	var err error
	if t.Knots == nil {
		basis, err = regress.NewNaturalSpline(x, t.DF)
	} else {
		basis, err = regress.NaturalSplineWith(t.Knots, [2]float64{slices.Min(x), slices.Max(x)})
	}
	if err != nil {
		return nil, fmt.Errorf("%s: no spline: %w", t.Column, err)
	}
	note := "natural cubic spline, inner knots at " + plains(basis.Knots) + ", straight beyond the outermost of the data"
	out := &block{term: t, label: t.Column, curved: true, basis: basis,
		at: func(s sample) ([][]float64, error) { return basis.Basis(s.numbers[t.Column]), nil }}
	for k := range basis.Columns() {
		out.columns = append(out.columns, coefficient{fmt.Sprintf("%s spline %d", t.Column, k+1), unitOf(b.unit), note})
	}
	return out, nil
}

func plains(values []float64) string {
	text := ""
	for i, v := range values {
		if i > 0 {
			text += ", "
		}
		text += fmt.Sprintf("%.6g", v)
	}
	if text == "" {
		return "none"
	}
	return text
}

// fractional is a fractional polynomial of given powers.
func (b *blockMaker) fractional(t schema.Term, p predictor) (*block, error) {
	if t.Powers == nil {
		return nil, errNotYet
	}
	shift, scale := regress.FractionalScale(b.sample.numbers[t.Column])
	return b.fractionalOf(t, regress.FractionalPolynomial{Powers: slices.Sorted(slices.Values(t.Powers)), Shift: shift, Scale: scale}, "powers as declared")
}

func (b *blockMaker) fractionalOf(t schema.Term, form regress.FractionalPolynomial, note string) (*block, error) {
	out := &block{term: t, label: t.Column, curved: true,
		at: func(s sample) ([][]float64, error) { return form.Columns(s.numbers[t.Column]) }}
	for _, name := range form.Names(t.Column) {
		out.columns = append(out.columns, coefficient{name, unitOf(b.unit), note})
	}
	return out, nil
}

// withinBetween splits a column into its mean in the cluster and the deviation
// from it.
func (b *blockMaker) withinBetween(t schema.Term, p predictor) (*block, error) {
	unit := perUnit(b.unit, "", p.unit)
	return &block{term: t, label: t.Column,
		columns: []coefficient{
			{t.Column + " within " + b.cluster, unit, "deviation from the mean of the " + b.cluster + ": change within"},
			{t.Column + " between " + b.cluster, unit, "mean of the " + b.cluster + ": difference between"},
		},
		at: func(s sample) ([][]float64, error) {
			if s.group == nil { // a point of a curve over another column
				zero := make([]float64, s.n)
				return [][]float64{zero, zero}, nil
			}
			within, between := regress.WithinBetween(s.numbers[t.Column], s.group)
			return [][]float64{within, between}, nil
		}}, nil
}

// perUnit is the unit of a slope.
func perUnit(outcome, step, term string) string {
	outcome = unitOf(outcome)
	if term == "" || term == "1" {
		if step == "" {
			return outcome + " per unit"
		}
		term = "units"
	}
	return outcome + " per " + step + term
}

func unitOf(outcome string) string {
	if outcome == "" {
		return "1"
	}
	return outcome
}
