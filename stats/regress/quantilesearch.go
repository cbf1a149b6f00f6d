package regress

import (
	"errors"
	"math"
	"slices"

	"tonocohort/stats"
)

// Sizes of the search: up to smallSearch rows are walked over whole; more are
// first narrowed down by a pseudo-random part of them.
const (
	smallSearch = 3000
	searchSteps = 20000
)

// quantileSearch finds the optimal basis of a quantile regression on outcomes
// from which the least-squares fit has been taken.
type quantileSearch struct {
	fit    *QuantileFit
	y      []float64 // residuals of least squares
	room   []float64 // for as many
	steps  int
	walk   *vertex
	memory *walkMemory
}

// walkMemory is what walks use one after the other: a fit with its errors walks
// several times over a good part of the rows.
type walkMemory struct {
	q, y, weight, r, side []float64
	inBasis               []bool
	found                 []crossing
	active, above         []bool // by row of the whole
}

// spareWalk has the memory of the last search.
var spareWalk spare[walkMemory]

func newQuantileSearch(fit *QuantileFit, residuals, room []float64) *quantileSearch {
	return &quantileSearch{fit: fit, y: residuals, room: room, memory: spareWalk.take()}
}

// release hands the memory of the walks on. The search is not used after.
func (s *quantileSearch) release() {
	s.memory.found = s.walk.found
	spareWalk.give(s.memory)
	s.walk, s.memory = nil, nil
}

func resized[T any](x []T, n int) []T { return slices.Grow(x[:0], n)[:n] }

// reserve has room for the largest of the usual walks, so that none outgrows it.
func (m *walkMemory) reserve(rows, rank int) {
	m.q, m.found = slices.Grow(m.q[:0], rows*rank), slices.Grow(m.found[:0], rows)
	for _, x := range []*[]float64{&m.y, &m.r, &m.side} {
		*x = slices.Grow((*x)[:0], rows)
	}
	m.inBasis = slices.Grow(m.inBasis[:0], rows)
}

func (s *quantileSearch) basisRows() []int {
	rows := make([]int, len(s.walk.basis))
	for k, i := range s.walk.basis {
		rows[k] = s.walk.rows[i]
	}
	return rows
}

// run finds the optimum. basis may hold the rows of a nearby one.
func (s *quantileSearch) run(basis []int) error {
	n := s.fit.N
	s.memory.reserve(s.most(), s.fit.Rank)
	if basis == nil && n > smallSearch {
		part := s.sample(s.partSize())
		if err := s.solve(part, nil); err != nil {
			return err
		}
		basis = s.basisRows()
	}
	if basis == nil {
		return s.solve(allColumns(n), nil)
	}
	return s.narrow(basis)
}

// partSize balances the two walks: the error of a part of m rows leaves some
// n/√m rows of the whole in doubt.
func (s *quantileSearch) partSize() int {
	n, p := float64(s.fit.N), float64(s.fit.Rank)
	return int(min(n/2, max(smallSearch, 2*math.Sqrt(p)*math.Pow(n, 2.0/3))))
}

// most is how many rows a walk usually has: those of the narrowing, and a few.
func (s *quantileSearch) most() int {
	if s.fit.N <= smallSearch {
		return s.fit.N
	}
	return min(s.fit.N, 8*s.partSize()/5)
}

// sample returns about size rows, chosen by their numbers alone.
func (s *quantileSearch) sample(size int) []int {
	share := float64(size) / float64(s.fit.N)
	rows := make([]int, 0, size+size/8)
	for i := range s.fit.N {
		if unitHash(uint64(i)^0x5851f42d4c957f2d) < share {
			rows = append(rows, i)
		}
	}
	return rows
}

