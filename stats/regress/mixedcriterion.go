package regress

import "math"

// compressed holds what the likelihood of a random-intercept model needs: the
// triangle of rows about their group means, which does not depend on the variance
// components, and the group means.
type compressed struct {
	rank, df int
	within   triangle    // with the outcome as last column
	means    [][]float64 // by group: fitted columns, then the outcome
	sizes    []float64
}

func compress(f *Model, y []float64, groups [][]int) *compressed {
	c := &compressed{rank: f.Rank, df: f.DF, within: newTriangle(f.Rank + 1)}
	block := newBlock(f.Rank+1, blockRows)
	filled := 0
	flush := func() {
		rows := make([][]float64, len(block))
		for k := range block {
			rows[k] = block[k][:filled]
		}
		c.within.fold(rows)
		filled = 0
	}
	columns := make([][]float64, f.Rank)
	for k, j := range f.active {
		columns[k] = f.design.whole(j, f.N)
	}
	value := func(k, i int) float64 {
		switch {
		case k == f.Rank:
			return y[i]
		case columns[k] == nil:
			return f.scales[k]
		}
		return float64(columns[k][i] * f.scales[k])
	}
	for _, rows := range groups {
		mean := make([]float64, f.Rank+1)
		for k := range mean {
			first := value(k, rows[0])
			for _, i := range rows {
				mean[k] += value(k, i) - first
			}
			mean[k] = first + mean[k]/float64(len(rows))
		}
		c.means = append(c.means, mean)
		c.sizes = append(c.sizes, float64(len(rows)))
		for _, i := range rows {
			for k := range mean {
				block[k][filled] = value(k, i) - mean[k]
			}
			if filled++; filled == blockRows {
				flush()
			}
		}
	}
	flush()
	return c
}

// mixedState is the generalised least-squares solution at one ratio of the
// variance components.
type mixedState struct {
	theta     float64
	r         triangle // of the fitted columns
	inverse   triangle
	b         []float64
	rss       float64
	criterion float64 // −2 log restricted likelihood, less its constants
	slope     float64 // derivative of the criterion by theta
}

// at solves for a ratio of the variance between to that within.
func (c *compressed) at(theta float64) *mixedState {
	t := newTriangle(c.rank + 1)
	for k := range t {
		copy(t[k], c.within[k])
	}
	block := newBlock(c.rank+1, blockRows)
	for from := 0; from < len(c.means); from += blockRows {
		to := min(from+blockRows, len(c.means))
		rows := make([][]float64, len(block))
		for k := range block {
			rows[k] = block[k][:to-from]
			for g := from; g < to; g++ {
				rows[k][g-from] = c.means[g][k] * math.Sqrt(c.sizes[g]/(1+float64(c.sizes[g]*theta)))
			}
		}
		t.fold(rows)
	}
	s := &mixedState{theta: theta, r: t[:c.rank], b: t.solve(t[c.rank], c.rank), rss: float64(t[c.rank][c.rank] * t[c.rank][c.rank])}
	s.inverse = s.r.inverse(c.rank)
	s.criterion = float64(float64(c.df) * math.Log(s.rss/float64(c.df)))
	for k := range s.r {
		s.criterion += 2 * math.Log(math.Abs(s.r[k][k]))
	}
	var drop, squares float64
	for g, n := range c.sizes {
		d := 1 + float64(n*theta)
		s.criterion += math.Log(d)
		s.slope += n / d
		w := float64(n*n) / float64(d*d)
		for k := range s.inverse {
			q := dot(s.inverse[k][:k+1], c.means[g][:k+1])
			drop += float64(w * float64(q*q))
		}
		residual := c.means[g][c.rank] - dot(s.b, c.means[g][:c.rank])
		squares += float64(w * float64(residual*residual))
	}
	s.slope -= drop + float64(float64(c.df)*squares)/s.rss
	return s
}

// maximise returns the ratio of greatest restricted likelihood: the best of a
// grid, then the zero of the slope beside it.
func (c *compressed) maximise() float64 {
	grid := []float64{0}
	for e := -24; e <= 24; e++ {
		grid = append(grid, math.Pow(10, float64(e)/4))
	}
	best, least := 0, math.Inf(1)
	for k, theta := range grid {
		if v := c.at(theta).criterion; v < least {
			best, least = k, v
		}
	}
	low, high := grid[max(best-1, 0)], grid[min(best+1, len(grid)-1)]
	if best == 0 && c.at(0).slope >= 0 {
		return 0
	}
	for range 200 { // bisection, down to neighbouring numbers
		middle := low + float64((high-low)/2)
		if middle <= low || middle >= high {
			break
		}
		if c.at(middle).slope < 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

// weightedMeans is Σ weight(n)·q·qᵀ over the group means in the orthonormal
// coordinates of a solution.
func (c *compressed) weightedMeans(s *mixedState, weight func(n float64) float64) [][]float64 {
	m := newSquare(c.rank)
	q := make([]float64, c.rank)
	for g, n := range c.sizes {
		for k := range q {
			q[k] = dot(s.inverse[k][:k+1], c.means[g][:k+1])
		}
		addOuter(m, q, weight(n))
	}
	return m
}

// withinProducts is Σ q·qᵀ over the rows about their group means.
func (c *compressed) withinProducts(s *mixedState) [][]float64 {
	m := newSquare(c.rank)
	for i := range c.rank {
		row := make([]float64, c.rank) // row i of the triangle
		for k := i; k < c.rank; k++ {
			row[k] = c.within[k][i]
		}
		q := make([]float64, c.rank)
		for k := range q {
			q[k] = dot(s.inverse[k][:k+1], row[:k+1])
		}
		addOuter(m, q, 1)
	}
	return m
}

func addMatrix(m, other [][]float64) {
	for i := range m {
		axpy(1, other[i], m[i])
	}
}

func trace(m [][]float64) float64 {
	var t float64
	for i := range m {
		t += m[i][i]
	}
	return t
}

// productTrace is the trace of a·b for symmetric matrices.
func productTrace(a, b [][]float64) float64 {
	var t float64
	for i := range a {
		t += dot(a[i], b[i])
	}
	return t
}
