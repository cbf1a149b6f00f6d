package tabulate

import (
	"math"

	"tonocohort/schema/published"
	"tonocohort/stats"
)

// rowCells gives the cells of a row to published terms.
type rowCells struct {
	c   *cohort
	row int
	by  map[string]factor
	of  map[string][]float64
}

// cellsFor makes the factors of the columns with levels ready.
func (c *cohort) cellsFor(columns []string) *rowCells {
	out := &rowCells{c: c, by: map[string]factor{}, of: map[string][]float64{}}
	for _, name := range columns {
		if c.frame.Column(name).Numeric() {
			out.of[name] = c.frame.Numbers(name)
		} else {
			out.by[name] = c.factor(name)
		}
	}
	return out
}

// Number is the cell of a column of numbers; an age counts as it is.
func (r *rowCells) Number(column string) float64 {
	if cells, ok := r.of[column]; ok {
		return cells[r.row]
	}
	return math.NaN()
}

func (r *rowCells) Level(column string) string {
	if f, ok := r.by[column]; ok {
		return f.label(int32(r.row))
	}
	return ""
}

// compareEquations sets values beside those that published equations predict
// for the same people.
func (p *comparer) compareEquations() {
	for _, e := range p.source.Equations {
		absent := ""
		for _, column := range append(e.Columns(), e.Variable) {
			if !p.c.frame.Has(column) {
				absent = column
			}
		}
		if absent != "" || !p.numberColumn(e.Variable) {
			p.unused(e.Variable, absent)
			continue
		}
		p.compareEquation(e)
	}
}

// predicted is what an equation says of the people of one band.
type predicted struct {
	difference []float64 // observed − predicted
	expected   []float64
	z          []float64
	missing    int // people without a value or a predictor
}

// compareEquation writes all ages, then the age bands of the plan: an equation
// may be right on average and wrong by age.
func (p *comparer) compareEquation(e published.Equation) {
	bands := make([]predicted, len(p.c.bands.levels)+1)
	r := p.c.cellsFor(e.Columns())
	cells := p.c.frame.Numbers(e.Variable)
	for _, row := range p.set.rows {
		if !p.inStratum(row, e.Sex, p.source.AgeLow, p.source.AgeHigh) {
			continue
		}
		in := []int{0}
		if band := p.c.bands.code[row]; band >= 0 {
			in = append(in, int(band)+1)
		}
		r.row = int(row)
		x := cells[row]
		mean, sd := e.Predict(r)
		observed, expected := e.Scale.To(x), e.Scale.From(mean)
		for _, i := range in {
			b := &bands[i]
			if math.IsNaN(observed) || math.IsNaN(expected) {
				b.missing++
				continue
			}
			b.difference, b.expected = append(b.difference, x-expected), append(b.expected, expected)
			if sd > 0 {
				b.z = append(b.z, (observed-mean)/sd)
			}
		}
	}
	for i, b := range bands {
		label := everyLevel
		if i > 0 {
			label = p.c.bands.levels[i-1]
		}
		if i == 0 || len(b.difference)+b.missing > 0 {
			p.writePredicted(e, label, b)
		}
	}
}

func (p *comparer) writePredicted(e published.Equation, band string, b predicted) {
	at := comparisonRow{variable: e.Variable, sex: e.Sex, band: band, n: len(b.difference), missing: b.missing, publishedN: p.source.People}
	unit := p.c.frame.Column(e.Variable).Unit
	note := join(e.Note, p.traps.general(e.Variable))
	if p.source.AgesNote != "" {
		note = join(note, "ages of the published sample: "+p.source.AgesNote)
	}
	if p.c.repeated {
		note = join(notIndependent, note)
	}
	s := stats.Describe(b.difference)
	at.published = stats.Mean(b.expected)
	const method = "observed − predicted for the same people"
	p.write(at, stats.Result{Statistic: "mean_difference_from_equation", Estimate: s.Mean, Method: method, Unit: unit, Note: note}, p.alone(stats.MeanInterval(s, confidence)))
	p.write(at, stats.Result{Statistic: "sd_of_difference_from_equation", Estimate: s.SD, Method: method, Unit: unit, Note: note}, p.alone(stats.StandardDeviationInterval(s, confidence)))
	p.equivalence(at, stats.Difference{Estimate: s.Mean, StandardError: s.StandardError(), Degrees: float64(s.N - 1), Interval: stats.Interval{Method: stats.MethodT}}, unit, note)
	if len(e.SD) == 0 {
		return
	}
	at.missing += at.n - len(b.z)
	at.n = len(b.z)
	z := stats.Describe(b.z)
	onScale := "z on the scale " + e.Scale.Text
	at.published = 0
	p.write(at, stats.Result{Statistic: "mean_z", Estimate: z.Mean, Method: onScale, Unit: "1", Note: note}, p.alone(stats.MeanInterval(z, confidence)))
	at.published = 1
	p.write(at, stats.Result{Statistic: "sd_z", Estimate: z.SD, Method: onScale, Unit: "1", Note: note}, p.alone(stats.StandardDeviationInterval(z, confidence)))
	below, above := 0, 0
	for _, v := range b.z {
		if v < -middle {
			below++
		}
		if v > middle {
			above++
		}
	}
	at.published = 0.025
	p.beyond(at, "share_below_published_2.5", below, onScale, note)
	p.beyond(at, "share_above_published_97.5", above, onScale, note)
}