// activate makes a walk over some rows, in the memory of the one before.
func (s *quantileSearch) activate(rows []int) *vertex {
	f := s.fit
	v := &vertex{tau: f.Tau, p: f.Rank, rows: rows, outside: make([]float64, f.Rank)}
	m := s.memory
	m.q, m.y, m.r, m.side = resized(m.q, len(rows)*f.Rank), resized(m.y, len(rows)), resized(m.r, len(rows)), resized(m.side, len(rows))
	m.inBasis = resized(m.inBasis, len(rows))
	if s.walk != nil {
		m.found = s.walk.found
	}
	v.q, v.y, v.r, v.side, v.inBasis, v.found = m.q, m.y, m.r, m.side, m.inBasis, m.found
	if f.objectiveWeights != nil {
		m.weight = resized(m.weight, len(rows))
		v.weight = m.weight
	}
	block, work, r := newBlock(f.Rank, blockRows), newBlock(f.Rank, blockRows), f.design.reader()
	at := 0
	for part := range slices.Chunk(rows, blockRows) {
		q := f.inverse.product(f.loadRows(r, block, part), work)
		for i, row := range part {
			for k := range q {
				v.q[(at+i)*f.Rank+k] = q[k][i]
			}
			v.y[at+i] = s.y[row]
			if v.weight != nil {
				v.weight[at+i] = f.objectiveWeights[row]
			}
		}
		at += len(part)
	}
	for i := range rows {
		v.large = max(v.large, dot(v.row(i), v.row(i)))
	}
	v.large = math.Sqrt(v.large)
	v.zero = s.zero()
	mean := 1.0
	if f.objectiveWeights != nil {
		mean = stats.Mean(f.objectiveWeights)
	}
	v.noise = 1e-13 * mean * math.Sqrt(float64(f.N)*float64(f.Rank))
	return v
}

// zero is the size below which a residual is rounding.
func (s *quantileSearch) zero() float64 {
	var total float64
	for _, r := range s.y {
		total += math.Abs(r)
	}
	return 1e-10 * total / float64(len(s.y))
}

// solve walks over some rows as if they were all. Rows of the whole join where
// those do not span the columns.
func (s *quantileSearch) solve(rows []int, basis []int) error {
	v := s.activate(rows)
	if basis == nil && !v.chooseBasis(s.nearFirst(v)) {
		if len(rows) == s.fit.N {
			return errors.New("regress: the rows do not span the columns")
		}
		missing := s.spanning(rows)
		return s.solve(missing, nil)
	}
	v.descend(searchSteps)
	s.steps += v.steps
	s.walk = v
	return s.check(v)
}

// nearFirst orders active rows by their distance from the quantile of the
// residuals.
func (s *quantileSearch) nearFirst(v *vertex) []int {
	sorted := slices.Clone(v.y)
	slices.Sort(sorted)
	centre := stats.Quantile(sorted, v.tau, stats.InverseCDF)
	distance := make([]float64, len(v.y))
	for i, y := range v.y {
		distance[i] = y - centre
	}
	return nearestFirst(distance)
}

// spanning adds to rows those of the whole that reach directions which rows
// leave out: the rows of largest leverage along what is missing.
func (s *quantileSearch) spanning(rows []int) []int {
	have := map[int]bool{}
	for _, i := range rows {
		have[i] = true
	}
	out := slices.Clone(rows)
	products := newSquare(s.fit.Rank)
	v := s.activate(rows)
	for i := range rows {
		addOuter(products, v.row(i), 1)
	}
	share := float64(len(rows)) / float64(s.fit.N)
	orthonormal, x := s.fit.orthonormal(), make([]float64, s.fit.Rank)
	blocks(0, s.fit.N, func(from, to int) {
		q, leverage := orthonormal(from, to)
		for i := range leverage {
			for k := range q {
				x[k] = q[k][i]
			}
			covered := dot(x, multiply(products, x)) / dot(x, x)
			if !have[from+i] && covered < share/100 {
				out = append(out, from+i)
				addOuter(products, x, 1)
			}
		}
	})
	slices.Sort(out)
	return out
}

func (s *quantileSearch) check(v *vertex) error {
	if !v.converged {
		return errors.New("regress: quantile regression did not reach its minimum")
	}
	return nil
}

// flat reports whether an edge at the optimum costs nothing.
func (s *quantileSearch) flat() bool {
	v := s.walk
	for j, direction := range v.inverse {
		for _, sign := range []float64{1, -1} {
			d := v.derivativeAlong(j, sign)
			for i, side := range v.side {
				if side == 0 || math.Abs(v.r[i]) > v.zero {
					continue
				}
				// A row fitted by coincidence resists on whichever side.
				z := sign * dot(v.row(i), direction)
				d += float64(v.w(i) * (float64(v.slope(-z)*-z) + float64(v.slope(side)*z)))
			}
			if d <= float64(v.noise*norm(direction))+float64(1e-9*v.w(v.basis[j])) {
				return true
			}
		}
	}
	return false
}
