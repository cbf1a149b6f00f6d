package release

import (
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/schema/published"
)

// needing names the variable that a row is about: of an equation or a model beside
// a published one those who have all that it needs.
func (c *checker) needing(f *schema.Frame, row int) string {
	variable := f.TextAt(row, "variable")
	if f.Table.Name != comparisonTable {
		return variable
	}
	set, err := c.source(f.TextAt(row, "published"))
	if err != nil {
		return variable
	}
	switch set.Kind {
	case published.Equations:
		return c.needOfEquation(set, variable, f.TextAt(row, "sex"))
	case published.Coefficients:
		return c.needOfModel(set, variable)
	}
	return variable
}

// need is a variable that people have who have all that something needs.
type need struct {
	variable string
	has      func(row int32) bool // of a row of the visits
	z        func(row int32) float64
}

const needPrefix = "\x00need:"

func (c *checker) needOfEquation(set published.Set, variable, sex string) string {
	name := needPrefix + set.Name + ":" + variable + ":" + sex
	if _, known := c.needs[name]; known {
		return name
	}
	at := slices.IndexFunc(set.Equations, func(e published.Equation) bool { return e.Variable == variable && e.Sex == sex })
	if at < 0 {
		return variable
	}
	e := set.Equations[at]
	cells, ok := c.cellsOf(append(e.Columns(), variable))
	if !ok {
		return variable
	}
	c.needs[name] = need{variable: variable,
		has: func(row int32) bool {
			cells.row = row
			mean, _ := e.Predict(cells)
			return !math.IsNaN(e.Scale.To(cells.Number(variable))) && !math.IsNaN(e.Scale.From(mean))
		},
		z: func(row int32) float64 {
			cells.row = row
			mean, sd := e.Predict(cells)
			return (e.Scale.To(cells.Number(variable)) - mean) / sd
		}}
	return name
}

func (c *checker) needOfModel(set published.Set, variable string) string {
	name := needPrefix + set.Name + ":" + variable
	if _, known := c.needs[name]; known {
		return name
	}
	var terms []published.Term
	columns := []string{variable}
	for _, t := range set.Coefficients {
		absent := slices.ContainsFunc(t.Term.Columns(), func(n string) bool { return !c.Visits.Has(n) })
		if t.Variable == variable && !absent { // a term without its column is left out of the model
			terms, columns = append(terms, t.Term), append(columns, t.Term.Columns()...)
		}
	}
	cells, ok := c.cellsOf(columns)
	if !ok {
		return variable
	}
	c.needs[name] = need{variable: variable, has: func(row int32) bool {
		cells.row = row
		return !math.IsNaN(cells.Number(variable)) && !slices.ContainsFunc(terms, func(t published.Term) bool { return math.IsNaN(t.Value(cells)) })
	}}
	return name
}

// personCells gives the cells of a row of the visits to published terms.
type personCells struct {
	row     int32
	numbers map[string][]float64
	labels  map[string]schema.Labels
}

func (p *personCells) Number(column string) float64 {
	if cells, ok := p.numbers[column]; ok {
		return cells[p.row]
	}
	return math.NaN()
}

func (p *personCells) Level(column string) string {
	if cells, ok := p.labels[column]; ok {
		return cells.At(int(p.row))
	}
	return ""
}

// cellsOf makes columns ready; ok is false where one is not there.
func (c *checker) cellsOf(columns []string) (*personCells, bool) {
	p := &personCells{numbers: map[string][]float64{}, labels: map[string]schema.Labels{}}
	for _, name := range columns {
		switch {
		case !c.Visits.Has(name):
			return nil, false
		case c.Visits.Column(name).Numeric():
			p.numbers[name] = c.Visits.Numbers(name)
		default:
			p.labels[name] = c.Visits.Labels(name)
		}
	}
	return p, true
}
