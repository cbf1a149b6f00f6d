package centile

// rows are the observations in the space of a basis, four weights each.
type rows struct {
	basis
	places []place
}

func newRows(b basis, x []float64) *rows {
	r := &rows{basis: b, places: make([]place, len(x))}
	for i, v := range x {
		r.places[i] = placeOf(b.knots, v)
	}
	return r
}

// curve evaluates the curve through values at every observation.
func (r *rows) curve(values, out []float64) {
	both := append(append(make([]float64, 0, 2*len(values)), values...), bendsOf(r.knots, values)...)
	for i := range r.places {
		p := &r.places[i]
		out[i] = p.dot([4]float64{both[p.at[0]], both[p.at[1]], both[p.at[2]], both[p.at[3]]})
	}
}

// sums returns for each knot the sum over observations of weight times the
// curve of the knot.
func (r *rows) sums(weight []float64) []float64 {
	k := len(r.knots)
	both := make([]float64, 2*k)
	for i := range r.places {
		p := &r.places[i]
		for j, w := range p.weight {
			both[p.at[j]] += float64(w * weight[i])
		}
	}
	out := both[:k:k]
	for j := range out {
		for m, bend := range r.bends[j] {
			out[j] += float64(bend * both[k+m])
		}
	}
	return out
}

// products returns for each pair of knots of two bases the sum over observations
// of weight times both curves.
func products(a, b *rows, weight []float64) [][]float64 {
	ka, kb := len(a.knots), len(b.knots)
	both := newMatrix(2*ka, 2*kb)
	for i := range a.places {
		p, q := &a.places[i], &b.places[i]
		for j, w := range p.weight {
			w = float64(w * weight[i])
			row := both[p.at[j]]
			row[q.at[0]] += float64(w * q.weight[0])
			row[q.at[1]] += float64(w * q.weight[1])
			row[q.at[2]] += float64(w * q.weight[2])
			row[q.at[3]] += float64(w * q.weight[3])
		}
	}
	half := newMatrix(2*ka, kb)
	for r, row := range both {
		for c := range half[r] {
			half[r][c] = row[c]
			for m, bend := range b.bends[c] {
				half[r][c] += float64(bend * row[kb+m])
			}
		}
	}
	out := newMatrix(ka, kb)
	for r := range out {
		copy(out[r], half[r])
		for m, bend := range a.bends[r] {
			for c := range out[r] {
				out[r][c] += float64(bend * half[ka+m][c])
			}
		}
	}
	return out
}
