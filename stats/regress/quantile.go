package regress

import (
	"errors"
	"fmt"
	"slices"
)

// QuantileFit is a fit of a conditional quantile.
type QuantileFit struct {
	Model

	Tau       float64
	Objective float64   // Σ weight·residual·(τ − [residual < 0]), the least possible
	Residuals []float64 // outcome − fitted
	Basis     []int     // rows that determine the coefficients: as many as the rank, each fitted exactly
	Unique    bool      // false where other coefficients are found to be as good
	Steps     int       // exchanges of a basis row

	objectiveWeights []float64
	start            *Model // least squares, from which searches set out
}

// Quantile fits the tau-quantile of y given the columns of d: the coefficients
// minimise Σ w·r·(τ − [r < 0]) exactly and lie at a vertex, where as many rows as
// coefficients are fitted without error (Koenker and Bassett 1978, Econometrica
// 46:33-50). Where the minimum is an edge or a face, one of its vertices is
// returned, Unique is false and a Warning says so. weights may be nil; rows count
// weights[i] > 0 times.
func Quantile(d *Design, y, weights []float64, tau float64) (*QuantileFit, error) {
	if !(tau > 0 && tau < 1) {
		return nil, fmt.Errorf("regress: quantile %v is not between 0 and 1", tau)
	}
	d, err := checkOutcome(d, y, weights)
	if err != nil {
		return nil, err
	}
	base := decompose(d, y, nil)
	base.refine(y)
	return quantileFrom(base, weights, tau, nil)
}

// quantileFrom fits from a least-squares start; basis may hold the rows of a
// nearby solution. The start is not changed.
func quantileFrom(start *Model, weights []float64, tau float64, basis []int) (*QuantileFit, error) {
	room := make([]float64, start.N)
	q, search, err := quantilePlane(start, weights, tau, basis, room)
	if err != nil {
		return nil, err
	}
	flat := search.flat()
	search.release()
	if flat {
		q.Unique = false
		q.warn(WarnNonUnique, "other coefficients are as good: the quantile lies between observations", nil, nil)
	}
	q.residualsInto(room, q.outcome)
	q.working, q.Residuals = room, room
	q.takeBack()
	q.Objective = q.sum(func(from, to int) float64 {
		var part float64
		for i := from; i < to; i++ {
			r := q.Residuals[i]
			if weights != nil {
				r = float64(r * weights[i])
			}
			if r < 0 {
				part += float64(r * (tau - 1))
			} else {
				part += float64(r * tau)
			}
		}
		return part
	})
	return q, nil
}

// quantilePlane finds the fitted coefficients alone. room has a number for each
// row, which the search uses.
func quantilePlane(start *Model, weights []float64, tau float64, basis []int, room []float64) (*QuantileFit, *quantileSearch, error) {
	q := &QuantileFit{Model: *start, Tau: tau, objectiveWeights: weights, Unique: true, start: start}
	q.Warnings = slices.Clone(start.Warnings)
	q.coordinates = slices.Clone(start.coordinates)
	if q.Rank == 0 {
		return nil, nil, errors.New("regress: no column can be fitted")
	}
	search := newQuantileSearch(q, start.working, room)
	if err := search.run(basis); err != nil {
		return nil, nil, err
	}
	q.Basis = search.basisRows()
	q.Steps = search.steps
	slices.Sort(q.Basis)
	q.exactCoefficients(q.outcome)
	return q, search, nil
}

// exactCoefficients solves the square system of the basis rows. Where these are
// too nearly dependent the coefficients of the search stand.
func (q *QuantileFit) exactCoefficients(y []float64) {
	sub := *q.design
	sub.largest = nil
	sub.columns = make([]column, len(q.design.columns))
	outcome := make([]float64, len(q.Basis))
	for k, i := range q.Basis {
		outcome[k] = y[i]
	}
	scales := make([]float64, len(q.active))
	r := q.design.reader()
	for k, j := range q.active {
		scales[k] = 1
		if q.design.columns[j].constant() {
			continue
		}
		values := make([]float64, 0, len(q.Basis))
		for part := range slices.Chunk(q.Basis, blockRows) {
			values = append(values, r.pick([]int{j}, part, newBlock(1, len(part)))[0]...)
		}
		sub.columns[j], scales[k] = column{values: values}, powerOfTwoScale(largestMagnitude(values))
	}
	square := &Model{N: len(q.Basis), design: &sub}
	block := newBlock(q.Rank+1, len(q.Basis))
	rows := square.load(sub.reader(), block, q.active, scales, 0, len(q.Basis))
	copy(block[q.Rank], outcome)
	t := newTriangle(q.Rank + 1)
	t.fold(append(rows, block[q.Rank]))
	active, reduced := t.ranked(nil)
	if len(active) < q.Rank {
		return
	}
	square.Rank, square.active, square.scales = q.Rank, q.active, scales
	square.r = reduced[:q.Rank]
	square.ConditionNumber = conditionNumber(square.r)
	square.coordinates = nil
	for k, v := range square.r.solve(reduced[q.Rank], q.Rank) {
		square.coordinates = append(square.coordinates, doubleDouble{hi: v * scales[k]})
	}
	square.refine(outcome)
	q.coordinates = square.coordinates
}
