package release

import (
	"tonocohort/schema"
	"tonocohort/stats/centile"
)

const (
	parametersTable = "centile_parameters"
	valueAtKnot     = "value_at_knot"
)

// narrowed returns the parameters of centiles with the knots of every curve
// inside the ages that are released: the outermost of a fit are the ages of the
// youngest and the oldest person. A curve is read at each year, which leaves it as
// it is but for what its straight ends change, far below the digits of a
// measurement; a straight line is kept by its ends.
func (c *checker) narrowed(f *schema.Frame) *schema.Frame {
	out := schema.NewFrame(f.Table, f.N)
	for from := 0; from < f.N; {
		to := from + 1
		for to < f.N && sameCurve(f, from, to) {
			to++
		}
		span := c.spanOf(f, from)
		curve, err := curveOf(f, from, to)
		if !span.ok || f.TextAt(from, "statistic") != valueAtKnot || err != nil {
			for row := from; row < to; row++ {
				out.CopyRow(out.AddRow(), f, row)
			}
		} else {
			writeCurve(out, f, from, curve, span)
		}
		from = to
	}
	return out
}

// sameCurve reports rows of one parameter of one reference.
func sameCurve(f *schema.Frame, a, b int) bool {
	for _, column := range f.Table.Columns {
		if column.Textual() && column.Name != "note" && f.TextAt(a, column.Name) != f.TextAt(b, column.Name) {
			return false
		}
	}
	return true
}

func curveOf(f *schema.Frame, from, to int) (centile.Curve, error) {
	return centile.NewCurve(f.Numbers("age_years")[from:to], f.Numbers("estimate")[from:to])
}

func writeCurve(out, f *schema.Frame, from int, curve centile.Curve, span ageRange) {
	step := 1.0
	low := max(span.low, curve.Knots[0])
	high := min(span.high+1, curve.Knots[len(curve.Knots)-1])
	if len(curve.Knots) == 2 {
		step = high - low
	}
	for position := 0; ; position++ {
		age := low + float64(step*float64(position))
		last := age >= high
		if last {
			age = high
		}
		row := out.AddRow()
		out.CopyRow(row, f, from)
		out.SetNumber(row, "position", float64(position))
		out.SetNumber(row, "age_years", age)
		out.SetNumber(row, "estimate", curve.At(age))
		if last {
			return
		}
	}
}
