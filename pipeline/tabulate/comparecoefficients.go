package tabulate

import (
	"fmt"
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/schema/published"
	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// compareCoefficients fits the published model to the cohort, with the terms
// that it has columns for, and sets the coefficients side by side.
func (p *comparer) compareCoefficients() {
	var variables []string
	for _, c := range p.source.Coefficients {
		if !slices.Contains(variables, c.Variable) {
			variables = append(variables, c.Variable)
		}
	}
	for _, variable := range variables {
		if !p.numberColumn(variable) {
			p.unused(variable, variable)
			continue
		}
		p.compareModel(variable)
	}
}

// usable lists the coefficients of a variable whose columns the cohort has, and
// the terms of the others.
func (p *comparer) usable(variable string) (present []published.Coefficient, absent []string) {
	for _, c := range p.source.Coefficients {
		if c.Variable != variable {
			continue
		}
		missing := ""
		for _, column := range c.Term.Columns() {
			if !p.c.frame.Has(column) {
				missing = column
			}
		}
		if missing == "" {
			present = append(present, c)
			continue
		}
		absent = append(absent, c.Term.Text)
		p.unused(variable, missing)
	}
	return present, absent
}

func (p *comparer) compareModel(variable string) {
	terms, absent := p.usable(variable)
	note := p.traps.general(variable)
	for _, term := range absent {
		note = join("the published model has the term "+term+", this one has not", note)
	}
	x, y, cluster, missing := p.modelRows(variable, terms)
	at := comparisonRow{variable: variable, sex: everyLevel, band: everyLevel, n: len(y), missing: missing, publishedN: p.source.People, published: math.NaN()}
	refuse := func(why string) {
		p.write(at, stats.Result{Statistic: "coefficient", Estimate: math.NaN(), Method: "least_squares", Unit: "1", Note: join("not fitted: "+why, note)}, stats.Interval{})
	}
	if len(terms) == 0 || len(y) <= len(terms)+1 {
		refuse(fmt.Sprintf("%d complete rows for %d terms", len(y), len(terms)))
		return
	}
	d := regress.NewDesign(true)
	for i, c := range terms {
		d.Add(c.Term.Text, x[i])
	}
	fit, err := regress.OLS(d, y, nil)
	if err != nil {
		refuse(err.Error())
		return
	}
	var covariance *regress.Covariance
	errors := schema.HC3Errors
	if p.c.repeated {
		errors = "cluster_cr2"
		covariance, err = fit.ClusterCovariance(regress.CR2, cluster)
	} else {
		covariance, err = fit.Covariance(regress.HC3)
	}
	if err != nil {
		refuse(err.Error())
		return
	}
	table := fit.CoefficientTable(covariance, confidence)
	for i, c := range terms {
		p.writeCoefficient(at, c, table[i+1], errors, note)
	}
}

// modelRows gathers the complete rows: the terms by column, the outcome and the
// number of the person.
func (p *comparer) modelRows(variable string, terms []published.Coefficient) (x [][]float64, y []float64, person []int, missing int) {
	var columns []string
	for _, c := range terms {
		columns = append(columns, c.Term.Columns()...)
	}
	r := p.c.cellsFor(columns)
	outcome := p.c.frame.Numbers(variable)
	x = make([][]float64, len(terms))
	values := make([]float64, len(terms))
	for _, row := range p.set.rows {
		r.row = int(row)
		whole := !math.IsNaN(outcome[row])
		for i, c := range terms {
			values[i] = c.Term.Value(r)
			whole = whole && !math.IsNaN(values[i])
		}
		if !whole {
			missing++
			continue
		}
		for i, v := range values {
			x[i] = append(x[i], v)
		}
		y, person = append(y, outcome[row]), append(person, int(p.c.subject[row]))
	}
	return x, y, person, missing
}

// writeCoefficient writes the cohort's coefficient for the published step and
// its difference from the published one.
func (p *comparer) writeCoefficient(at comparisonRow, c published.Coefficient, row regress.Coefficient, errors, note string) {
	name := c.Term.Text
	if c.Per != 1 {
		name += "_per_" + plain(c.Per)
	}
	unit := p.c.frame.Column(c.Variable).Unit
	note = join(c.Note, note)
	method := "least_squares; errors " + errors
	at.published = c.Value
	here := c.Per * row.Estimate
	p.write(at, stats.Result{Statistic: "coefficient_" + name, Estimate: here, Method: method, Unit: unit, Note: note},
		stats.Interval{Low: c.Per * row.Low, High: c.Per * row.High, Level: confidence, Method: stats.MethodT})
	half := stats.NormalQuantile((1+confidence)/2) * math.Hypot(c.Per*row.SE, c.StandardError())
	d := here - c.Value
	interval := stats.Interval{Low: d - half, High: d + half, Level: confidence, Method: "normal, with the published error"}
	if math.IsNaN(half) {
		interval = stats.Interval{}
	}
	p.write(at, stats.Result{Statistic: "difference_of_coefficient_" + name, Estimate: d, Method: "cohort − published; " + method, Unit: unit, Note: note}, interval)
}
