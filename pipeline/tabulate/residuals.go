package tabulate

import (
	"iter"
	"math"

	"tonocohort/schema"
	"tonocohort/stats/regress"
)

// residualRows is how many rows of the table of residuals are made at a time.
const residualRows = 1 << 14

// Residuals is the table of what each row counts in each model. It has as many rows
// as the models have people, so its cells are made piece by piece from what they
// follow from.
type Residuals struct {
	visits *schema.Frame
	models []fittedRows
}

// fittedRows is what the rows of one model are made from.
type fittedRows struct {
	model     schema.Model
	note      string
	rows      []int32 // of the table of visits; nil: all
	persons   int
	observed  []float64
	residual  []float64
	leverage  []float64               // nil where the kind of model has none
	weights   []float64               // nil: all one
	influence *regress.InfluenceScale // nil where the kind of model has none
}

// ModelResiduals are the residuals of one model, by row.
type ModelResiduals struct {
	Set, Variable, Model                     string
	Persons                                  int
	Observed, Fitted, Residual, Standardised []float64 // Standardised: NaN where a row has none
}

// row is the row of the table of visits.
func (f *fittedRows) row(i int) int {
	if f.rows == nil {
		return i
	}
	return int(f.rows[i])
}

// measures computes the influence of rows from … to−1 into m.
func (f *fittedRows) measures(from, to int, m regress.Influence) {
	var weights []float64
	if f.weights != nil {
		weights = f.weights[from:to]
	}
	f.influence.Measure(f.residual[from:to], f.leverage[from:to], weights, m)
	for _, x := range [][]float64{m.Standardised, m.Studentised, m.Cook, m.DFFITS} {
		for i, v := range x {
			x[i] = finite(v)
		}
	}
}

// Each calls visit with the rows of the table, some at a time, in a frame that is
// used again.
func (r Residuals) Each(visit func(*schema.Frame) error) error {
	frame := schema.NewFrame(schema.ResidualsTable(), residualRows)
	for i := range r.models {
		f := &r.models[i]
		subjects, visits := r.visits.Labels("subject_id"), r.visits.Labels("visit_id")
		if err := r.visits.Err(); err != nil {
			return err
		}
		for from := 0; from < len(f.residual); from += residualRows {
			to := min(from+residualRows, len(f.residual))
			if from == 0 || to-from < frame.N {
				f.start(frame, to-from)
			}
			f.fill(frame, from, to)
			for name, labels := range map[string]schema.Labels{"subject_id": subjects, "visit_id": visits} {
				cells := frame.Texts(name)
				for i := range cells {
					cells[i] = labels.At(f.row(from + i))
				}
			}
			if err := visit(frame); err != nil {
				return err
			}
		}
	}
	return nil
}

// start makes so many rows with what is the same in all of the model.
func (f *fittedRows) start(frame *schema.Frame, rows int) {
	frame.Clear()
	frame.AddRows(rows)
	for name, text := range map[string]string{"set": f.model.Set, "variable": f.model.Outcome, "model": f.model.Name, "note": f.note} {
		cells := frame.Texts(name)
		for i := range cells {
			cells[i] = text
		}
	}
}

// fill fills in what differs, but for the keys.
func (f *fittedRows) fill(frame *schema.Frame, from, to int) {
	observed, residual, fitted := frame.Numbers("observed"), frame.Numbers("residual"), frame.Numbers("fitted")
	copy(observed, f.observed[from:to])
	copy(residual, f.residual[from:to])
	for i := range fitted {
		fitted[i] = observed[i] - residual[i]
	}
	if f.leverage != nil {
		copy(frame.Numbers("leverage"), f.leverage[from:to])
	}
	if f.influence != nil {
		f.measures(from, to, regress.Influence{Standardised: frame.Numbers("standardised"), Studentised: frame.Numbers("studentised"),
			Cook: frame.Numbers("cook"), DFFITS: frame.Numbers("dffits")})
	}
}

// Models are the residuals of one model after the other.
func (r Residuals) Models() iter.Seq[ModelResiduals] {
	return func(yield func(ModelResiduals) bool) {
		for i := range r.models {
			f := &r.models[i]
			n := len(f.residual)
			out := ModelResiduals{Set: f.model.Set, Variable: f.model.Outcome, Model: f.model.Name, Persons: f.persons,
				Observed: f.observed, Residual: f.residual, Fitted: make([]float64, n), Standardised: make([]float64, n)}
			for i := range n {
				out.Fitted[i], out.Standardised[i] = f.observed[i]-f.residual[i], math.NaN()
			}
			if f.influence != nil {
				f.measures(0, n, regress.Influence{Standardised: out.Standardised})
			}
			if !yield(out) {
				return
			}
		}
	}
}

// influence keeps what the table of residuals has of a model.
func (m *modeller) influence(f fitted, p problem, s solution, rows []int32) {
	out := fittedRows{model: f.model, rows: rows, observed: p.y, persons: m.c.personsIn(rows)}
	if everyRow(rows, m.c.frame.N) {
		out.rows = nil
	}
	switch {
	case s.least != nil:
		scale := s.least.InfluenceScale()
		out.influence, out.weights = &scale, p.weights
		out.leverage, out.residual = s.Leverages(), s.least.Residuals
	case s.quantile != nil:
		out.residual = s.quantile.Residuals
	case s.binary != nil:
		out.leverage, out.residual = s.Leverages(), make([]float64, len(p.y))
		for i, y := range p.y {
			out.residual[i] = y - s.binary.Fitted[i]
		}
	case s.mixed != nil:
		out.residual = s.mixed.Residuals
		out.note = "fitted holds the predicted deviation of the cluster"
	}
	m.residuals.models = append(m.residuals.models, out)
}

// personsIn counts the persons of the rows.
func (c *cohort) personsIn(rows []int32) int {
	seen, n := make([]bool, c.persons), 0
	for _, row := range rows {
		if at := &seen[c.subject[row]]; !*at {
			*at = true
			n++
		}
	}
	return n
}
