package regress

import "slices"

// rowMemory is what a fit holds of its own for each row.
type rowMemory struct{ residuals, leverages []float64 }

// spareRows has the memory of the fit whose rows were dropped last: who fits completed
// copies in turn needs one alone.
var spareRows spare[rowMemory]

// leverageMemory has a number for each row.
func (f *Model) leverageMemory() []float64 {
	if f.rows == nil {
		return make([]float64, f.N)
	}
	f.rows.leverages = resized(f.rows.leverages, f.N)
	return f.rows.leverages
}

// dropRows drops what the model holds of single rows. Coefficients, tests and
// covariances that were estimated before stay; none can be estimated after.
func (f *Model) dropRows() {
	d := *f.design // tests still ask for its intercept and polynomials
	d.columns, d.polynomials = make([]column, len(d.columns)), slices.Clone(d.polynomials)
	for i := range d.polynomials {
		d.polynomials[i].x = nil
	}
	if f.rows != nil {
		spareRows.give(f.rows)
		f.rows = nil
	}
	f.design, f.outcome, f.weights, f.working, f.leverages = &d, nil, nil, nil, nil
}

// DropRows gives the memory of single rows back: residuals, outcome and design.
// Coefficients, tests and covariances that were estimated before stay; none can
// be estimated after. Residuals and leverages that were taken from the fit are not
// to be used any more: the next fit may stand in their place.
func (f *Fit) DropRows() {
	f.dropRows()
	f.Residuals = nil
}

// DropRows gives the memory of single rows back, as that of Fit does.
func (q *QuantileFit) DropRows() {
	q.dropRows()
	q.Residuals, q.objectiveWeights, q.start = nil, nil, nil
}

// DropRows gives the memory of single rows back, as that of Fit does; Separated
// stays.
func (f *BinaryFit) DropRows() {
	f.dropRows()
	f.Fitted, f.prior = nil, nil
}

// DropRows gives the memory of single rows back, as that of Fit does.
func (f *MixedFit) DropRows() {
	f.dropRows()
	f.Residuals = nil
}
