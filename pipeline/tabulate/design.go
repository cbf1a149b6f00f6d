package tabulate

import (
	"errors"
	"fmt"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats/regress"
)

// design is the right-hand side of a model on complete rows.
type design struct {
	matrix  *regress.Design
	through bool          // through the origin: no intercept
	columns []coefficient // by column of matrix
	blocks  []*block      // in the order of the columns
	first   []int         // by block: its first column
	absent  []coefficient // terms that have no column, with the reason
	sample  sample
	notes   []string
	refused string // why the model cannot be fitted; "" where it can
}

// newDesign makes the columns of the model's terms. y is what powers of
// fractional polynomials are chosen for.
func newDesign(m schema.Model, predictors []predictor, s sample, unit string, y []float64) design {
	d := design{sample: s, through: !m.HasIntercept()}
	maker := &blockMaker{predictors: predictors, sample: s, unit: unit, cluster: m.ClusterColumn(), main: map[string]*block{}}
	made := make([]*block, len(m.Terms))
	for pass := range 2 { // interactions last: their parts take the forms of the main terms
		for i, t := range m.Terms {
			if (pass == 1) != (len(t.Interaction) > 0) {
				continue
			}
			block, err := maker.make(t, false)
			var alone oneLevelError
			switch {
			case errors.Is(err, errNotYet):
				block, err = maker.choose(t, made, y)
			case errors.As(err, &alone):
				d.absent = append(d.absent, coefficient{name: t.Label(), unit: unitOf(unit), note: alone.column + ": " + alone.Error()})
				continue
			}
			if err != nil {
				d.refused = err.Error()
				return d
			}
			made[i] = block
			if len(t.Interaction) == 0 {
				maker.main[t.Column] = block
			}
		}
	}
	d.blocks = slices.DeleteFunc(made, func(b *block) bool { return b == nil })
	if missing := withoutMain(m); missing != "" {
		d.notes = append(d.notes, missing)
	}
	d.assemble(unit)
	return d
}

// assemble puts the columns of the blocks side by side.
func (d *design) assemble(unit string) {
	d.matrix = regress.NewDesign(!d.through)
	d.columns, d.first = nil, nil
	if !d.through {
		d.columns = []coefficient{{name: regress.Intercept, unit: unitOf(unit)}}
	}
	for _, b := range d.blocks {
		d.first = append(d.first, len(d.columns))
		if err := b.addTo(d.matrix, d.sample); err != nil {
			d.refused = err.Error()
			return
		}
		d.columns = append(d.columns, b.columns...)
	}
}

// on is the same design on other rows: with the knots, centres and powers that
// it has.
func (d design) on(s sample, unit string) design {
	d.sample = s
	d.assemble(unit)
	return d
}

func (b *block) addTo(matrix *regress.Design, s sample) error {
	if b.variable != nil {
		matrix.AddPolynomial(b.label, b.variable(s), b.degree)
		return nil
	}
	var names []string
	for _, c := range b.columns {
		names = append(names, c.name)
	}
	if b.basis != nil {
		matrix.AddSplineTerm(b.label, names, s.numbers[b.term.Column], b.basis)
		return nil
	}
	if b.levels != nil {
		matrix.AddFactor(b.label, names, s.codes[b.term.Column], b.levels)
		return nil
	}
	columns, err := b.at(s)
	if err != nil {
		return fmt.Errorf("%s: %w", b.label, err)
	}
	matrix.AddTerm(b.label, names, columns)
	return nil
}

// choose picks the powers of a fractional polynomial by least deviance beside
// the terms that are made already.
func (m *blockMaker) choose(t schema.Term, made []*block, y []float64) (*block, error) {
	beside := regress.NewDesign(true)
	for _, b := range made {
		if b != nil {
			if err := b.addTo(beside, m.sample); err != nil {
				return nil, err
			}
		}
	}
	terms := max(t.Degree, 1)
	if t.Degree == 0 {
		terms = 2
	}
	best, all, err := regress.SelectFractional(beside, t.Column, m.sample.numbers[t.Column], y, nil, terms)
	if err != nil {
		return nil, fmt.Errorf("%s: no fractional polynomial: %w", t.Column, err)
	}
	note := fmt.Sprintf("powers chosen by least deviance among %d; the errors take them as known", len(all))
	return m.fractionalOf(t, best, note)
}

// withoutMain names columns that interact without a term of their own: the
// coefficients of the interaction then mean something else.
func withoutMain(m schema.Model) string {
	var missing []string
	for _, t := range m.Terms {
		for _, part := range t.Interaction {
			has := slices.ContainsFunc(m.Terms, func(o schema.Term) bool { return o.Column == part.Column })
			if !has && !slices.Contains(missing, part.Column) {
				missing = append(missing, part.Column)
			}
		}
	}
	note := ""
	for _, name := range missing {
		note = join(note, name+" interacts without a term of its own")
	}
	return note
}

// columnsOf lists the columns of the design that a block has.
func (d design) columnsOf(i int) []int {
	out := make([]int, len(d.blocks[i].columns))
	for k := range out {
		out[k] = d.first[i] + k
	}
	return out
}

// row computes the model matrix at the values of s: by point, by column.
func (d design) rows(s sample) ([][]float64, error) {
	out := make([][]float64, s.n)
	for i := range out {
		out[i] = make([]float64, len(d.columns))
		if !d.through {
			out[i][0] = 1
		}
	}
	for b, block := range d.blocks {
		columns, err := block.at(s)
		if err != nil {
			return nil, err
		}
		for k, column := range columns {
			for i, v := range column {
				out[i][d.first[b]+k] = v
			}
		}
	}
	return out, nil
}
