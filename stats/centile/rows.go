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

// addProducts adds the products of observations between the same knots of either basis:
// neighbours in age have them in common, and their sixteen sums are taken up once.
func addProducts(both [][]float64, a, b []place, weight []float64) {
	rows, columns := a[0].at, b[0].at
	if rows[0] == rows[1] || columns[0] == columns[1] { // a constant: its four places are one
		for i, w := range weight {
			for j, v := range a[i].weight {
				for m, u := range b[i].weight {
					both[rows[j]][columns[m]] += float64(float64(v*w) * u)
				}
			}
		}
		return
	}
	var sums [4][4]float64
	for j, r := range rows {
		for m, c := range columns {
			sums[j][m] = both[r][c]
		}
	}
	a, b = a[:len(weight)], b[:len(weight)]
	for i, w := range weight {
		u := &b[i].weight
		for j, v := range a[i].weight {
			v = float64(v * w)
			s := &sums[j]
			s[0] += float64(v * u[0])
			s[1] += float64(v * u[1])
			s[2] += float64(v * u[2])
			s[3] += float64(v * u[3])
		}
	}
	for j, r := range rows {
		for m, c := range columns {
			both[r][c] = sums[j][m]
		}
	}
}

// products returns for each pair of knots of two bases the sum over observations
// of weight times both curves.
func products(a, b *rows, weight []float64) [][]float64 {
	ka, kb := len(a.knots), len(b.knots)
	both := newMatrix(2*ka, 2*kb)
	for from := 0; from < len(a.places); {
		to := from + 1
		for p, q := &a.places[from], &b.places[from]; to < len(a.places) && a.places[to].at == p.at && b.places[to].at == q.at; {
			to++
		}
		addProducts(both, a.places[from:to], b.places[from:to], weight[from:to])
		from = to
	}
	half := newMatrix(2*ka, kb)
	for r, row := range both {
		sums := half[r]
		copy(sums, row)
		for m, v := range row[kb:] {
			if v == 0 { // nearly everywhere: only neighbours in age have products
				continue
			}
			for c, bend := range b.across[m] {
				sums[c] += float64(bend * v)
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
