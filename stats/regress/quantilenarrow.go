package regress

import (
	"math"
	"slices"
)

// narrow finds the optimum of the whole from a nearby basis: rows far from the
// plane stay outside with the side they lie on; the others are walked over;
// rows that turn out to lie on the other side join, until none does.
func (s *quantileSearch) narrow(basis []int) error {
	f := s.fit
	near := s.activate(basis)
	near.basis = allColumns(len(basis))
	if !near.settle() {
		return s.solve(allColumns(f.N), nil)
	}
	r := s.room
	s.residuals(near.b, r)
	limit := s.band(r)
	s.memory.active, s.memory.above = resized(s.memory.active, f.N), resized(s.memory.above, f.N)
	active, side := s.memory.active, s.memory.above
	clear(active)
	rows := make([]int, 0, s.most())
	for i := range r {
		if math.Abs(r[i]) <= limit {
			active[i] = true
		}
	}
	for _, i := range basis {
		active[i] = true
	}
	for i, v := range r {
		side[i] = v > 0
		if active[i] {
			rows = append(rows, i)
		}
	}
	for {
		v := s.activate(rows)
		v.outside = s.outsidePull(active, side)
		v.basis = positions(rows, basis)
		v.descend(searchSteps)
		s.steps += v.steps
		s.walk = v
		basis = s.basisRows()
		s.residuals(v.b, r)
		added := false
		if v.stuck != nil {
			rows = s.widen(v, r, active, rows)
			slices.Sort(rows)
			continue
		}
		if err := s.check(v); err != nil {
			return err
		}
		for i, x := range r {
			if !active[i] && (x > 0 != side[i] || math.Abs(x) <= v.zero) {
				active[i] = true
				rows = append(rows, i)
				added = true
			}
		}
		if !added {
			return nil
		}
		slices.Sort(rows)
	}
}

// widen activates the rows that stop a walk along a direction in which no active
// row does, as happens with a rare level whose few rows lie far from the plane.
func (s *quantileSearch) widen(v *vertex, r []float64, active []bool, rows []int) []int {
	z := make([]float64, len(r))
	s.along(v.stuck, z)
	var found []crossing
	for i := range r {
		if at := r[i] / z[i]; !active[i] && at > 0 && !math.IsInf(at, 0) {
			weight := math.Abs(z[i])
			if s.fit.objectiveWeights != nil {
				weight *= s.fit.objectiveWeights[i]
			}
			found = append(found, crossing{row: i, at: at, weight: weight})
		}
	}
	if len(found) == 0 { // only rounding speaks for this direction
		for i := range active {
			active[i] = true
		}
		return allColumns(len(active))
	}
	limit := turningPoint(found, -v.slopeDown)
	for _, c := range found {
		if c.at <= limit {
			active[c.row] = true
			rows = append(rows, c.row)
		}
	}
	return rows
}

// band is the distance from the plane within which rows are walked over.
func (s *quantileSearch) band(r []float64) float64 {
	size := min(len(r), 3*s.partSize()/2)
	part := make([]float64, 0, 1<<14)
	step := max(1, len(r)/(1<<14))
	for i := 0; i < len(r); i += step {
		part = append(part, math.Abs(r[i]))
	}
	slices.Sort(part)
	return part[min(len(part)-1, size*len(part)/len(r))]
}

// positions finds each row of basis in the ascending rows.
func positions(rows, basis []int) []int {
	out := make([]int, len(basis))
	for k, i := range basis {
		out[k], _ = slices.BinarySearch(rows, i)
	}
	return out
}

// residuals fills r with the distances of all rows from the plane b, given in
// orthonormal coordinates on top of least squares.
func (s *quantileSearch) residuals(b, r []float64) {
	copy(r, s.y)
	s.subtract(b, r)
}

// along fills z with the change of the fitted values along a direction.
func (s *quantileSearch) along(direction, z []float64) {
	clear(z)
	s.subtract(direction, z)
	for i := range z {
		z[i] = -z[i]
	}
}

// subtract takes the fitted values of b from r.
func (s *quantileSearch) subtract(b, r []float64) {
	f := s.fit
	coefficients := make([]float64, f.Rank)
	for m := range b {
		axpy(b[m], f.inverse[m][:m+1], coefficients[:m+1])
	}
	for k := range coefficients {
		coefficients[k] *= f.scales[k]
	}
	columns := f.design.reader()
	for from := 0; from < f.N; from += blockRows {
		to := min(from+blockRows, f.N)
		for k, j := range f.active {
			if column := columns.at(j, from, to); column != nil {
				axpy(-coefficients[k], column, r[from:to])
				continue
			}
			for i := from; i < to; i++ {
				r[i] -= coefficients[k]
			}
		}
	}
}

// outsidePull is Σ w·ψ·q over the rows that are not active.
func (s *quantileSearch) outsidePull(active, side []bool) []float64 {
	f := s.fit
	sums := make([]float64, f.Rank)
	psi, columns := make([]float64, blockRows), f.design.reader()
	for from := 0; from < f.N; from += blockRows {
		to := min(from+blockRows, f.N)
		for i := from; i < to; i++ {
			p := f.Tau - 1
			if side[i] {
				p = f.Tau
			}
			if active[i] {
				p = 0
			}
			if f.objectiveWeights != nil {
				p = float64(p * f.objectiveWeights[i])
			}
			psi[i-from] = p
		}
		for k, j := range f.active {
			if column := columns.at(j, from, to); column != nil {
				sums[k] += dot(psi[:to-from], column)
				continue
			}
			for _, p := range psi[:to-from] {
				sums[k] += p
			}
		}
	}
	for k := range sums {
		sums[k] *= f.scales[k]
	}
	out := make([]float64, f.Rank) // in orthonormal coordinates
	for m := range out {
		out[m] = dot(f.inverse[m][:m+1], sums[:m+1])
	}
	return out
}
