package regress

import "slices"

// dropRows drops what the model holds of single rows. Coefficients, tests and
// covariances that were estimated before stay; none can be estimated after.
func (f *Model) dropRows() {
	d := *f.design // tests still ask for its intercept and polynomials
	d.columns, d.polynomials = make([]column, len(d.columns)), slices.Clone(d.polynomials)
	for i := range d.polynomials {
		d.polynomials[i].x = nil
	}
	f.design, f.outcome, f.weights, f.working, f.leverages = &d, nil, nil, nil, nil
}

// DropRows gives the memory of single rows back: residuals, outcome and design.
// Coefficients, tests and covariances that were estimated before stay; none can
// be estimated after.
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
